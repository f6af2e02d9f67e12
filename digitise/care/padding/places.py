"""From all that stands out on a limb to a short list: one entry a place, the most certain first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from digitise.care.padding.foot.places import FootPlace
from digitise.care.padding.region import Region

MOST_LISTED = 3
"""A therapist looks at so many places; the rest is listed when asked for (ours)."""
# Kinds that can tell of one place: how deep a bandage bridges and how deep a fold is, say.
_ALIKE = (("hollow", "crease"), ("bulge",))
# Two findings are of one place when they share so much of the smaller one.
_SHARED = 0.3


def one_each(regions: Iterable[Region]) -> tuple[Region, ...]:
    """Return regions without those that tell of a place that is listed already, the most certain first.

    What was found against another limb or visit comes first where the limb's own form shows the same place,
    for its figures are the better known.
    """
    kept: list[Region] = []
    for region in sorted(regions, key=_first):
        same = next((n for n, other in enumerate(kept) if _same_place(region, other)), None)
        if same is None:
            kept.append(region)
        else:
            kept[same] = replace(kept[same], certainty=max(kept[same].certainty, region.certainty))
    return tuple(sorted(kept, key=lambda one: -one.certainty))


def _first(region: Region) -> tuple[bool, bool, float]:
    return not region.by_difference, region.kind == "crease", -region.certainty


def short_lists(
    regions: Sequence[Region], feet: Sequence[FootPlace], most: int = MOST_LISTED
) -> tuple[tuple[Region, ...], tuple[FootPlace, ...]]:
    """Return the most certain of a limb's and its foot's places, ``most`` in all, each list in its order."""
    every = sorted([*(one.certainty for one in regions), *(one.certainty for one in feet)], reverse=True)
    least = every[most - 1] if len(every) > most else -np.inf
    limb = tuple(one for one in regions if one.certainty >= least)
    return limb, tuple(one for one in feet if one.certainty >= least)


def _same_place(region: Region, other: Region) -> bool:
    if not any(region.kind in kinds and other.kind in kinds for kinds in _ALIKE):
        return False
    shared = np.count_nonzero(region.mask & other.mask)
    return bool(shared > _SHARED * min(np.count_nonzero(region.mask), np.count_nonzero(other.mask)))

"""A second look at photographs in which something else was followed, by the limb's width seen elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from digitise.capture.outline.by_steps.widths import (
    MOSTLY_WITHIN,
    Widths,
    seen_widths,
    share_covered,
    share_within,
)
from digitise.capture.outline.find import Outline
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Pose
from digitise.tape.rows import TapeRow
from digitise.workflow.seen.left_out import LEAST_SURE

# Share of the points of both edges that is sure.  In 150 made visits what was followed instead of the limb
# was sure on 0.49 of its points or less, but for the gap between two legs: on two thirds.
_TRUSTED, _DOUBTED = 0.6, 0.5
_HALF = 0.5  # of the heights: sure edges are within the limb's widths on more, unless they are another's

Tried = Sequence[Outline | OutlineError]
Look = Callable[[int, Widths], Outline | OutlineError]


def look_again(
    tried: Tried,
    names: Sequence[str],
    cameras: Sequence[Camera],
    axis_from_world: Pose,
    again: Sequence[int],
    look: Look,
    tape: Sequence[TapeRow] = (),
) -> list[Outline | OutlineError]:
    """Seek the limb again where what was found is not as wide as the limb is known to be.

    Nothing is sought again where two photographs show it: what a third one shows instead is left out.

    Parameters
    ----------
    tried
        For each photograph the outline found, or why there is none.
    names, cameras
        Of the photographs.
    axis_from_world
        Frame of the limb's axis.
    again
        The photographs (from 0) that may be looked at again.
    look
        Seeks the limb in a photograph, given its widths.
    tape
        Girths: they tell the widths where no photograph surely does.

    Returns
    -------
    As ``tried``, with what was found instead where that is as wide, or why there is none.
    """
    seen = _surely_seen(tried, cameras, axis_from_world)
    widths = _taped(tape) if seen is None else seen
    if widths is None:
        return list(tried)

    def within(n: int, outline: Outline | OutlineError) -> float:
        if isinstance(outline, OutlineError):
            return 0.0
        return share_within(outline, cameras[n], axis_from_world, widths)

    def covered(outline: Outline | OutlineError) -> float:
        return 0.0 if isinstance(outline, OutlineError) else share_covered(outline, widths)

    def tells(n: int, outline: Outline | OutlineError) -> bool:
        wide = within(n, outline) >= MOSTLY_WITHIN and covered(outline) >= _HALF
        return wide and _sure(outline) >= LEAST_SURE

    telling = [n for n, outline in enumerate(tried) if tells(n, outline)]
    found = list(tried)
    for n in again:
        elsewhere = within(n, tried[n]) < _HALF
        doubted = _sure(tried[n]) < _DOUBTED or covered(tried[n]) < _HALF
        if n in telling or not (doubted or elsewhere):
            continue
        if len(telling) < 2:
            other = look(n, widths)
            found[n] = other if tells(n, other) else tried[n]
        elif elsewhere and _sure(tried[n]) >= _DOUBTED:
            found[n] = _something_else(names[n])
    return found


def _something_else(name: str) -> OutlineError:
    return OutlineError(
        "what was followed in it is far narrower or wider than the limb is in the others.",
        where=name,
        do="Take it with nothing beside or before the limb, or leave it out.",
    )


def tape_may_tell(tried: Tried, cameras: Sequence[Camera], axis_from_world: Pose) -> bool:
    """Tell whether :func:`look_again` would ask the tape how wide the limb is."""
    return _surely_seen(tried, cameras, axis_from_world) is None


def _surely_seen(tried: Tried, cameras: Sequence[Camera], axis_from_world: Pose) -> Widths | None:
    """Return how wide the limb is where it is seen most surely; None where no photograph surely shows it."""
    best = int(np.argmax([_sure(outline) for outline in tried]))
    outline = tried[best]
    if isinstance(outline, OutlineError) or _sure(outline) < _TRUSTED:
        return None
    return seen_widths(outline, cameras[best], axis_from_world)


def _taped(rows: Sequence[TapeRow]) -> Widths | None:
    """Return how wide a round limb of the taped girths is; None for fewer than two of them."""
    rows = sorted(rows, key=lambda row: row.height_mm)
    heights, girths = np.array([(row.height_mm, row.girth_mm) for row in rows]).reshape(-1, 2).T
    return Widths(heights, girths / np.pi) if len(rows) >= 2 else None


def _sure(found: Outline | OutlineError) -> float:
    return 0.0 if isinstance(found, OutlineError) else found.sure_share

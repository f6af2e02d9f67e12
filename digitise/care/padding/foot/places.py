"""Places on a foot that stand out, or lie too deep, found on its surface and put into words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import ConvexHull

from digitise.anatomy import Side
from digitise.care.padding.foot.areas import TOP, foot_areas, side_words, vertex_areas
from digitise.care.padding.foot.build import Difference, from_build, from_other
from digitise.care.surface.chart import Mask
from digitise.geometry.mesh import Mesh, plane_cut
from digitise.geometry.rigid import Array
from digitise.shape.end import EndPart

USUAL_FOOT = "what a foot of this build usually is"
USUAL_MM, DIFFERENCE_MM = 4.0, 3.0
"""From what size on a place is listed: beyond a usual foot, and beyond the other foot or visit (ours)."""
LEAST_CM2 = 4.0
"""A smaller place is left to the hand (ours)."""
# What a surface misses at one place beyond its own uncertainty: rendered feet were off by 1 mm rms in all.
LOCAL_SD_MM = 0.8
# Some ten places of a foot that are not alike are looked at: noise alone goes beyond so many sds on one foot
# in forty.
CRITICAL = 2.8
# The lowest sections of the leg draw the foot to them over so much.
_JOINED_MM = 10.0
_LEVEL_MM = 4.0
_ECHO = 0.7  # as on the limb
Kind = Literal["bulge", "hollow"]


class Against(NamedTuple):
    """Another foot to hold one against, and what it is in words."""

    words: str
    foot: EndPart


@dataclass(frozen=True, eq=False)
class FootPlace:
    """One place on a foot that may need padding.

    Attributes
    ----------
    kind
        ``bulge`` or ``hollow``.
    area, place
        Its part of the foot, and the same in more words.
    reference
        Beyond what it stands out.
    peak, peak_mm, peak_sd_mm
        (3,) where it is highest or deepest, world frame, and by how much, mm.
    area_cm2, volume_ml, volume_sd_ml
        Of the surface, and between it and the reference.
    confidence, certainty, why
        As of a :class:`digitise.care.padding.region.Region`.
    bridge_mm
        How deep a taut turn round the ankle bridges there; None on the back of the foot.
    by_difference
        Found against the other foot or visit.
    vertices
        (V,) of the foot's surface that are of it.
    """

    kind: Kind
    area: str
    place: str
    reference: str
    peak: Array
    peak_mm: float
    peak_sd_mm: float
    area_cm2: float
    volume_ml: float
    volume_sd_ml: float
    confidence: Literal["clear", "likely"]
    certainty: float
    why: str
    bridge_mm: float | None
    by_difference: bool
    vertices: Mask


def foot_places(foot: EndPart, side: Side, others: Sequence[Against] = ()) -> tuple[FootPlace, ...]:
    """List the places on a foot, the most certain first, each place once.

    Parameters
    ----------
    foot, side
        The foot, ``left`` or ``right``.
    others
        The other foot, or itself at another visit; what stands out beyond them is listed.
    """
    belief = foot.belief
    searches = [
        _Search(one.words, DIFFERENCE_MM, True, from_other(belief, one.foot.belief)) for one in others
    ]
    searches.append(_Search(USUAL_FOOT, USUAL_MM, False, from_build(belief)))
    found = [place for search in searches for place in _listed(_Seen.of(foot, side), search)]
    kept: list[FootPlace] = []
    # the better known difference comes first where both show a place
    for place in sorted(found, key=lambda one: (not one.by_difference, -one.certainty)):
        if not any(_same(place, other) or _echo(place, other) for other in kept):
            kept.append(place)
    return tuple(sorted(kept, key=lambda one: -one.certainty))


def _same(place: FootPlace, other: FootPlace) -> bool:
    return place.kind == other.kind and bool((place.vertices & other.vertices).any())


def _echo(place: FootPlace, other: FootPlace) -> bool:
    """Tell whether a much more certain place makes this one: beside a heap the foot seems low."""
    opposite = place.kind != other.kind and place.area == other.area
    return opposite and place.certainty < _ECHO * other.certainty


class _Search(NamedTuple):
    words: str
    least: float
    by_difference: bool
    difference: Difference

    @property
    def drawn(self) -> float:
        """Down to which value a place is drawn: a difference has no edge of its own, as on a limb."""
        return self.least if self.by_difference else self.least / 2.0

    @property
    def senses(self) -> tuple[tuple[Kind, float], ...]:
        """What lies below another foot is no hollow: that one may be swollen."""
        return (("bulge", 1.0),) if self.by_difference else (("bulge", 1.0), ("hollow", -1.0))


class _Seen(NamedTuple):
    """A foot's surface: its body, the area of each vertex, and which are its own and not drawn to the leg."""

    body: Mesh
    side: Side
    areas: Array
    own: Mask
    edges: NDArray[np.int64]
    across: Array
    middle: float

    @classmethod
    def of(cls, foot: EndPart, side: Side) -> _Seen:
        surface = foot.belief.surface
        across = np.cross(surface.ahead, [0.0, 0.0, 1.0])
        body = Mesh(foot.vertices, foot.faces)
        own = foot.vertices[:, 2] < foot.top_mm - _JOINED_MM
        areas = vertex_areas(body.vertices, body.faces)
        return cls(body, side, areas, own, surface.prior.edges, across, float(surface.place @ across))


def _listed(seen: _Seen, search: _Search) -> Iterator[FootPlace]:
    sd = np.hypot(search.difference.sd, LOCAL_SD_MM)
    for area, inside in foot_areas(seen.side).of.items():
        for kind, sign in search.senses:
            value = np.where(inside & seen.own, sign * search.difference.value, -np.inf)
            for mask in _connected(seen.edges, value > search.drawn):
                ratio = value[mask] / np.maximum(CRITICAL * sd[mask], search.least)
                large = float(seen.areas[mask].sum()) / 100.0 >= LEAST_CM2
                if large and ratio.max() > 1.0:
                    yield _place(seen, search, _Found(area, kind, mask, value, sd, float(ratio.max())))


class _Found(NamedTuple):
    area: str
    kind: Kind
    mask: Mask
    value: Array
    sd: Array
    certainty: float


def _place(seen: _Seen, search: _Search, found: _Found) -> FootPlace:
    top = int(np.argmax(np.where(found.mask, found.value, -np.inf)))
    peak, peak_sd = float(found.value[top]), float(found.sd[top])
    areas, middle = seen.areas[found.mask], seen.body.vertices[found.mask].mean(axis=0)
    where = found.area
    if where == TOP:
        where = f"{TOP}, {side_words(seen.side, float(middle @ seen.across - seen.middle))}"
    beyond = f"more than {search.least:.0f} mm and more than noise explains"
    how = "stands out" if found.kind == "bulge" else "lies"
    over = "beyond" if found.kind == "bulge" else "below"
    return FootPlace(
        kind=found.kind,
        area=found.area,
        place=where,
        reference=search.words,
        peak=seen.body.vertices[top],
        peak_mm=peak,
        peak_sd_mm=peak_sd,
        area_cm2=float(areas.sum()) / 100.0,
        volume_ml=float(np.sum(areas * found.value[found.mask])) / 1000.0,
        # what is open about one place is about alike all over it
        volume_sd_ml=float(np.sum(areas * found.sd[found.mask])) / 1000.0,
        confidence="clear" if peak - CRITICAL * peak_sd > search.least else "likely",
        certainty=found.certainty,
        why=f"It {how} {peak:.0f} mm {over} {search.words}, {beyond}.",
        bridge_mm=None if found.area == TOP else _bridged(seen.body, found.mask),
        by_difference=search.by_difference,
        vertices=found.mask,
    )


def _connected(edges: NDArray[np.int64], inside: Mask) -> Iterator[Mask]:
    """Yield the connected parts (V,) of the vertices inside."""
    both = edges[inside[edges].all(axis=1)]
    count = len(inside)
    graph = coo_array((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    for number in np.unique(label[inside]):
        yield (label == number) & inside


def _bridged(body: Mesh, mask: Mask) -> float:
    """Return how deep the place lies, at most, below a taut level turn round the foot, mm."""
    deepest = 0.0
    points = body.vertices[mask]
    for height in np.unique(np.round(points[:, 2] / _LEVEL_MM) * _LEVEL_MM):
        ring = plane_cut(body, np.array([0.0, 0.0, height]), np.array([0.0, 0.0, 1.0]))[:, :2]
        near = points[np.abs(points[:, 2] - height) <= _LEVEL_MM / 2][:, :2]
        hull = ConvexHull(ring).equations
        deepest = max(deepest, float(np.min(-(near @ hull[:, :2].T + hull[:, 2]), axis=1).max(initial=0.0)))
    return deepest

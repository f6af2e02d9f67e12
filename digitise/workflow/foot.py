"""The foot below a measured leg, from a photograph taken from above and those from the sides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from digitise.anatomy import LimbKind, Side
from digitise.capture.checks.finding import Finding
from digitise.capture.expected.outline import BodyOutline, Look, find_body
from digitise.capture.expected.print_lines import Print, print_of
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import Board
from digitise.cores import for_each
from digitise.errors import OutlineError, ShapeError
from digitise.geometry.camera import Camera
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array, Pose
from digitise.output.model.measured import Measured, MeasuredEnd
from digitise.shape.foot.figures import figure_of, girth_round_ball, length_along
from digitise.shape.foot.join import join_foot, require_low, require_placed
from digitise.shape.foot.planes import planes_of_leg
from digitise.shape.foot.prior import usual_foot
from digitise.shape.limb import Limb, coefficients
from digitise.shape.mesh import limb_mesh
from digitise.shape.statistical.planes import TangentPlanes, planes_of_view, some_of, together
from digitise.shape.statistical.solve import ShapeBelief, solve_shape, unlikeliness, without_strays
from digitise.shape.statistical.surface import PlacedShape

# How far the outline may lie from where it is expected, and how finely to look: the usual foot may be far
# from this one at its toes; the second time it is nearly there.
# A third round of cuts moved the volume of rendered feet by 0.1 to 0.5 % either way.
_PASSES = (Look(45.0, 2.2, cuts=2), Look(15.0, 1.0, cuts=2))
_RING_MM, _RAYS = 12.0, 48
_SOME = 3  # of so many planes one tells which side a foot is of
# Fewer points of a foot's outline than these, 3.6 mm apart, leave its form to the usual foot.
_LEAST_POINTS = 60
# A bare foot's outline lies within half of this of one that the usual foot can be bent to.
_MOST_MISFIT_MM = 1.6
# All but a twentieth of it lies within this: rendered feet had up to 5.5 mm; where white paper in the light
# was taken for pale skin, 9.5 mm and more, and volumes were up to 11 % too large (ours).
_MOST_OFF_MM = 7.0
# From above a shadow by the heel is taken for the foot here and there: on two rendered feet 7 and 15 % of the
# points lay farther off than this, seen well as they were, on eleven others 0 to 3 %.
_STRAY_MM, _MOST_STRAYS = 5.0, 0.2
# Where one photograph is left out the others must be beyond doubt: 0.9 to 2.6 mm with the other foot behind
# one side, 3.8 mm where white paper was taken for skin in the other two as well, and 5 % too much (ours).
_BEYOND_DOUBT_MM = 3.0
# Rendered feet differed from their legs by at most 0.18 in light from different sides; a painted white sock
# from light skin by more than this.
_MOST_HUE = 0.3
# Of the sds from above alone, length and girth at the ball together.  Eight feet seen well from the sides
# differed by up to 2.4; one with the other foot right behind it, taken for its toes, by 5.0 (4.1).
_CONTRADICTION = 3.0
# Minus the logarithm of how likely, for each plane: rendered feet had 0.1 to 0.6 on their own side, eight of
# them called the other's 1.1 to 2.2; a nearly white foot whose edge was lost in too much light 2.4 and 1.9.
_LIKELY, _MOST_UNLIKELY = 0.6, 1.0
_BEHIND = Finding(
    "",
    "foot-from-above",
    "warning",
    "From the side something beside the foot is taken for it, such as the other one close behind: the foot "
    "is known from above alone, and less surely.",
    "Keep the other foot a step away, and take the photographs again.",
)
_LEFT_OUT = replace(
    _BEHIND,
    text="From this side something beside the foot is taken for it, such as the other one close behind: the "
    "foot is known from the other photographs, and less surely.",
)


_Solved = tuple[ShapeBelief, dict[int, BodyOutline], TangentPlanes]


@dataclass(frozen=True, eq=False)
class FromAbove:
    """A photograph taken along the limb, its camera, and the mat's pages, each with its pose."""

    photo: Photograph
    camera: Camera
    mat: tuple[tuple[Board, Pose], ...] = ()


def with_foot(measured: Measured, sides: Sequence[Photograph], above: Sequence[FromAbove]) -> Measured:
    """Add the foot to a measured leg; where it cannot be measured, the reason.

    Parameters
    ----------
    measured
        The leg.
    sides
        The photographs it was measured from, with their pixels.
    above
        Those taken along the limb, at least one.
    """
    try:
        _require_standing_leg(measured)
        foot, more = measure_foot(measured, sides, above)
    except (OutlineError, ShapeError) as error:
        names = {photo.name: name for photo, name in zip(sides, measured.file_names, strict=True)}
        where = names.get(error.where, "")
        told = Finding(
            where, "foot-left-out", "warning", f"The foot was not measured: {error.what}", error.do
        )
        return replace(measured, findings=(*measured.findings, told))
    return replace(measured, end=foot, findings=(*measured.findings, *more))


def measure_foot(
    measured: Measured, sides: Sequence[Photograph], above: Sequence[FromAbove]
) -> tuple[MeasuredEnd, tuple[Finding, ...]]:
    """Find the foot of a standing leg in its photographs and solve its shape.

    Returns
    -------
    The foot, and what to know of how it was measured.

    Raises
    ------
    OutlineError
        The foot is not seen well enough from above, or what is seen is not a bare foot.
    ShapeError
        The foot's shape does not settle, or the leg is not known far enough down.
    """
    limb = measured.fit.limb
    require_low(limb)
    require_placed(limb)
    photos = (*sides, *(each.photo for each in above))
    cameras = (*measured.calibration.cameras, *(each.camera for each in above))
    printed = print_of(above[0].mat)  # the mat lies still
    belief, outlines, planes = _solve(photos, cameras, limb, range(len(photos)), printed)
    for number in range(len(sides), len(photos)):
        _require_seen(outlines.get(number), photos[number])
    findings: tuple[Finding, ...] = ()
    misled = _misled(belief, planes, [number for number in outlines if number < len(sides)])
    if misled is not None:
        rest = [number for number in range(len(photos)) if number != misled]
        # from the usual foot first: what all photographs tell is drawn to what misled the one
        fewer = (_solve(photos, cameras, limb, rest, printed, start) for start in (None, belief.surface))
        clear = next((each for each in fewer if _beyond_doubt(each)), None)
        if clear is not None:
            belief, outlines, planes = clear
            findings = (replace(_LEFT_OUT, photo=photos[misled].name),)
    from_above = {n: outline for n, outline in outlines.items() if n >= len(sides)}
    alone, told = _from_above(belief, from_above, cameras, limb)
    # a foot that moved before the last photograph contradicts its sides, too, but nothing fits them then
    fits = all(_misfit(belief, planes, number) <= _MOST_MISFIT_MM for number in outlines)
    if fits and _contradict(belief, alone):
        belief, outlines, planes, findings = alone, from_above, told, (*findings, _BEHIND)
    for number in from_above:
        belief, planes = without_strays(belief, planes, number, _STRAY_MM, _MOST_STRAYS)
    _require_side(belief, planes, limb.side)
    _require_skin([outline.hue_off for outline in outlines.values()])
    for number in outlines:
        _require_bare(belief, planes, number, photos[number])
    end = MeasuredEnd(
        join_foot(belief, limb),
        tuple(each.photo for each in above),
        tuple(each.camera for each in above),
        tuple(from_above[number] for number in range(len(sides), len(photos))),
    )
    return end, findings


def _solve(
    photos: Sequence[Photograph],
    cameras: Sequence[Camera],
    limb: Limb,
    used: Sequence[int],
    printed: Print,
    start: PlacedShape | None = None,
) -> _Solved:
    """Return the foot of the ``used`` photographs, its outlines by photograph, and the planes it touches."""
    leg, told = _leg_body(limb), planes_of_leg(limb)
    foot = solve_shape(start or _start(limb), told)
    outlines: dict[int, BodyOutline] = {}
    planes = told
    for number, look in enumerate(_PASSES):
        expected = Mesh(foot.surface.vertices, foot.surface.prior.faces)
        find = partial(find_body, body=expected, limb=leg, look=look, printed=printed)
        tried = for_each(find, [photos[n].pixels for n in used], [cameras[n] for n in used])
        outlines = {n: found for n, found in zip(used, tried, strict=True) if found is not None}
        seen = [planes_of_view(cameras[n], found.edge, n) for n, found in outlines.items()]
        planes = together([told, *seen])
        foot = solve_shape(foot.surface, planes, near=number > 0)
    return foot, outlines, planes


def _beyond_doubt(solved: _Solved) -> bool:
    belief, outlines, planes = solved
    return all(_misfit(belief, planes, number, 0.95) <= _BEYOND_DOUBT_MM for number in outlines)


def _misled(belief: ShapeBelief, planes: TangentPlanes, sides: Sequence[int]) -> int | None:
    """Return the one photograph from a side part of whose edge is not the foot's; None where another is, too.

    The other foot behind this one, in its line, is taken for part of it.  A foot that moved misfits all over.
    """
    off = [n for n in sides if _misfit(belief, planes, n, 0.95) > _MOST_OFF_MM]
    fits = all(_misfit(belief, planes, n) <= _MOST_MISFIT_MM for n in sides)
    return off[0] if fits and len(off) == 1 and len(sides) > 1 else None


def _from_above(
    belief: ShapeBelief, outlines: Mapping[int, BodyOutline], cameras: Sequence[Camera], limb: Limb
) -> tuple[ShapeBelief, TangentPlanes]:
    """Return the foot as the photographs from above and the leg tell it alone, and the planes it touches."""
    seen = [planes_of_view(cameras[n], outline.edge, n) for n, outline in outlines.items()]
    planes = together([planes_of_leg(limb), *seen])
    return solve_shape(belief.surface, planes, near=True), planes


def _contradict(belief: ShapeBelief, alone: ShapeBelief) -> bool:
    """Tell whether the side views make the foot longer or thicker than the view from above can mean."""
    off = []
    for measure in (length_along, girth_round_ball):
        own, above = measure(belief.surface), figure_of(alone, measure)
        # from above alone a foot may well be taken for a larger one: its back and its ends are hidden
        off.append(max(0.0, own - above.mean) / above.sd)
    return bool(np.linalg.norm(off) > _CONTRADICTION)


def _require_standing_leg(measured: Measured) -> None:
    axis = measured.axis_from_world
    if measured.fit.limb.kind != LimbKind.LEG or not np.allclose(axis.rotation, np.eye(3)):
        raise ShapeError(
            "a photograph taken along the limb serves only for the foot of a standing leg.",
            do="Leave that photograph out.",
        )


def _require_seen(outline: BodyOutline | None, photo: Photograph) -> None:
    if outline is None or np.count_nonzero(outline.edge.seen) < _LEAST_POINTS:
        raise OutlineError(
            "too little of its edge is seen from above.",
            where=photo.name,
            do="Take that photograph again: phone level at arm's length above the foot, the whole foot and "
            "the mat round it in the picture.",
        )


def _require_side(belief: ShapeBelief, planes: TangentPlanes, side: Side) -> None:
    """Refuse a foot that one of the other side fits better, and well; where neither does, nothing is told."""
    other = side.other
    x, y, _ = belief.surface.place
    some = some_of(planes, _SOME)
    own = unlikeliness(belief.surface, some)
    if own < _LIKELY * len(some.distance):
        return
    start = PlacedShape.usual(usual_foot(other), x, y)
    try:
        mirrored = solve_shape(solve_shape(start, some).surface, some, near=True)
    except ShapeError:  # then it is no foot of the other side either
        return
    unlikely = unlikeliness(mirrored.surface, some)
    if unlikely < min(own, _MOST_UNLIKELY * len(some.distance)):
        raise OutlineError(
            f"it looks like a {other} foot, and the limb is called a {side} leg.",
            do="Check which side was photographed, and name that.",
        )


def _require_skin(hues: Sequence[float]) -> None:
    told = [hue for hue in hues if np.isfinite(hue)]
    if told and float(np.median(told)) > _MOST_HUE:
        raise OutlineError(
            "it is of another colour than the leg: a sock, shoe or dressing covers it.",
            do="Take that off, and take the photographs again.",
        )


def _require_bare(belief: ShapeBelief, planes: TangentPlanes, number: int, photo: Photograph) -> None:
    if _misfit(belief, planes, number) > _MOST_MISFIT_MM:
        raise OutlineError(
            "the photographs do not show one bare foot standing flat in one place on the mat.",
            where=photo.name,
            do="Give photographs of one visit between which the foot did not move; no shoe, sock or bandage, "
            "the whole sole on the mat.",
        )
    if _misfit(belief, planes, number, 0.95) > _MOST_OFF_MM:
        raise OutlineError(
            "part of the foot's edge cannot be told from what is beside it.",
            where=photo.name,
            do="Take the photographs again in softer light, not too bright: pale skin is hardly told from "
            "white paper where both are white in the picture.",
        )


def _misfit(belief: ShapeBelief, planes: TangentPlanes, number: int, share: float = 0.5) -> float:
    """Return by how much a share of a photograph's planes miss the foot at most, mm; 0 without any."""
    missed = belief.residual[planes.view == number]
    missed = missed[np.isfinite(missed)]
    return float(np.quantile(np.abs(missed), share)) if len(missed) else 0.0


def _start(limb: Limb) -> PlacedShape:
    """Return the usual foot under the leg's lowest section."""
    prior = usual_foot(limb.side)
    mean, _ = coefficients(limb, np.array([limb.from_mm]))
    ring = prior.mean[np.abs(prior.mean[:, 2] - limb.from_mm) < _RING_MM]
    middle: Array = (ring.min(axis=0) + ring.max(axis=0)) / 2.0
    return PlacedShape.usual(prior, *(mean[0, 1:3] - middle[:2]).tolist())


def _leg_body(limb: Limb) -> Mesh:
    mesh = limb_mesh(limb, _RING_MM, _RAYS)
    return Mesh(mesh.vertices, mesh.faces)

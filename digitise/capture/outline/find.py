"""The limb's outline in a photograph: both edges to a fraction of a pixel, each point with its own sd."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from digitise.anatomy import LimbKind
from digitise.capture.outline.by_steps.find import find_of_width, find_own_tone, find_own_tone_of_width
from digitise.capture.outline.by_steps.widths import MOSTLY_WITHIN, Widths, share_within
from digitise.capture.outline.correction import Correction, paint
from digitise.capture.outline.hiding import holds_sticks
from digitise.capture.outline.lying.find import find_lying_region
from digitise.capture.outline.region import Region
from digitise.capture.outline.result import SIDES, ByHand, Hidden, Outline, Stretch
from digitise.capture.outline.segmentation import find_region
from digitise.capture.outline.sub_pixel.edge import inside_picture
from digitise.capture.outline.trace import Traced, trace_edges
from digitise.capture.photo.photograph import Photograph
from digitise.capture.photo.rectified import Strip, rectify
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.backdrop import SHADOW_WEIGHTS, Panel, find_panel
from digitise.capture.surroundings.plain_areas import Area, plain_areas
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.capture.surroundings.sticks import InFront, look_in_front, nothing_in_front
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Pose

__all__ = ["ByHand", "Hidden", "Outline", "Stretch", "find_outline", "find_outline_of_width"]

_MOST_CUT_OFF = 0.3  # share of an edge
_COARSEST_MM = 2.0  # of a pixel at the limb
_LEAST_MM, _FOOT_MM = 150.0, 40.0  # of the limb's length, above a foot
_SURE_ENOUGH = 0.75
_UPRIGHT = 0.5  # cosine of an axis to the vertical: below, the limb lies

_Find = Callable[[NDArray[np.uint8], Strip, Panel, str, NDArray[np.int8] | None], Region]


def find_outline(
    photo: Photograph,
    camera: Camera,
    boards: Iterable[tuple[Board, Pose]],
    axis_from_world: Pose,
    correction: Correction | None = None,
    limb: LimbKind = LimbKind.LEG,
) -> Outline:
    """Find the limb's two edges in a photograph.

    Parameters
    ----------
    photo
        The photograph.
    camera
        Its solved camera.
    boards
        The sheets in its room, each with its pose world_from_board, those that it does not show as well
        (:func:`~digitise.capture.surroundings.scene.placed_boards`).
    axis_from_world
        Pose of the axis frame: origin on the mat, z along the limb.
    correction
        What a person drew on this photograph; it overrides the automatic edge.
    limb
        A leg stands beside another one, an arm does not.

    Raises
    ------
    OutlineError
        When no plain backdrop or no limb before it is seen, or the correction belongs to another photograph.
    """
    if correction is not None:
        _require_same_photo(correction, photo)
    look = _look(photo, camera, boards, axis_from_world, correction, limb)
    if look.strip.lies:
        return _required(look.traced(look.panel(SHADOW_WEIGHTS[0]), find_lying_region)).outline
    found = _standing(look)
    if isinstance(found, OutlineError) and look.front.sticks:
        bare = _standing(look.without_sticks())
        if isinstance(bare, Traced) and holds_sticks(bare.outline, look.strip, look.front):
            found = bare
    return _required(found).outline


def _standing(look: _Look) -> Traced | OutlineError:
    """Find both edges of a limb that stands by the backdrop's colour, or else by steps of light alone."""
    first = look.panel(SHADOW_WEIGHTS[0])
    others = (look.panel(weight) for weight in SHADOW_WEIGHTS[1:])
    found = _surest(look.traced(panel) for panel in chain([first], others))
    if not isinstance(found, OutlineError) and found.told >= _SURE_ENOUGH:
        return found
    alone = look.traced(first, find_own_tone)
    return found if _surer(found, alone) else alone


def find_outline_of_width(
    photo: Photograph,
    camera: Camera,
    boards: Iterable[tuple[Board, Pose]],
    axis_from_world: Pose,
    widths: Widths,
    limb: LimbKind = LimbKind.LEG,
) -> Outline:
    """Find the two edges of a limb that stands and of which another photograph tells how wide it is.

    A chair's leg, the other leg, or both legs together are no such limb, however clear their edges.

    Parameters
    ----------
    photo, camera, boards, axis_from_world, limb
        As of :func:`find_outline`.
    widths
        Between which widths the limb lies.

    Raises
    ------
    OutlineError
        When no plain backdrop or no limb of such widths before it is seen.
    """
    look = _look(photo, camera, boards, axis_from_world, None, limb)
    panel = look.panel(SHADOW_WEIGHTS[0])
    finds = find_of_width, find_own_tone_of_width
    tried = [look.traced(panel, partial(find, widths=widths)) for find in finds]
    found = [each.outline for each in tried if isinstance(each, Traced)]
    if not found:
        return _required(tried[0]).outline

    def worth(outline: Outline) -> tuple[bool, int]:
        fits = share_within(outline, camera, axis_from_world, widths) >= MOSTLY_WITHIN
        return fits, sum(int(np.count_nonzero(edge.sure)) for edge in outline.edges)

    return max(found, key=worth)


@dataclass(frozen=True)
class _Drawn:
    """A correction and its strokes on the strip."""

    correction: Correction
    painted: NDArray[np.int8]


@dataclass(frozen=True)
class _Look:
    """A photograph's strip, and what is known of it before a limb is sought.

    Attributes
    ----------
    photo, strip
        The photograph and its strip.
    boards, areas
        The sheets in the room and the plain areas they offer behind the limb.
    front, before
        What stands before the limb, and the cells (H, W) that it covers.
    drawn
        What a person drew; None for nothing.
    another
        Whether another limb may show beside this one.
    """

    photo: Photograph
    strip: Strip
    boards: tuple[tuple[Board, Pose], ...]
    areas: Sequence[Area]
    front: InFront
    before: Mask
    drawn: _Drawn | None
    another: bool

    def panel(self, shadow_weight: float) -> Panel:
        """Learn the backdrop, a darkening of which counts ``shadow_weight``."""
        return find_panel(self.strip, self.areas, shadow_weight, self.boards, self.before)

    def without_sticks(self) -> _Look:
        """Return the same when nothing but the mat is before the limb."""
        front = look_in_front(self.photo.pixels, self.strip, self.boards, slender=True)
        return replace(self, front=front, before=front.cells(self.strip))

    def traced(self, panel: Panel, find: _Find = find_region) -> Traced | OutlineError:
        """Find both edges against one idea of the backdrop, or tell why not."""
        return _trace(self.photo, self.strip, panel, self.front, self.drawn, find, another=self.another)


def _look(
    photo: Photograph,
    camera: Camera,
    boards: Iterable[tuple[Board, Pose]],
    axis_from_world: Pose,
    correction: Correction | None,
    limb: LimbKind,
) -> _Look:
    boards = tuple(boards)
    lying = abs(axis_from_world.rotation[2, 2]) < _UPRIGHT
    # under a limb that lies even the mat is a backdrop, or print on one
    behind = [placed for placed in boards if lying or placed[0].role == "backdrop"]
    areas = plain_areas(behind, camera)
    if not areas:
        raise OutlineError(
            "no plain backdrop was found behind the limb.",
            where=photo.name,
            do="Stand a marked backdrop behind the limb so that its markers frame it in the picture.",
        )
    try:
        strip = rectify(photo.pixels, camera, axis_from_world, _top(areas, axis_from_world))
    except OutlineError as error:
        raise OutlineError(error.what, where=photo.name, do=error.do) from error
    if not strip.pixel_mm() <= _COARSEST_MM:
        raise OutlineError(
            f"a pixel covers {strip.pixel_mm():.1f} mm of the limb, which is too coarse.",
            where=photo.name,
            do="Give the full-size photograph, or step nearer.",
        )
    drawn = None if correction is None else _Drawn(correction, paint(correction, strip))
    slender = limb == LimbKind.ARM
    front = nothing_in_front() if lying else look_in_front(photo.pixels, strip, boards, slender=slender)
    return _Look(photo, strip, boards, areas, front, front.cells(strip), drawn, not slender)


def _surest(attempts: Iterator[Traced | OutlineError]) -> Traced | OutlineError:
    """Return the first outline that the backdrop tells well enough, else the one it tells best.

    A soft shadow on the backdrop and a limb of nearly its colour cannot both be told: shadows are far more
    common, so they are assumed first.  When none can be used, the first reason.
    """
    found: list[Traced] = []
    refused: list[OutlineError] = []
    for attempt in attempts:
        if isinstance(attempt, OutlineError):
            refused.append(attempt)
            continue
        found.append(attempt)
        if not refused and attempt.told >= _SURE_ENOUGH:
            break
    return (
        max(found, key=lambda traced: traced.told * len(traced.outline.heights[0])) if found else refused[0]
    )


def _surer(by_colour: Traced | OutlineError, by_steps: Traced | OutlineError) -> bool:
    """Tell whether more of its worse edge is sure in an outline that the backdrop's colour told."""
    if isinstance(by_steps, OutlineError) or isinstance(by_colour, OutlineError):
        return isinstance(by_steps, OutlineError)
    colour, steps = (
        min(np.count_nonzero(edge.sure) for edge in traced.outline.edges) for traced in (by_colour, by_steps)
    )
    return bool(colour >= steps)


def _required(found: Traced | OutlineError) -> Traced:
    if isinstance(found, OutlineError):
        raise found
    return found


def _trace(
    photo: Photograph,
    strip: Strip,
    panel: Panel,
    front: InFront,
    drawn: _Drawn | None,
    find: _Find,
    *,
    another: bool,
) -> Traced | OutlineError:
    """Find both edges against one idea of the backdrop's colour, or tell why not."""
    try:
        painted = None if drawn is None else drawn.painted
        region = find(photo.pixels, strip, panel, photo.name, painted)
        correction = None if drawn is None else drawn.correction
        traced = trace_edges(photo.pixels, strip, region, front, correction, another=another)
        _refuse_cut_off(traced.outline, photo)
        _refuse_short(traced.outline, photo.name)
    except OutlineError as error:
        return error
    return traced


def _require_same_photo(correction: Correction, photo: Photograph) -> None:
    if correction.photo_sha256 not in (None, photo.sha256):
        raise OutlineError(
            "the correction was drawn on another photograph.",
            where=photo.name,
            do="Give the correction that belongs to it, or draw it again.",
        )


def _refuse_cut_off(outline: Outline, photo: Photograph) -> None:
    for side, edge in zip(SIDES, outline.edges, strict=True):
        if len(edge.points) and np.mean(~inside_picture(edge.points, photo.pixels)) > _MOST_CUT_OFF:
            raise OutlineError(
                f"the limb's {side} edge leaves the picture.",
                where=photo.name,
                do="Step back or turn the phone so that the whole limb is in the picture.",
            )


def _refuse_short(outline: Outline, name: str) -> None:
    heights = outline.heights[0]
    seen = max(float(heights[-1]) - max(float(heights[0]), _FOOT_MM), 0.0) if len(heights) else 0.0
    if seen < _LEAST_MM:
        raise OutlineError(
            f"only {seen:.0f} mm of the limb can be told from what is behind it.",
            where=name,
            do="Use a backdrop of another colour than the skin, and keep the other leg away from this one.",
        )


def _top(areas: Iterable[Area], axis_from_world: Pose) -> float:
    return max((float(axis_from_world.apply(area.outline)[:, 2].max()) for area in areas), default=1000.0)

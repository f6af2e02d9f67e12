"""More photographs, asked for by name: from where, why, and how much narrower the interval would be."""

from __future__ import annotations

from collections.abc import Sequence

from digitise.anatomy import Side
from digitise.capture.checks.finding import Finding
from digitise.capture.outline.find import Outline
from digitise.capture.outline.result import Hidden
from digitise.geometry.camera import Camera
from digitise.shape.checks.next_view import NextView, azimuth_deg, best_next_view, volume_after_turn
from digitise.shape.limb import Z95, Limb, volume

THIRD = "third-photo"
AFTER_TURN = "after-turn"
_TURN_DEG = 45.0  # of two views a right angle apart, those between them
_WORTH = 0.10  # a photograph that narrows the interval by less is not worth a second set-up
_CLEARLY_MORE = 0.10  # of the interval: by so much must a direction be better for which a panel is carried
_WIDE = 0.02  # half-width of the interval over the volume from which it is asked for, not only offered
_LEAST_HIDDEN_MM = 30.0
_SECTOR_DEG = 45.0
_FRONT_DEG = 90.0
# From the front on, each an eighth of a turn further to the person's left; toes point along y.
_ROUND = (
    "the front",
    "half way between the front and the left",
    "the left",
    "half way between the left and the back",
    "the back",
    "half way between the back and the right",
    "the right",
    "half way between the right and the front",
)


def more_photos(
    limb: Limb, cameras: Sequence[Camera], outlines: Sequence[Outline], *, taped: bool = True
) -> tuple[Finding, ...]:
    """Return which photographs beside two would tell most of a standing limb; nothing where none is worth it.

    Where an edge is hidden that is a third one, else both once more with the limb turned between: what two
    views at a right angle cannot see, two between them do.

    Parameters
    ----------
    limb
        As two photographs, and the tape, tell it.
    cameras, outlines
        Of the two photographs.
    taped
        Whether girths have told their part already.
    """
    if len(cameras) != 2 or limb.lying or abs(limb.axis_from_world.rotation[2, 2]) < 0.5:
        return ()
    hidden = _hidden(limb, outlines)
    if hidden is None:
        return _turned(limb, cameras, taped=taped)
    view = _best(limb, cameras)
    if view is None or view.narrower < _WORTH:
        return ()
    number, part = hidden
    gain = _narrowing(*(_half(known.sd, view.now.mean) for known in (view.now, view.then)), taped=taped)
    text = (
        f"A third photograph would narrow {gain}: in photograph {number} the {part.side} edge is hidden by "
        f"{part.what} from {part.from_mm:.0f} to {part.to_mm:.0f} mm."
    )
    do = f"Take it from {direction_words(view.azimuth_deg, limb.side)}, with a panel behind the limb."
    return (Finding("", THIRD, "warning", text, do),)


def _turned(limb: Limb, cameras: Sequence[Camera], *, taped: bool) -> tuple[Finding, ...]:
    """Return what both photographs once more would do, mat and foot turned by an eighth of a turn."""
    now = volume(limb, limb.from_mm, limb.to_mm)
    ml, sd = float(now.mean), float(now.sd)
    before, after = _half(sd, ml), _half(volume_after_turn(limb, cameras, _TURN_DEG).sd, ml)
    if after > (1 - _WORTH) * before:
        return ()
    text = (
        f"Two more photographs would narrow {_narrowing(before, after, taped=taped)}, and that of a change "
        "by more: two cannot see how three-cornered, square or turned sections are."
    )
    do = (
        "Turn mat and foot together by an eighth of a turn, wall still on both sides of the limb, and take "
        "both again from the same places."
    )
    return (Finding("", AFTER_TURN, "warning" if before > 100 * _WIDE else "note", text, do),)


def _narrowing(before: float, after: float, *, taped: bool) -> str:
    """Say what becomes of the interval; its halves are given as percent of the volume."""
    untaped = "" if taped else ", before any girth,"
    return f"the volume's interval{untaped} from ±{before:.1f} % to about ±{after:.1f} %"


def _half(sd: float, ml: float) -> float:
    return float(100 * Z95 * sd / ml)


def _best(limb: Limb, cameras: Sequence[Camera]) -> NextView | None:
    """Return the best view between the two at hand, where panels stand, unless another is far better."""
    first, second = (azimuth_deg(camera, limb) for camera in cameras)
    turn = (second - first + 180.0) % 360.0 - 180.0
    between = best_next_view(limb, cameras, (first, first + turn) if turn > 0 else (first + turn, first))
    # seen from the opposite side a limb has the same outline: its outer side is always open
    outer = (90.0, 270.0) if limb.side == Side.LEFT else (-90.0, 90.0)
    any_ = best_next_view(limb, cameras, outer)
    if between is None or (any_ is not None and any_.narrower > between.narrower + _CLEARLY_MORE):
        return any_
    return between


def _hidden(limb: Limb, outlines: Sequence[Outline]) -> tuple[int, Hidden] | None:
    """Return the longest stretch within the limb that something hides, with its photograph's number."""
    parts = [
        (min(part.to_mm, limb.to_mm) - max(part.from_mm, limb.from_mm), number, part)
        for number, outline in enumerate(outlines, start=1)
        for part in outline.hidden
    ]
    length, number, part = max(parts, key=lambda each: each[0], default=(0.0, 0, None))
    return None if part is None or length < _LEAST_HIDDEN_MM else (number, part)


def direction_words(azimuth: float, side: Side) -> str:
    """Say from where a photograph is taken, as the person who stands on the mat has front, left and right.

    Parameters
    ----------
    azimuth
        Degrees about the vertical, 90 from in front of the toes, 180 from the person's left.
    side
        Which limb it is: the other one stands on the other side.

    Examples
    --------
    >>> direction_words(137.0, Side.LEFT)
    'half way between the front and the left, the outer side'
    >>> direction_words(0.0, Side.LEFT)
    'the right, the inner side'
    """
    sector = round(((azimuth - _FRONT_DEG) % 360.0) / _SECTOR_DEG) % len(_ROUND)
    words = _ROUND[sector]
    flank = "left" if "left" in words else "right" if "right" in words else ""
    return words if not flank else f"{words}, the {'outer' if flank == side else 'inner'} side"

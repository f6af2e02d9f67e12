"""A limb that lies as a region of its strip: told by colour on the sheet, by steps of light over print."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, minimum_filter1d

from digitise.capture.light_steps.viterbi import best_path
from digitise.capture.lying.cut import CLIP, Cut, cut_out
from digitise.capture.outline.bodies import Pair, limb_pair
from digitise.capture.outline.lying.beyond import pale_beyond, paper_within, shadow_beyond, skin_beyond
from digitise.capture.outline.lying.supports import resting
from digitise.capture.outline.region import Region
from digitise.capture.outline.segmentation import agreement_across
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.sheet_colour import Mask, Values
from digitise.errors import OutlineError
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs

_LEAST_WIDTH_MM = 25.0  # of a thin wrist seen from the side
_LEAST_ROWS = 30
_TRACK_MEDIAN = 15  # rows: dressings and specks are shorter
_SEARCH_MM = 6.0  # the cut is right to a cell or two
_BORDER_CELLS = 2  # beyond a boundary: outside the plain area nothing is known of the sheet
_STANDS_OUT = 20.0  # squared distance from the sheet's colour
_CLOTH_ROWS, _COVERED = 10, 0.7  # 20 mm along the axis, most of it nothing like the sheet
_RIM = 0.93  # of the width a little below
_MARGIN_ROWS = 3  # a hem's shadow falls on the skin
_LIMB, _SHEET = 1000.0, 5.0  # squared distances on either side of any threshold
_WITHIN_MM = 6.0
_CLEAR_STEP = 0.06  # of the light: a clear edge before print
_FADE_ROWS = 12
_STIFFNESS = 1.0
_REACH = 4
_OUT_OF_WINDOW = 1e3
# What steps of light tell over print counts about as much as one of them; it is right to a cell or two.
_BY_STEPS, _LOOSE_MM = 1.0, 4.0
_LEAST_AGREEMENT = 0.5  # of the evidence's bound, on average over both sides


def find_lying_region(
    pixels: NDArray[np.uint8],
    strip: Strip,
    panel: Panel,
    name: str,
    painted: NDArray[np.int8] | None = None,
) -> Region:
    """Tell a limb that lies from sheet, shadows and supports.

    Parameters
    ----------
    pixels, strip, panel
        The photograph, its strip and what is known of the sheet in it, shadows counted lightly.
    name
        The photograph's name, for messages.
    painted
        (H, W) 1 where a person painted limb, -1 background, 0 elsewhere; None when nothing was painted.

    Raises
    ------
    OutlineError
        When no limb is told along the axis.
    """
    cut = cut_out(strip, panel, painted)
    tracked = None if cut is None else _track(cut.limb, strip.offsets)
    if cut is None or tracked is None:
        raise OutlineError(
            "no limb was told from the sheet under it.",
            where=name,
            do="Lay it over the plain middle of a sheet of another colour than the skin, in even light.",
        )
    hem = _hem(strip, panel, *tracked)
    rows, left, right = (each[hem or 0 :] for each in tracked)
    sides = [np.asarray(median_filter(side, size=_TRACK_MEDIAN, mode="nearest")) for side in (left, right)]
    pair = _steps(pixels, strip, panel, cut, painted, rows, sides)
    found = [_boundary(strip, panel, cut, rows, sides[k], pair, k) for k in (0, 1)]
    pale = [pale_beyond(strip, panel, rows, found[k][0], (-1, 1)[k]) for k in (0, 1)]
    # before print and table steps of light decide, and that from light to shade on the limb is one of them
    on = [found[k][2] & skin_beyond(cut.like_skin, strip, rows, found[k][0], (-1, 1)[k]) for k in (0, 1)]
    # and so are those of the print
    off = [found[k][2] & paper_within(cut.like_skin, strip, rows, found[k][0], (-1, 1)[k]) for k in (0, 1)]
    # shadows are of one hue, as paper and print are: before them too the edge is told by hue alone, and to
    # two pixels only, since the skin beside it tinges the shadow
    shadow = [shadow_beyond(cut.dark, strip, rows, found[k][0], (-1, 1)[k]) for k in (0, 1)]
    nowhere, nothing = np.zeros(len(rows)), np.zeros(len(rows), bool)
    region = Region(
        rows,
        found[0][0],
        found[1][0],
        (_evidence(strip, panel, cut, rows, found[0], -1), _evidence(strip, panel, cut, rows, found[1], 1)),
        (found[0][1] | shadow[0], found[1][1] | shadow[1]),
        (found[0][2], found[1][2]),
        (pale[0] | on[0] | off[0], pale[1] | on[1] | off[1]),
        (nowhere, nowhere),
        nothing,
        (shadow[0], shadow[1]),
        (nothing, nothing),
        (nothing, nothing),
        hem_mm=None if hem is None else float(strip.heights[rows[0]]),
    )
    return resting(strip, panel, region)


def _track(limb: Mask, offsets: Array) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]] | None:
    """Follow the limb both ways from where it is on the axis: rows, first and last column in each."""
    axis = int(np.argmin(np.abs(offsets)))
    on_axis = np.flatnonzero(limb[:, axis])
    if not len(on_axis):
        return None
    start = int(np.median(on_axis))
    found: dict[int, tuple[int, int]] = {}
    for step in (1, -1):
        row, last = start, (axis, axis)
        while 0 <= row < len(limb) and (run := _run(limb[row], last)) is not None:
            found[row] = last = run
            row += step
    if len(found) < _LEAST_ROWS:
        return None
    rows = np.array(sorted(found), np.intp)
    ends = np.array([found[row] for row in rows], np.intp)
    return rows, ends[:, 0], ends[:, 1]


def _run(row: Mask, last: tuple[int, int]) -> tuple[int, int] | None:
    """Return the ends of the widest run of a row that goes on from the ends of the row beside it."""
    runs = true_runs(row) - [0, 1]
    wide = (runs[:, 1] - runs[:, 0]) * STEP_MM >= _LEAST_WIDTH_MM
    runs = runs[wide & (runs[:, 0] <= last[1]) & (runs[:, 1] >= last[0])]
    if not len(runs):
        return None
    first, end = runs[np.argmax(runs[:, 1] - runs[:, 0])]
    return int(first), int(end)


def _hem(
    strip: Strip, panel: Panel, rows: NDArray[np.intp], left: NDArray[np.intp], right: NDArray[np.intp]
) -> int | None:
    """Return how many rows lie under the rim of cloth that covers the limb above; None without cloth.

    A hem is a ring, so it is seen curved or aslant, and the limb ends sooner at one of its edges.
    """
    beyond = slice(max(int(rows[0]) - _CLOTH_ROWS, 0), int(rows[0]))
    middle = np.abs(strip.offsets) < _LEAST_WIDTH_MM / 2
    other = (panel.inside & (panel.distance2 > _STANDS_OUT))[beyond][:, middle]
    if other.shape[0] < _CLOTH_ROWS or other.mean() < _COVERED or len(rows) < 4 * _CLOTH_ROWS:
        return None
    width = right - left
    whole = _RIM * np.median(width[2 * _CLOTH_ROWS : 4 * _CLOTH_ROWS])
    return int(np.argmax(width[: 2 * _CLOTH_ROWS] >= whole)) + _MARGIN_ROWS


def _steps(
    pixels: NDArray[np.uint8],
    strip: Strip,
    panel: Panel,
    cut: Cut,
    painted: NDArray[np.int8] | None,
    rows: NDArray[np.intp],
    sides: list[NDArray[np.intp]],
) -> Pair:
    """Find both edges by steps of light: over print and table the sheet's colour tells nothing."""
    told = np.where(cut.limb, _LIMB, np.minimum(panel.distance2, _SHEET)).astype(np.float32)
    known = replace(panel, distance2=told)
    drawn = np.zeros(panel.inside.shape, np.int8) if painted is None else painted
    span = float(strip.offsets[sides[0].min()]), float(strip.offsets[sides[1].max()])
    undressed = np.zeros(panel.inside.shape, bool)
    return limb_pair(pixels, strip, known, drawn, rows, span, undressed)


def _boundary(
    strip: Strip,
    panel: Panel,
    cut: Cut,
    rows: NDArray[np.intp],
    side: NDArray[np.intp],
    pair: Pair,
    index: int,
) -> tuple[Array, Mask, Mask]:
    """Return a boundary's offsets (n,) mm, where it is doubtful, and where something else is beyond it."""
    outward = (-1, 1)[index]
    beyond = np.clip(side + outward * _BORDER_CELLS, 0, panel.inside.shape[1] - 1)
    ends = np.asarray(median_filter(~panel.inside[rows, beyond], size=_TRACK_MEDIAN, mode="nearest"), bool)
    gain = outward * np.cumsum(cut.evidence, axis=1, dtype=np.float64)[rows]
    depth = STEP_MM * np.abs(np.arange(gain.shape[1]) - side[:, None])
    scores = np.where(depth <= _SEARCH_MM, gain, gain - _OUT_OF_WINDOW).astype(np.float32)
    path = best_path(scores, stiffness=_STIFFNESS, reach=_REACH)
    agreement = agreement_across(cut.evidence, rows, path, outward)
    steady = minimum_filter1d(pair.strength[index], 2 * _FADE_ROWS + 1, mode="nearest")
    told = strip.offsets[0] + STEP_MM * (path + 0.5)
    # what shines on the limb makes steps within it: the limb reaches as far as its colour at least
    ends &= outward * (pair.offsets[index] - told) > -_WITHIN_MM
    offsets = np.where(ends, pair.offsets[index], told)
    return offsets, np.where(ends, steady < _CLEAR_STEP, agreement < _LEAST_AGREEMENT * CLIP), ends


def _evidence(
    strip: Strip,
    panel: Panel,
    cut: Cut,
    rows: NDArray[np.intp],
    found: tuple[Array, Mask, Mask],
    outward: int,
) -> Values:
    """Return the colours' evidence (H, W), and over print and table that of where steps set the boundary."""
    offsets, _, ends = found
    out = outward * (strip.offsets - offsets[:, None])
    beyond = np.where(np.abs(out) < _LOOSE_MM, 0.0, -np.sign(out)) * _BY_STEPS
    told = cut.evidence.copy()
    told[rows] = np.where(ends[:, None] & ~panel.inside[rows], beyond, told[rows])
    return told

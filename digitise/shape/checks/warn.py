"""What a person should be told about a fit, in sentences."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from digitise.anatomy import LimbKind
from digitise.geometry.view import unsure_parts
from digitise.shape.levels import Levels
from digitise.shape.limb import Limb, girth, levels
from digitise.shape.solve import EdgeData
from digitise.shape.taped import RATIO_Z, SUSPECT_Z, TapeCheck, TapeCross
from digitise.tape.advice import explain_tape
from digitise.tape.points import ADULT_RANGE_MM
from digitise.tape.rows import Code, TapeAdvice

# An edge that the limb misses by more than this, rms, is not the edge of that limb, or the cameras are wrong.
_MISFIT_PX = 1.5
# A segment may reach this far into the foot before it is worth a word.
_FOOT_NOTED_MM = 20.0
# An arm that hangs down to the mat ends at the armpit, some 650 mm above it (from memory); a swollen upper
# arm is seldom half as thick again as the thickest of 507 adults (ours).
_HIGHEST_ARM_MM, _THICKEST_ARM = 720.0, 1.5
_SLIPS: tuple[Code, ...] = ("swapped-rows", "swapped-digits", "unit-slip")
# A tape repeats to less than one percent of a girth and photographs tell it to three: this share is neither.
FAR = 0.08


@dataclass(frozen=True)
class FitWarning:
    """Something a person should know about a fit.

    Attributes
    ----------
    code
        Stable short name.
    text
        One sentence for people.
    """

    code: str
    text: str


@dataclass(frozen=True)
class EdgeResidual:
    """How well the limb explains one edge.

    Attributes
    ----------
    view
        Name of the photograph.
    edge
        Which of its edges, from 0.
    rms_px
        Root mean square distance of its sure points from the fitted limb, pixels.
    """

    view: str
    edge: int
    rms_px: float

    @property
    def side(self) -> str:
        """Which side of the picture."""
        return "left" if self.edge == 0 else "right"


def fit_warnings(
    levels: Levels,
    cross: TapeCross,
    edges: tuple[EdgeData, ...],
    residuals: tuple[EdgeResidual, ...],
    *,
    solid: bool = False,
) -> tuple[FitWarning, ...]:
    """Return all warnings, the one that touches most first: not a limb, scale, tape rows, foot, edges."""
    found = [
        *_solid(solid),
        *_heights(cross),
        *_scale(cross),
        *_rows(cross.checks),
        *_foot(levels),
    ]
    for data, residual in zip(edges, residuals, strict=True):
        found.extend(_misfit(residual))
        found.extend(_unsure(levels, data, residual))
    return tuple(found)


def kind_warnings(limb: Limb) -> tuple[FitWarning, ...]:
    """Doubt an arm that is longer or thicker than arms are: only of a leg are the arteries asked for."""
    if limb.kind != LimbKind.ARM or limb.lying:
        return ()
    widest = float(girth(limb, levels(limb)).mean.max())
    if limb.to_mm <= _HIGHEST_ARM_MM and widest <= _THICKEST_ARM * ADULT_RANGE_MM[LimbKind.ARM][1]:
        return ()
    text = (
        f"The arm reaches {limb.to_mm:.0f} mm above the mat and measures up to {widest:.0f} mm round, more "
        "than arms do. If it is a leg, measure it as one: a leg's arteries are checked before any wrap."
    )
    return (FitWarning("limb-kind", text),)


def _solid(solid: bool) -> list[FitWarning]:
    if not solid:
        return []
    text = (
        "The outlines are as straight as those of a pipe or a bucket, so the sections were taken to be "
        "ellipses. If this is a limb, check both outlines."
    )
    return [FitWarning("solid", text)]


def _heights(cross: TapeCross) -> list[FitWarning]:
    if not cross.girths.off.any():
        return []
    share, chance = cross.heights.share, "" if cross.heights.z > RATIO_Z else " It may be chance, too."
    text = (
        f"The tape fits the photographs best if all its heights are {abs(share):.0f} mm "
        f"{'less' if share > 0 else 'more'}: check from where they were counted, and to which of the tape's "
        f"edges. Its girths are compared there.{chance}"
    )
    return [FitWarning("tape-heights", text)]


def _scale(cross: TapeCross) -> list[FitWarning]:
    by_print = f" Sheets printed at {100 * (1 + cross.scale.share):.0f} % would make that."
    if not (cross.scale.z > cross.ratio.z and cross.scale.is_off):
        by_print = ""
    if cross.is_doubtful:
        text = (
            f"All tape rows read {100 * cross.ratio.share:+.1f} % against the photographs, which may be "
            "chance: measure the ruler printed on the sheets, and look at how taut the tape was."
        )
        return [FitWarning("scale-unsure", text)]
    if not cross.is_off:
        return []
    text = (
        f"All tape rows read {100 * cross.ratio.share:+.1f} % against the photographs: check that the sheets "
        "were printed at 100 %, that the photographs are full and uncropped, and that the tape is sound."
        f"{by_print}"
    )
    return [FitWarning("scale", text)]


def _rows(checks: Sequence[TapeCheck]) -> list[FitWarning]:
    slips = _slips(checks)
    explained = [row for slip in slips for row in slip.rows]
    rest = (note for check in checks if check.row not in explained for note in _row(check))
    return [*(FitWarning("tape-slip", slip.text) for slip in slips), *rest]


def _slips(checks: Sequence[TapeCheck]) -> list[TapeAdvice]:
    """Return the slips of the pen that would explain suspect rows, as the photographs tell their girths."""
    suspect = [check.row for check in checks if check.verdict == "suspect"]
    if not suspect:
        return []
    seen = [check for check in checks if check.verdict != "not seen"]
    predicted = {check.row.height_mm: (check.photo_mm, check.photo_sd_mm) for check in seen}
    advice = explain_tape([check.row for check in seen], predicted)
    return [one for one in advice if one.code in _SLIPS and any(row in suspect for row in one.rows)]


def _row(check: TapeCheck) -> list[FitWarning]:
    row = check.row
    if check.verdict == "suspect":
        text = (
            f"The tape at {row.height_mm:.0f} mm reads {row.girth_mm:.0f} mm where the photographs say "
            f"{check.photo_mm:.0f} mm: check the reading and the outline there."
        )
        return [FitWarning("tape-row", text)]
    if check.verdict == "differs" and abs(check.difference_mm) > FAR * row.girth_mm:
        text = (
            f"The tape at {row.height_mm:.0f} mm reads {row.girth_mm:.0f} mm where the photographs say "
            f"{check.photo_mm:.0f} mm: the volume may be off by more than its interval says, as over a "
            "hanging fold. Check the outline and the reading there."
        )
        return [FitWarning("tape-far", text)]
    if check.verdict == "differs" and abs(check.z) > SUSPECT_Z:
        text = (
            f"The tape at {row.height_mm:.0f} mm reads {row.girth_mm:.0f} mm where the photographs say "
            f"{check.photo_mm:.0f} mm, with an edge in doubt: the tape was followed there."
        )
        return [FitWarning("tape-followed", text)]
    if check.verdict == "not seen":
        text = f"The tape at {row.height_mm:.0f} mm lies outside the segment used and has no say."
        return [FitWarning("tape-unseen", text)]
    return []


def _foot(levels: Levels) -> list[FitWarning]:
    foot = levels.foot_top_mm
    if foot is None or levels.from_mm >= foot - _FOOT_NOTED_MM:
        return []
    text = (
        f"The segment starts at {levels.from_mm:.0f} mm, but the foot begins near {foot:.0f} mm; sections of "
        "a foot are not measured well."
    )
    return [FitWarning("foot", text)]


def _misfit(residual: EdgeResidual) -> list[FitWarning]:
    if not residual.rms_px > _MISFIT_PX:
        return []
    text = (
        f"{residual.view}: the limb misses the {residual.side} edge by {residual.rms_px:.1f} px; check the "
        "outline there, or whether the limb moved between the photographs."
    )
    return [FitWarning("edge-misfit", text)]


def _unsure(levels: Levels, data: EdgeData, residual: EdgeResidual) -> list[FitWarning]:
    """Name the segments of an edge, 20 mm or longer within the levels, that could not be trusted."""
    inside = data.samples.within(levels.from_mm, levels.to_mm) & ~data.samples.sure
    long = [f"{low:.0f}-{high:.0f}" for low, high in unsure_parts(data.samples.z[inside])]
    if not long:
        return []
    text = (
        f"{residual.view}: the {residual.side} edge is unsure at {', '.join(long)} mm; the limb is less "
        "certain there."
    )
    return [FitWarning("edge-unsure", text)]

"""Heights that were asked for, measured as far as they are seen; the rest is named, never guessed."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from digitise.anatomy import LimbKind
from digitise.capture.checks.finding import Finding
from digitise.capture.outline.find import Outline
from digitise.errors import ContradictionError, ShapeError
from digitise.shape.checks.contradictions import TapeContradictionError
from digitise.shape.fit import LimbFit
from digitise.shape.foot.join import HIGHEST_JOINT_MM
from digitise.shape.levels import OutOfSightError
from digitise.workflow.seen.left_out import cure_of

_USUAL_JOINT_MM = 110.0  # above the mat: ankle bones reach 75 mm, an instep some 100 (ours)
LEAST_MM = 40.0  # shorter, what is seen of the limb is not worth a volume

Solve = Callable[[float | None, float | None], LimbFit]


def as_far_as_seen(
    solve: Solve, from_mm: float | None, to_mm: float | None, outlines: Sequence[Outline]
) -> tuple[LimbFit, tuple[Finding, ...]]:
    """Solve a limb between the heights asked for, or those of them that are seen.

    Parameters
    ----------
    solve
        Solves between two heights, mm; None where the evidence decides.
    from_mm, to_mm
        As asked for.
    outlines
        Of the photographs, for what hides the rest.

    Returns
    -------
    The fit, and what was asked for but not measured.

    Raises
    ------
    OutOfSightError
        When less than 40 mm of what was asked for is seen.
    ShapeError
        As by ``solve``.
    """
    try:
        return solve(from_mm, to_mm), ()
    except TapeContradictionError as error:
        return _where_tape_agrees(solve, from_mm, to_mm, outlines, error)
    except OutOfSightError as error:
        low, high = error.from_mm, error.to_mm
        if high - low < LEAST_MM:
            raise
    fit = solve(low, high)
    below = () if from_mm is None or from_mm >= low else (_not_seen(from_mm, low, outlines),)
    above = () if to_mm is None or to_mm <= high else (_not_seen(high, to_mm, outlines),)
    return fit, (*below, *above)


def _where_tape_agrees(
    solve: Solve,
    from_mm: float | None,
    to_mm: float | None,
    outlines: Sequence[Outline],
    error: TapeContradictionError,
) -> tuple[LimbFit, tuple[Finding, ...]]:
    """Solve a limb between those tape rows that agree with the photographs; the rest is named.

    Above or below them something else was followed, such as the other thigh.

    Raises
    ------
    TapeContradictionError
        The one given, where too few rows agree or the limb is not known between them either.
    """
    if error.agree is None:
        raise error
    low, high = error.agree
    try:
        fit = solve(from_mm if low is None else low, to_mm if high is None else high)
    except ShapeError:
        raise error from None
    below = () if low is None else (_contradicted(from_mm, fit.limb.from_mm, outlines, error),)
    above = () if high is None else (_contradicted(fit.limb.to_mm, to_mm, outlines, error),)
    return fit, (*below, *above)


def _contradicted(
    low: float | None, high: float | None, outlines: Sequence[Outline], error: TapeContradictionError
) -> Finding:
    stretch = f"Below {high:.0f}" if low is None else f"Above {low:.0f}"
    if low is not None and high is not None:
        stretch = f"From {low:.0f} to {high:.0f}"
    text = (
        f"{stretch} mm the tape and the photographs contradict each other: nothing was measured there, and "
        "the volume does not hold it."
    )
    do = cure_of(outlines, low, high, instead=False) or error.do
    return Finding("", "tape-contradicts", "warning", text, do)


def _not_seen(low: float, high: float, outlines: Sequence[Outline]) -> Finding:
    text = (
        f"From {low:.0f} to {high:.0f} mm, which was asked for as well, the limb is not seen well enough: "
        "nothing was measured there, and the volume does not hold it."
    )
    do = cure_of(outlines, low, high, instead=False) or (
        "To measure it too, let two photographs show both of its edges there before a plain backdrop."
    )
    return Finding("", "not-seen", "warning", text, do)


def down_to_foot(fit: LimbFit, solve: Callable[[float], LimbFit]) -> LimbFit:
    """Return a leg solved down to its foot, where its own heights were chosen to begin above.

    The heights that the photographs and the tape tell best may begin far up; where the foot is asked for, the
    stretch between counts as well, with its wider interval.  The leg stays as it was where that cannot be.

    Parameters
    ----------
    fit
        The leg between the heights that were chosen for it.
    solve
        Solves it from a given height up.
    """
    if fit.limb.kind != LimbKind.LEG or fit.limb.from_mm <= HIGHEST_JOINT_MM:
        return fit
    top = fit.levels.foot_top_mm
    low = _USUAL_JOINT_MM if top is None or top > HIGHEST_JOINT_MM else 10.0 * np.ceil(top / 10.0)
    try:
        return solve(float(low))
    except (ContradictionError, ShapeError):
        return fit

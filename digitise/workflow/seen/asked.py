"""Heights that were asked for, measured as far as they are seen; the rest is named, never guessed."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from digitise.capture.checks.finding import Finding
from digitise.capture.outline.find import Outline
from digitise.shape.fit import LimbFit
from digitise.shape.levels import OutOfSightError
from digitise.workflow.seen.left_out import cure_of

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
    except OutOfSightError as error:
        low, high = error.from_mm, error.to_mm
        if high - low < LEAST_MM:
            raise
    fit = solve(low, high)
    below = () if from_mm is None or from_mm >= low else (_not_seen(from_mm, low, outlines),)
    above = () if to_mm is None or to_mm <= high else (_not_seen(high, to_mm, outlines),)
    return fit, (*below, *above)


def _not_seen(low: float, high: float, outlines: Sequence[Outline]) -> Finding:
    text = (
        f"From {low:.0f} to {high:.0f} mm, which was asked for as well, the limb is not seen well enough: "
        "nothing was measured there, and the volume does not hold it."
    )
    do = cure_of(outlines, low, high, instead=False) or (
        "To measure it too, let two photographs show both of its edges there before a plain backdrop."
    )
    return Finding("", "not-seen", "warning", text, do)

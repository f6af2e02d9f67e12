"""What is said of a limb that lies: how much of it rests on supports, how it is bent, what hides it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from digitise.capture.checks.finding import Finding
from digitise.capture.outline.find import Outline
from digitise.errors import ShapeError
from digitise.shape.limb import Z95, Limb
from digitise.shape.lying.straight import Bend, Place

# Sections across a straight line cut a part that leans by 12 degrees 2 % too long, and by 25 degrees 10 %.
_BENT_DEG = 12.0
_TOO_BENT_DEG = 25.0
_ROUND_JOINT_MM = 30.0  # the limb turns over that much on either side of a joint
_PARTS = {"arm": ("elbow", "forearm", "upper arm"), "leg": ("knee", "lower leg", "thigh")}
_MUCH_SUPPORTED = 0.5
_UNSURE_START_MM = 3.0  # one sd: the landmark by one tap should be within 3 mm


def lying_findings(outlines: Sequence[Outline], limb: Limb) -> tuple[Finding, ...]:
    """Say how much of a lying limb rests on supports.

    Parameters
    ----------
    outlines
        With heights along the limb's axis.
    limb
        As it was measured.
    """
    z = np.arange(limb.from_mm, limb.to_mm, 2.0)
    rests = np.zeros(len(z), bool)
    for part in (each for outline in outlines for each in outline.supported):
        rests |= (z >= part.from_mm) & (z <= part.to_mm)
    share = float(rests.mean())
    found = []
    if share > 0.0:
        length = limb.to_mm - limb.from_mm
        text = (
            f"{share * length:.0f} of {length:.0f} mm of the limb rest on supports: there its lower edge "
            "counts little or not at all, and intervals are wider."
        )
        do = "Use smaller supports." if share > _MUCH_SUPPORTED else ""
        found.append(Finding("", "supported", "warning", text, do))
    return tuple(found)


def bend_findings(turn: Bend, limb: str) -> tuple[Finding, ...]:
    """Warn of a bent elbow or knee; refuse one that a straight axis does not fit.

    Parameters
    ----------
    turn
        Where and how far it is bent; height from the landmark.
    limb
        ``leg`` or ``arm``.

    Raises
    ------
    ShapeError
        It is bent too far.
    """
    if turn.degrees < _BENT_DEG:
        return ()
    joint, lower, upper = _PARTS[limb]
    at = turn.height_mm
    text = f"The {joint} is bent by {turn.degrees:.0f} degrees"
    if turn.degrees > _TOO_BENT_DEG:
        below, above = at - _ROUND_JOINT_MM, at + _ROUND_JOINT_MM
        raise ShapeError(
            f"{text}, {at:.0f} mm from the landmark: one straight axis does not fit both parts.",
            do=f"Stretch the {joint} and take the photographs again, or measure the parts one by one: the "
            f"{lower} up to {below:.0f} mm (--to {below:.0f}), the {upper} from {above:.0f} mm "
            f"(--from {above:.0f}).",
        )
    aslant = f"{text}. Girths near it are cut aslant."
    return (Finding("", "bent", "warning", aslant, f"Stretch the {joint} next time."),)


def start_findings(place: Place, name: str) -> tuple[Finding, ...]:
    """Say that heights count from a place that is known badly, and from where it would be known better."""
    if place.sd_mm < _UNSURE_START_MM:
        return ()
    text = (
        f"Heights count from a place that is known to ±{Z95 * place.sd_mm:.0f} mm along the limb only: "
        "the photograph looks at it aslant, where the limb is not seen all round."
    )
    do = "Tap the landmark in a photograph that looks straight at it, and where its edges are seen."
    return (Finding(name, "landmark-unsure", "warning", text, do),)


def sleeve(outlines: Sequence[Outline]) -> str:
    """Say that cloth covers part of the limb, which may be why it is not understood; empty without any."""
    covered = [n for n, outline in enumerate(outlines, start=1) if outline.hem_mm is not None]
    if not covered:
        return ""
    return (
        f"In photograph {covered[0]} cloth covers part of the limb: roll it up well above what is measured, "
        "and take the photographs again."
    )

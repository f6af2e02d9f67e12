"""What is said of a limb that lies: how much of it rests on supports, how it is bent, what hides it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from digitise.anatomy import LimbKind
from digitise.capture.checks.finding import Finding
from digitise.capture.checks.skin import SkinTone
from digitise.capture.outline.find import Outline
from digitise.errors import OutlineError, ShapeError
from digitise.shape.limb import Z95, Limb
from digitise.shape.lying.straight import Bend, Place

# Sections across a straight line cut a part that leans by 12 degrees 2 % too long, by 25 degrees 10 %.  An
# elbow bent by 40 degrees turns the middle line by some 25 where little of the upper arm is seen; between the
# wrist and 70 mm beyond the elbow that changes the volume of one arm by at most 1.0 % (docs/decisions).
_BENT_DEG = 12.0
_TOO_BENT_DEG = 25.0
_ROUND_JOINT_MM = 30.0  # the limb turns over that much on either side of a joint
_PARTS = {LimbKind.ARM: ("elbow", "forearm", "upper arm"), LimbKind.LEG: ("knee", "lower leg", "thigh")}
_MUCH_SUPPORTED = 0.5
_LOW_HEM_MM = 300.0  # 240 mm above a wrist, where the forearm goes on under the sleeve
# Log light of red over green, both over white paper's: skin from very dark to pale gave 0.2 to 0.8 in renders
# under warm and cool light; grey, blue and green cloth stay below zero.
_LEAST_RED = 0.08
_UNSURE_START_MM = 3.0  # one sd: the landmark by one tap should be within 3 mm


# What to do when the outlines are not of one limb, or are seen too badly.
UNCLEAR = (
    "Light limb and sheet evenly from several sides, so that no dark shadow lies beside it; use supports "
    "of another colour than the skin; keep the other arm or leg, and hands, off the sheet. Take the "
    "photographs again, or draw the limb on them by hand."
)


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


def bend_findings(turn: Bend, limb: LimbKind) -> tuple[Finding, ...]:
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
    aslant = (
        f"{text}. Girths near it are cut aslant, and a visit at which it is bent otherwise differs by up to "
        "1 % of the volume."
    )
    return (Finding("", "bent", "warning", aslant, f"Stretch the {joint}, or hold it alike every time."),)


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


def require_skin(tones: Sequence[SkinTone | None], names: Sequence[str]) -> None:
    """Check that what lies over the sheet has a colour that skin can have.

    Raises
    ------
    OutlineError
        It has not: cloth covers the limb.
    """
    red = [tone.red for tone in tones if tone is not None]
    if red and float(np.median(red)) < _LEAST_RED:
        raise OutlineError(
            "what lies over the sheet has not the colour of skin: it is covered, or not a limb.",
            where=", ".join(names),
            do="Roll sleeve or trouser leg up well above what is measured, take dressings off, and take the "
            "photographs again.",
        )


def sleeve(outlines: Sequence[Outline]) -> str:
    """Say that cloth covers part of the limb, which may be why it is not understood; empty without any."""
    covered = [n for n, outline in enumerate(outlines, start=1) if (outline.hem_mm or np.inf) < _LOW_HEM_MM]
    if not covered:
        return ""
    return (
        f"In photograph {covered[0]} cloth covers part of the limb: roll it up well above what is measured, "
        "and take the photographs again."
    )

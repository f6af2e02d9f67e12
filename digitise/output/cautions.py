"""The words of caution that go with every result, in one place.

Contraindications and the arterial check: Rabe et al. 2020, Phlebology 35(7):447-460.  Red flags: common
teaching.
"""

from __future__ import annotations

from digitise.anatomy import CountedFrom, LimbKind

_ENDS = {LimbKind.LEG: "toes", LimbKind.ARM: "fingers"}
_LEFT_OUT = {LimbKind.LEG: ("foot", "groin"), LimbKind.ARM: ("hand", "armpit")}

# How a limb lay when it was measured, in words that follow "measured"; empty for one that stands.
POSTURES = {
    "": "standing or along a given axis",
    "palm-down": "lying with the palm down",
    "palm-up": "lying with the palm up",
    "on-back": "lying on the back",
}

# From where heights of a limb that lies count.
PLACES = {
    CountedFrom.WRIST_CREASE: "the wrist crease",
    CountedFrom.ELBOW_TIP: "the tip of the elbow",
    CountedFrom.ANKLE_BONE: "the ankle bone",
    CountedFrom.KNEECAP: "the kneecap",
}


def counted_from(lying: str | None, place: CountedFrom | None = None) -> str:
    """Return from where heights count, such as ``the mat``, of a limb that lies so or stands."""
    if not lying:
        return "the mat"
    return "the landmark" if place is None else PLACES[place]


LIMITS = (
    "The limb is the most likely shape between its outlines: dents behind a convex edge cannot be seen. "
    "What no photograph saw widens the intervals. Changes of one limb between visits are better known than "
    "its volume, as most of the error stays the same."
)


def caution(limb: LimbKind) -> tuple[str, ...]:
    """Return the caution for a ``leg`` or an ``arm``, one sentence or two an item."""
    ends = _ENDS[limb]
    check = (
        "Before any compression: medical clearance and, on a leg, a check of its arteries."
        if limb == LimbKind.LEG
        else "Before any compression: medical clearance and a check of the arteries where they may be narrow."
    )
    return (
        "This is a measurement, not a diagnosis. It does not stage, prescribe or choose a pressure.",
        check,
        "Stop and refer for sudden or fast swelling; hot, red or painful skin, or fever; a suspected clot; "
        f"breathlessness or chest pain; numb, blue, white or cold {ends}; new lumps, open, bleeding or "
        "leaking skin; swelling of unknown cause.",
        "Local rules and the licensed practitioner decide.",
    )


def study_caution() -> tuple[str, ...]:
    """Return what to know of a study's tables and chart."""
    return (
        "These are measurements of all limbs in the records, also of healthy ones that were measured beside "
        "a swollen one: which limb is swollen the records do not say.",
        "Changes are between the heights that all visits of a limb share, against its first measured visit. "
        "Later weeks hold other limbs than earlier ones, and who stays longer in treatment may differ from "
        "who does not. A course without a group for comparison does not show what caused it.",
        "Codes and times stand for people: keep the tables as safe as the records, and pass on only what the "
        "study's rules allow.",
        "This is a measurement, not a diagnosis.",
    )


def left_out(limb: LimbKind, from_mm: float | None, to_mm: float) -> tuple[str, ...]:
    """Return what the figures do not include, one sentence an item.

    ``from_mm`` is None where the foot was measured as well.
    """
    below, above = _LEFT_OUT[limb]
    beyond = f"All above {to_mm:.0f} mm, up to the {above}, is not included."
    if from_mm is None:
        return (beyond,)
    return (f"The {below} and all below {from_mm:.0f} mm is not included.", beyond)

"""What a bandage would do at a place, what to feel there, and what follows from what the hand feels.

Common practice, in our own words: outlines show form alone, the hand tells bone from swelling.
"""

from __future__ import annotations

from typing import Final

from digitise.care.padding.foot.places import FootPlace
from digitise.care.padding.maps import Kind
from digitise.care.padding.region import Region

FEEL: Final[dict[Kind, tuple[str, ...]]] = {
    "bulge": (
        "Hard as bone, firm, or soft?",
        "Does a thumb, pressed in for ten seconds, leave a pit?",
        "Is it new, warm, tender or hard without being bone?",
    ),
    "hollow": ("Soft ground, or a tendon or bone beneath?", "Is the skin in it whole and dry?"),
    "ridge": ("Bone or tendon beneath, or a firm edge of swelling?", "Is the skin over it thin or red?"),
    "crease": ("How deep does a fingertip go?", "Is the skin in it whole and dry, without smell?"),
    "inverted taper": ("Is the wide part below soft, firm or bone?", "Did the last wrap slide down to here?"),
    "step": ("Did the edge of a wrap or stocking cut in here?", "Is the skin at the edge whole?"),
}
"""What to feel, by kind of place."""

ADVICE_BY_FEEL: Final[dict[Kind, tuple[tuple[str, str], ...]]] = {
    "bulge": (
        ("bone", "pad round it, and leave it free"),
        ("firm swelling", "pad on it with foam that spreads the pressure"),
        ("soft swelling", "pad on it evenly"),
        ("new, warm, tender or hard", "do not pad: ask the treating doctor first"),
    ),
    "hollow": (
        ("soft ground", "fill it level with its rims"),
        ("tendon or bone", "fill beside it, not on it"),
        ("skin broken or wet", "do not fill before the skin was seen to"),
    ),
    "ridge": (
        ("bone or tendon", "pad on both sides until it no longer stands out"),
        ("firm edge of swelling", "pad on it with foam that spreads the pressure"),
        ("skin thin or red", "add soft padding over it, and look again after the wrap"),
    ),
    "crease": (
        ("skin whole and dry", "pad along it, so that it lies open, and keep bandage edges off"),
        ("skin broken, wet or smelling", "skin care first; no foam into it"),
    ),
    "inverted taper": (
        ("soft or firm swelling below", "build up the narrow part above until the limb widens evenly"),
        ("bone below", "build up the narrow part above, and pad round the bone"),
    ),
    "step": (
        ("skin whole", "even it out with padding across the edge"),
        ("edge cut in", "end no layer here"),
    ),
}
"""What follows from what the hand feels: pairs of what is felt and what to do."""

# Below this a bandage lies on the ground of a dip (ours).
_BRIDGES_MM = 2.0
# Within these a layer presses about as it does elsewhere on the section (ours).
_EVEN = (0.8, 1.25)


def effect(region: Region) -> str:
    """Return what a bandage would do at a place, one sentence."""
    match region.kind:
        case "hollow" | "crease":
            if region.bridge_mm is not None and region.bridge_mm >= _BRIDGES_MM:
                return (
                    f"A bandage would bridge a dip of {region.bridge_mm:.0f} mm here and press on its rims."
                )
            return "A bandage would follow the dip, and press less in it than beside it."
        case "bulge" | "ridge":
            return _pressing(region)
        case "inverted taper":
            return "A bandage would slide to the narrow part, and press more towards the trunk."
    return "The edge of a turn would gape or cut in here."


def foot_effect(place: FootPlace) -> str:
    """Return what a bandage would do at a place on a foot, one sentence."""
    if place.bridge_mm is not None and place.bridge_mm >= _BRIDGES_MM:
        return f"A bandage would bridge a dip of {place.bridge_mm:.0f} mm behind the ankle bone."
    if place.kind == "hollow":
        return "A bandage would follow the dip, and press less in it than beside it."
    if place.bridge_mm is not None:
        return "The hollow behind the bone is filled: a bandage would lie on it."
    return "A bandage would press more on its crest than beside it."


def _pressing(region: Region) -> str:
    ratio = region.press_ratio
    if ratio is None or _EVEN[0] <= ratio <= _EVEN[1]:
        return "A bandage would press here about as on the rest of the section."
    if ratio > _EVEN[1]:
        return f"A bandage would press {ratio:.1f} times as hard on its crest as beside it."
    return "A bandage would press less here than on the rest of the section: it is flat."

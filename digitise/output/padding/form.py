"""The form of pad.json: places on a limb that may need padding, and the foam drawn for them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final, Literal

import numpy as np
from pydantic import AwareDatetime

from digitise.care.padding.advice import ADVICE_BY_FEEL, FEEL, effect, foot_effect
from digitise.care.padding.foot.places import FootPlace
from digitise.care.padding.region import Region
from digitise.care.padding.regions import ADVICE, HIDDEN, PEAK_MEANS
from digitise.output.cautions import caution
from digitise.output.forms import (
    Digest,
    Form,
    LimbField,
    Pair,
    SideField,
    SoftwareForm,
    Text,
    interval,
    now,
    rounded,
    software,
)
from digitise.output.model.form import ModelForm
from digitise.shape.limb import Estimate

FORMAT: Final = "limb-pad/1"
SHAPE_ONLY = (
    "The places come from shape alone, which shows no fluid, fat, muscle, vein or lump: padding is a "
    "suggestion for a trained person."
)


class PlaceForm(Form):
    """One place; ``direction_deg`` is counted from x towards y of the limb's axis frame.

    ``effect`` is what a bandage would do, ``by_feel`` what follows from what the hand feels.  ``foam``
    names the pieces in foam.pdf by their number; ``foam_note`` tells why there is none.
    """

    number: int
    kind: str
    place: Text
    stretch: Text
    peak_place: Text
    height_mm: float
    direction_deg: float
    from_mm: float
    to_mm: float
    area_cm2: float
    peak_mm: float
    peak_mm_95: Pair
    peak_means: Text
    pressure_ratio: float | None
    volume_ml: float | None
    volume_ml_95: Pair | None
    confidence: str
    why: Text
    advice: Text
    effect: Text = ""
    feel: tuple[Text, ...] = ()
    by_feel: tuple[tuple[Text, Text], ...] = ()
    foam: tuple[int, ...]
    foam_note: Text


class FootPlaceForm(Form):
    """One place on the foot; its number follows those of the limb's places.

    ``peak_at_mm`` is in the world frame.  ``effect``, ``by_feel``, ``foam`` and ``foam_note`` are as of the
    limb's places.
    """

    number: int
    kind: Literal["bulge", "hollow"]
    place: Text
    peak_at_mm: tuple[float, float, float]
    area_cm2: float
    peak_mm: float
    peak_mm_95: Pair
    peak_means: Text
    volume_ml: float
    volume_ml_95: Pair
    bridge_mm: float | None
    confidence: Literal["clear", "likely"]
    why: Text
    advice: Text
    effect: Text
    feel: tuple[Text, ...]
    by_feel: tuple[tuple[Text, Text], ...]
    foam: tuple[int, ...]
    foam_note: Text


class AgainstForm(Form):
    """The model that the limb was held against."""

    words: Text
    side: SideField
    limb_sha256: Digest
    created: AwareDatetime


class PadForm(Form):
    """All that pad.json holds; ``safety`` is what is open about the client, the most urgent first."""

    format: Literal["limb-pad/1"]
    limb: LimbField
    side: SideField
    from_mm: float
    to_mm: float
    limb_sha256: Digest
    against: AgainstForm | None
    safety: tuple[Text, ...] = ()
    more_places: int = 0
    places: tuple[PlaceForm, ...]
    foot_places: tuple[FootPlaceForm, ...] = ()
    notes: tuple[Text, ...]
    caution: tuple[Text, ...]
    created: AwareDatetime
    software: SoftwareForm


def pad_form(
    model: ModelForm,
    regions: Sequence[Region],
    foam: Mapping[int, tuple[int, ...] | str],
    against: AgainstForm | None,
    created: datetime | None = None,
    safety: tuple[str, ...] = (),
    more: int = 0,
    foot: Sequence[FootPlace] = (),
) -> PadForm:
    """Return what pad.json holds.

    Parameters
    ----------
    model
        What model.json says of the limb.
    regions
        Its places, in the order of their numbers from 1.
    foam
        By the place's number: the numbers of its pieces, or why there is none.
    against
        What the limb was held against; None for the limb by itself.
    created
        When; now when None.
    safety
        What is open about the client.
    more
        How many places were found beyond those listed.
    foot
        Places on its foot; their numbers follow.
    """
    return PadForm(
        format=FORMAT,
        limb=model.limb,
        side=model.side,
        from_mm=model.from_mm,
        to_mm=model.to_mm,
        limb_sha256=model.limb_sha256,
        against=against,
        safety=safety,
        more_places=more,
        places=tuple(_place(n, region, foam.get(n, "")) for n, region in enumerate(regions, start=1)),
        foot_places=tuple(
            _foot_place(n, place, foam.get(n, "")) for n, place in enumerate(foot, start=len(regions) + 1)
        ),
        notes=(SHAPE_ONLY, HIDDEN),
        caution=caution(model.limb),
        created=created or now(),
        software=software(),
    )


def _place(number: int, region: Region, foam: tuple[int, ...] | str) -> PlaceForm:
    peak = Estimate(np.asarray(region.peak_mm), np.asarray(region.peak_sd_mm))
    volume, sd = region.volume_ml, region.volume_sd_ml
    known = None if volume is None or sd is None else Estimate(np.asarray(volume), np.asarray(sd))
    return PlaceForm(
        number=number,
        kind=region.kind,
        place=region.place,
        stretch=region.segment,
        peak_place=region.peak_place,
        height_mm=rounded(region.height_mm),
        direction_deg=rounded(np.degrees(region.theta) % 360.0),
        from_mm=rounded(region.from_mm),
        to_mm=rounded(region.to_mm),
        area_cm2=rounded(region.area_cm2),
        peak_mm=rounded(peak.mean),
        peak_mm_95=interval(peak),
        peak_means=PEAK_MEANS[region.kind],
        pressure_ratio=None if region.ratio is None else rounded(region.ratio),
        volume_ml=None if volume is None else rounded(volume),
        volume_ml_95=None if known is None else interval(known),
        confidence=region.confidence,
        why=region.why,
        advice=ADVICE[region.kind],
        effect=effect(region),
        feel=FEEL[region.kind],
        by_feel=ADVICE_BY_FEEL[region.kind],
        foam=() if isinstance(foam, str) else foam,
        foam_note=foam if isinstance(foam, str) else "",
    )


def _foot_place(number: int, place: FootPlace, foam: tuple[int, ...] | str) -> FootPlaceForm:
    peak, volume = Estimate(place.peak_mm, place.peak_sd_mm), Estimate(place.volume_ml, place.volume_sd_ml)
    x, y, z = map(rounded, place.peak)
    return FootPlaceForm(
        number=number,
        kind=place.kind,
        place=place.place,
        peak_at_mm=(x, y, z),
        area_cm2=rounded(place.area_cm2),
        peak_mm=rounded(peak.mean),
        peak_mm_95=interval(peak),
        peak_means=PEAK_MEANS[place.kind],
        volume_ml=rounded(volume.mean),
        volume_ml_95=interval(volume),
        bridge_mm=None if place.bridge_mm is None else rounded(place.bridge_mm),
        confidence=place.confidence,
        why=place.why,
        advice=ADVICE[place.kind],
        effect=foot_effect(place),
        feel=FEEL[place.kind],
        by_feel=ADVICE_BY_FEEL[place.kind],
        foam=() if isinstance(foam, str) else foam,
        foam_note=foam if isinstance(foam, str) else "",
    )

"""The form of wrap.json: what a planned wrap takes, how pressure runs, and the girth list for a garment."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final, Literal

from pydantic import AwareDatetime

from digitise.care.wrap.follow import WrapStep
from digitise.care.wrap.garment import GirthEntry, GirthList
from digitise.care.wrap.plan import Plan
from digitise.care.wrap.pressure import CRITICISM, RELATIVE_ONLY
from digitise.care.wrap.sheet import LayerNeed, WrapSheet
from digitise.output.cautions import caution
from digitise.output.forms import (
    Digest,
    Form,
    LimbField,
    Pair,
    SideField,
    SoftwareForm,
    Text,
    WarningForm,
    now,
    rounded,
    software,
)
from digitise.output.model.form import ModelForm, PlaceGirthForm
from digitise.output.model.place_girths import doubt_words
from digitise.tape.places import place_words

FORMAT: Final = "limb-wrap/1"


class NeedForm(Form):
    """What one layer of the plan takes; lengths with anchor turns, turns without.

    ``from_toes``: it begins behind the toes and closes the heel, ``from_knuckles``: it begins on the hand;
    turns and lengths count foot or hand.
    """

    name: Text
    width_mm: float
    from_mm: float
    to_mm: float
    turns: float
    stretched_mm: float
    rest_mm: float
    rolls: int
    from_toes: bool = False
    from_knuckles: bool = False
    begins: Text = ""
    ends: Text = ""
    overlap: str = ""
    extension: str = ""


class RollsForm(Form):
    """How many rolls of one kind and width."""

    kind: Literal["bandage", "padding"]
    width_mm: float
    rolls: int


class HeightForm(Form):
    """One height: pressing layers, and mean Laplace pressure over that at ankle or wrist."""

    height_mm: float
    layers: float
    relative_pressure: float
    estimate_mmhg: float


class GirthPointForm(Form):
    """One lettered point of the girth list; ``source`` tells how far its definition was checked."""

    letter: str
    place: Text
    length_name: str
    height_mm: float
    height_mm_95: Pair
    girth_mm: float
    girth_mm_95: Pair
    set_by_hand: bool
    source: str
    note: Text


class TapedForm(Form):
    """A girth on foot or hand, as it was taped; ``note`` says what to look at."""

    name: str
    place: Text
    girth_mm: float
    note: Text


class GarmentForm(Form):
    """Girths and lengths for ordering a garment; ``missing`` are letters that could not be placed."""

    points: tuple[GirthPointForm, ...]
    taped: tuple[TapedForm, ...] = ()
    missing: tuple[str, ...]
    notes: tuple[Text, ...]


class WrapForm(Form):
    """All that wrap.json holds; ``plan`` is plan.toml, ``safety`` what is open about the client.

    ``foot`` says whether the foot below was measured, taped, or is not known.
    """

    format: Literal["limb-wrap/1"]
    limb: LimbField
    side: SideField
    from_mm: float
    to_mm: float
    limb_sha256: Digest
    safety: tuple[Text, ...] = ()
    suggested: bool
    foot: Literal["measured", "taped"] | None = None
    plan: Plan
    needs: tuple[NeedForm, ...]
    rolls: tuple[RollsForm, ...]
    profile: tuple[HeightForm, ...]
    warnings: tuple[WarningForm, ...]
    notes: tuple[Text, ...]
    garment: GarmentForm | None
    caution: tuple[Text, ...]
    created: AwareDatetime
    software: SoftwareForm


def wrap_form(
    model: ModelForm,
    sheet: WrapSheet,
    garment: GirthList | None,
    *,
    suggested: bool,
    created: datetime | None = None,
    safety: tuple[str, ...] = (),
) -> WrapForm:
    """Return what wrap.json holds.

    Parameters
    ----------
    model
        What model.json says of the limb.
    sheet
        The wrap, worked out.
    garment
        The girth list, when it was asked for.
    suggested
        Whether the plan is our suggestion.
    created
        When; now when None.
    safety
        What is open about the client.
    """
    heights = zip(sheet.z, sheet.layers, sheet.relative, sheet.estimate_mmhg, strict=True)
    return WrapForm(
        format=FORMAT,
        limb=model.limb,
        side=model.side,
        from_mm=model.from_mm,
        to_mm=model.to_mm,
        limb_sha256=model.limb_sha256,
        safety=safety,
        suggested=suggested,
        foot=None if sheet.end is None else "measured" if sheet.end.measured else "taped",
        plan=sheet.plan,
        needs=tuple(map(_need, sheet.needs, sheet.steps)),
        rolls=tuple(map(RollsForm.model_validate, sheet.rolls)),
        profile=tuple(
            HeightForm(
                height_mm=rounded(z),
                layers=rounded(layers),
                relative_pressure=rounded(relative),
                estimate_mmhg=rounded(estimate),
            )
            for z, layers, relative, estimate in heights
        ),
        warnings=tuple(WarningForm(code=one.code, text=one.text) for one in sheet.warnings),
        notes=(*end_notes(sheet), RELATIVE_ONLY, *CRITICISM),
        garment=None if garment is None else garment_form(garment, model.place_girths),
        caution=caution(model.limb),
        created=created or now(),
        software=software(),
    )


def end_notes(sheet: WrapSheet) -> tuple[str, ...]:
    """Return what holds for layers that begin behind toes or knuckles; empty without such."""
    if not any(need.end for need in sheet.needs) or sheet.end is None:
        return ()
    part = sheet.end.part
    return (ON_END[part],) if sheet.end.measured else (ON_END[part], TAPED[part])


ON_END = {
    "foot": "On the foot turns are counted where they lie farthest apart, round the heel, so that they close "
    "it. Pressure there is not told: its back is round and its sole is flat.",
    "hand": "On the hand turns lie across it, the thumb left free; wraps of the fingers are not counted. "
    "Pressure there is not told: its back and its palm are flat.",
}
TAPED = {
    "foot": "The foot was not photographed: what it takes follows from its taped girths, within some 6 %.",
    "hand": "The hand was not photographed: what it takes follows from its taped girths, within some 15 %, "
    "or 8 % where its length is taped too.",
}


def _need(need: LayerNeed, step: WrapStep) -> NeedForm:
    layer = need.layer
    return NeedForm(
        name=layer.name,
        width_mm=layer.width_mm,
        from_mm=layer.from_mm,
        to_mm=layer.to_mm,
        turns=rounded(need.turns),
        stretched_mm=rounded(need.stretched_mm),
        rest_mm=rounded(need.rest_mm),
        rolls=need.rolls,
        from_toes=need.end == "foot",
        from_knuckles=need.end == "hand",
        begins=step.begins,
        ends=step.ends,
        overlap=step.overlap,
        extension=step.extension,
    )


def garment_form(found: GirthList, taped: Sequence[PlaceGirthForm] = ()) -> GarmentForm:
    """Return the girth list as wrap.json holds it, with the girths that were taped on foot or hand."""
    return GarmentForm(
        points=tuple(_point(entry) for entry in found.entries),
        taped=tuple(map(_taped, taped)),
        missing=found.missing,
        notes=found.notes,
    )


def _taped(row: PlaceGirthForm) -> TapedForm:
    return TapedForm(
        name=row.place, place=place_words(row.place), girth_mm=row.girth_mm, note=doubt_words(row)
    )


def _point(entry: GirthEntry) -> GirthPointForm:
    return GirthPointForm(
        letter=entry.letter,
        place=entry.place,
        length_name=entry.length_name,
        height_mm=rounded(entry.height_mm),
        height_mm_95=(rounded(entry.height_95[0]), rounded(entry.height_95[1])),
        girth_mm=rounded(entry.girth_mm),
        girth_mm_95=(rounded(entry.girth_95[0]), rounded(entry.girth_95[1])),
        set_by_hand=entry.set_by_hand,
        source=entry.source,
        note=entry.note,
    )

"""The form of model.json; its JSON schema is ``ModelForm.model_json_schema()``.

Lengths in mm along the axis or in the axis frame, areas in mm^2, volumes in mL.  Names ending in ``_95``
are the two ends of a 95 % interval.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Final, Literal

from pydantic import (
    AfterValidator,
    AwareDatetime,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    model_validator,
)

FORMAT: Final = "limb-model/1"


def _rising(interval: tuple[float, float]) -> tuple[float, float]:
    if not interval[0] <= interval[1]:
        raise ValueError("the lower end of the interval is above the upper end")
    return interval


def _printable(text: object) -> object:
    """Replace what cannot be printed or encoded: file names may hold any byte."""
    return "".join(c if c.isprintable() else "?" for c in text) if isinstance(text, str) else text


Text = Annotated[str, Field(max_length=10_000), BeforeValidator(_printable)]
Name = Annotated[str, Field(min_length=1, max_length=255), BeforeValidator(_printable)]
Height = Annotated[float, Field(ge=-2_000, le=5_000)]
Offset = Annotated[float, Field(ge=-5_000, le=5_000)]
Length = Annotated[float, Field(ge=0, le=5_000)]
Area = Annotated[float, Field(gt=0, le=2_000_000)]
Millilitres = Annotated[float, Field(gt=0, le=200_000)]
Interval = Annotated[tuple[Offset, Offset], AfterValidator(_rising)]
_Wide = Annotated[float, Field(ge=-10_000_000, le=10_000_000)]
WideInterval = Annotated[tuple[_Wide, _Wide], AfterValidator(_rising)]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Form(BaseModel):
    """Strict and frozen; fields that this version does not know are left aside."""

    model_config = ConfigDict(strict=True, frozen=True, allow_inf_nan=False, extra="ignore")


class SectionForm(Form):
    """One level; width along x, depth along y, centre in the axis frame (the world's for a standing leg)."""

    height_mm: Height
    area_mm2: Area
    area_mm2_95: WideInterval
    girth_mm: Annotated[float, Field(gt=0, le=5_000)]
    girth_mm_95: Interval
    width_mm: Length
    depth_mm: Length
    centre_mm: tuple[Offset, Offset]


class StretchForm(Form):
    """The volume between two heights."""

    from_mm: Height
    to_mm: Height
    volume_ml: Millilitres
    volume_ml_95: WideInterval


class TapeCheckForm(Form):
    """A tape row beside the girth seen by the photographs alone; null where they do not see its height."""

    height_mm: Height
    tape_mm: Length
    photo_mm: Length | None
    photo_mm_95: Interval | None
    difference_mm: Offset | None
    verdict: Literal["agrees", "differs", "suspect", "not seen"]
    point: Annotated[str, Field(max_length=10)] = ""


class PhotoForm(Form):
    """A photograph: its file, how well its markers fit, how many were used, where it was taken from."""

    file: Name
    rms_px: Annotated[float, Field(ge=0, le=1_000)]
    markers: Annotated[int, Field(ge=0, le=100_000)]
    focal_px: Annotated[float, Field(gt=0, le=1_000_000)]
    distance_mm: Annotated[float, Field(ge=0, le=100_000)]
    markers_by_board: dict[str, int]
    sha256: Digest
    outline: Name


class WarningForm(Form):
    """Something a person should know: a stable code and a sentence."""

    code: Name
    text: Text


class FindingForm(Form):
    """What the check of the photographs said; ``photo`` is empty when it is about all together."""

    photo: Text
    code: Name
    severity: Literal["note", "warning", "refuse"]
    text: Text
    do: Text = ""


class SoftwareForm(Form):
    """What wrote the file."""

    name: Name
    version: Name


class AxisForm(Form):
    """Pose axis_from_world: ``x_axis = rotation @ x_world + translation_mm``."""

    rotation: tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]
    translation_mm: tuple[float, float, float]


class ModelForm(Form):
    """A measured limb in figures; the limb itself is in limb.npz beside it."""

    format: Literal["limb-model/1"]
    limb: Literal["leg", "arm"]
    side: Literal["left", "right"]
    from_mm: Height
    to_mm: Height
    volume_ml: Millilitres
    volume_ml_95: WideInterval
    cone_volume_ml: Millilitres | None
    cone_note: Text
    sections: Annotated[tuple[SectionForm, ...], Field(min_length=2, max_length=1_000)]
    stretches: Annotated[tuple[StretchForm, ...], Field(min_length=1, max_length=1_000)]
    tape_check: Annotated[tuple[TapeCheckForm, ...], Field(max_length=1_000)]
    photos: Annotated[tuple[PhotoForm, ...], Field(min_length=1, max_length=1_000)]
    warnings: Annotated[tuple[WarningForm, ...], Field(max_length=1_000)]
    findings: Annotated[tuple[FindingForm, ...], Field(max_length=10_000)]
    not_included: tuple[Text, ...]
    method: Text
    caution: tuple[Text, ...]
    foot_top_mm: Height | None
    axis_from_world: AxisForm
    limb_sha256: Digest
    created: AwareDatetime
    software: SoftwareForm

    @model_validator(mode="after")
    def _in_order(self) -> ModelForm:
        if not self.from_mm < self.to_mm:
            raise ValueError("from_mm is not below to_mm")
        heights = [section.height_mm for section in self.sections]
        if any(low >= high for low, high in pairwise(heights)):
            raise ValueError("the sections' heights do not rise")
        return self

"""The form of model.json; its JSON schema is ``ModelForm.model_json_schema()``.

Lengths in mm along the axis or in the axis frame, areas in mm^2, volumes in mL.  Names ending in ``_95``
are the two ends of a 95 % interval.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Final, Literal

import numpy as np
from pydantic import AwareDatetime, Field, model_validator

from digitise.anatomy import CountedFrom
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.output.forms import (
    Area,
    CountedFromField,
    Digest,
    FindingForm,
    Form,
    Height,
    Interval,
    Length,
    LimbField,
    Millilitres,
    Name,
    Offset,
    SideField,
    SoftwareForm,
    Text,
    WarningForm,
    WideInterval,
)
from digitise.output.model.stretches import StretchErrorsForm, StretchForm

FORMAT: Final = "limb-model/1"
_SQUARE = 1e-6
Lies = Literal["palm-down", "palm-up", "on-back"]


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


class TapeCheckForm(Form):
    """A tape row beside the girth seen by the photographs alone; null where they do not see its height."""

    height_mm: Height
    tape_mm: Length
    photo_mm: Length | None
    photo_mm_95: Interval | None
    difference_mm: Offset | None
    verdict: Literal["agrees", "differs", "suspect", "not seen"]
    point: Annotated[str, Field(max_length=10)] = ""


_Unit = Annotated[float, Field(ge=-1.001, le=1.001)]
_Row = tuple[_Unit, _Unit, _Unit]
_Pixels = Annotated[float, Field(ge=-1_000_000, le=1_000_000)]
_Focal = Annotated[float, Field(gt=0, le=1_000_000)]
_Distortion = Annotated[float, Field(ge=-1_000, le=1_000)]
_Side = Annotated[int, Field(ge=1, le=100_000)]
_Far = Annotated[float, Field(ge=-1_000_000, le=1_000_000)]


class CameraForm(Form):
    """A solved camera in OpenCV's convention: x right, y down, z forward, pixel centres on whole numbers.

    ``x_camera = rotation @ x_world + translation_mm``; with ``a = x / z``, ``b = y / z`` and
    ``r^2 = a^2 + b^2`` there, a point is seen at ``fx_px a (1 + k1 r^2 + k2 r^4) + cx_px`` across and at
    ``fy_px b (1 + k1 r^2 + k2 r^4) + cy_px`` down.
    """

    size_px: tuple[_Side, _Side]
    fx_px: _Focal
    fy_px: _Focal
    cx_px: _Pixels
    cy_px: _Pixels
    k1: _Distortion
    k2: _Distortion
    rotation: tuple[_Row, _Row, _Row]
    translation_mm: tuple[_Far, _Far, _Far]

    @model_validator(mode="after")
    def _is_camera(self) -> CameraForm:
        if self.fx_px != self.fy_px:
            raise ValueError("the camera's pixels are not square")
        turn = np.array(self.rotation)
        if not np.allclose(turn @ turn.T, np.eye(3), rtol=0, atol=_SQUARE) or np.linalg.det(turn) < 0:
            raise ValueError("the camera's rotation is none")
        return self


def camera_form(camera: Camera) -> CameraForm:
    """Return a camera's figures, none of them rounded."""
    lens, pose = camera.lens, camera.camera_from_world
    x, y, z = (tuple(map(float, row)) for row in pose.rotation)
    return CameraForm(
        size_px=camera.size,
        fx_px=float(lens.focal_px),
        fy_px=float(lens.focal_px),
        cx_px=float(lens.centre_px[0]),
        cy_px=float(lens.centre_px[1]),
        k1=float(lens.k1),
        k2=float(lens.k2),
        rotation=(x, y, z),  # type: ignore[arg-type]
        translation_mm=tuple(map(float, pose.translation)),  # type: ignore[arg-type]
    )


def camera_from_form(form: CameraForm) -> Camera:
    """Return the camera, the same to the last bit."""
    lens = Lens(form.fx_px, np.array([form.cx_px, form.cy_px]), form.k1, form.k2)
    pose = Pose(np.array(form.rotation), np.array(form.translation_mm))
    return Camera(lens, pose, form.size_px)


class DrawnForm(Form):
    """What a person changed in an outline: length of each edge that was drawn, and how many strokes."""

    left_mm: Length
    right_mm: Length
    percent: Annotated[float, Field(ge=0, le=100)]
    strokes: Annotated[int, Field(ge=0, le=100_000)]


class PhotoForm(Form):
    """A photograph: its file, how well its markers fit, how many were used, where it was taken from.

    ``file`` is a name of ours, never that of the photograph as it was given.  ``sha256`` is of its file, and
    ``kept_sha256`` of what is kept of it in records, without place, time and serial numbers.  ``camera`` is
    null in files of earlier versions, ``drawn`` where nothing was corrected by hand.
    """

    file: Name
    rms_px: Annotated[float, Field(ge=0, le=1_000)]
    markers: Annotated[int, Field(ge=0, le=100_000)]
    focal_px: Annotated[float, Field(gt=0, le=1_000_000)]
    distance_mm: Annotated[float, Field(ge=0, le=100_000)]
    markers_by_board: dict[str, int]
    sha256: Digest
    outline: Name
    kept_sha256: Digest | None = None
    camera: CameraForm | None = None
    drawn: DrawnForm | None = None


class FootSectionForm(Form):
    """One section across the foot, of what lies below the leg's lowest; girth null where no tape can lie."""

    from_heel_mm: Length
    width_mm: Length
    height_mm: Length
    area_mm2: Area
    girth_mm: Length | None


class SegmentPhotoForm(Form):
    """A photograph that only a segment was measured from; names and digests as in :class:`PhotoForm`."""

    file: Name
    outline: Name
    sha256: Digest
    kept_sha256: Digest | None = None


class SegmentForm(Form):
    """A part beyond the straight limb: the foot below the leg, or the hand beyond the arm.

    ``from_mm`` and ``to_mm`` are heights along the limb's axis.  A foot has the girths of ball and
    heel-instep and sections along its own axis, a hand the girths of palm and wrist; what only the other has
    is null or empty.
    """

    name: Literal["foot", "hand"]
    from_mm: Height
    to_mm: Height
    volume_ml: Millilitres
    volume_ml_95: WideInterval
    length_mm: Length
    length_mm_95: Interval
    ball_girth_mm: Length | None = None
    ball_girth_mm_95: Interval | None = None
    heel_instep_girth_mm: Length | None = None
    heel_instep_girth_mm_95: Interval | None = None
    palm_girth_mm: Length | None = None
    palm_girth_mm_95: Interval | None = None
    wrist_girth_mm: Length | None = None
    wrist_girth_mm_95: Interval | None = None
    sections: Annotated[tuple[FootSectionForm, ...], Field(max_length=1_000)] = ()
    photos: Annotated[tuple[SegmentPhotoForm, ...], Field(min_length=1, max_length=1_000)]


class PlaceGirthForm(Form):
    """A girth taped on foot or hand, beside what the photographs say there; null where they do not tell.

    It is no part of any volume.  ``height_mm`` is what stood beside it in the tape table, null without.
    ``differs`` where the tape lies more than 4 mm outside the photographs' interval.
    """

    place: Annotated[str, Field(pattern=r"^[a-z]+(-[a-z]+)*$", max_length=40)]
    girth_mm: Annotated[float, Field(gt=0, le=5_000)]
    height_mm: Height | None = None
    photo_mm: Length | None
    photo_mm_95: Interval | None
    difference_mm: Offset | None
    verdict: Literal["agrees", "differs", "not seen"]


class TapedEndForm(Form):
    """Foot or hand by tape alone: an estimate, part of no other volume.

    ``volume_ml`` is null, and ``note`` says why, where the girths do not suffice.  ``below_mm`` is the height
    of the leg's taped girth that ends the foot, null for a hand.  ``photographs_ml`` is the same part there.
    """

    part: Literal["foot", "hand"]
    below_mm: Height | None
    volume_ml: Millilitres | None
    volume_ml_95: Interval | None
    photographs_ml: Millilitres | None = None
    photographs_ml_95: Interval | None = None
    note: Text = ""


class AxisForm(Form):
    """Pose axis_from_world: ``x_axis = rotation @ x_world + translation_mm``."""

    rotation: tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]
    translation_mm: tuple[float, float, float]


class LandmarkForm(Form):
    """The place on a lying limb from which heights count: photograph, from 1, pixels, and which it is."""

    photo: Annotated[int, Field(ge=1, le=100)]
    x_px: _Pixels
    y_px: _Pixels
    place: CountedFromField | None = None


class ModelForm(Form):
    """A measured limb in figures; the limb itself is in limb.npz beside it.

    ``field_sha256`` is of the sheets, ``volume_print_sd_ml`` what their scale adds to the sd of the volume;
    ``stretch_errors`` says how the errors of the stretches go together, null in files of earlier versions.
    ``lying`` says how a limb lies, ``landmark`` from where its heights count.  ``seal`` is the SHA-256 of
    everything else in the file, as JSON with sorted names and no spaces; null in files of earlier versions.
    ``volume_ml_whole`` is that of limb and segments together, null without segments.
    ``place_girths`` are those taped on foot or hand, in the order of the tape table; ``taped_end`` is what
    they say of its volume.
    """

    format: Literal["limb-model/1"]
    limb: LimbField
    side: SideField
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
    field_sha256: Digest | None = None
    volume_print_sd_ml: Annotated[float, Field(ge=0, le=200_000)] | None = None
    stretch_errors: StretchErrorsForm | None = None
    segments: Annotated[tuple[SegmentForm, ...], Field(max_length=4)] = ()
    volume_ml_whole: Millilitres | None = None
    volume_ml_whole_95: WideInterval | None = None
    place_girths: Annotated[tuple[PlaceGirthForm, ...], Field(max_length=1_000)] = ()
    taped_end: TapedEndForm | None = None
    lying: Lies | None = None
    landmark: LandmarkForm | None = None
    seal: Digest | None = None

    @property
    def counted_from(self) -> CountedFrom | None:
        """The place on a limb that lies from which heights count; None where nobody said, or it stands."""
        return None if self.landmark is None else self.landmark.place

    @model_validator(mode="after")
    def _in_order(self) -> ModelForm:
        if not self.from_mm < self.to_mm:
            raise ValueError("from_mm is not below to_mm")
        heights = [section.height_mm for section in self.sections]
        if any(low >= high for low, high in pairwise(heights)):
            raise ValueError("the sections' heights do not rise")
        if self.stretch_errors is not None and self.stretch_errors.count != len(self.stretches):
            raise ValueError("stretch_errors is not of the stretches")
        return self

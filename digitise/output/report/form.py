"""The form of a report: all its figures, rounded as they are printed.

Volumes in mL and lengths in mm are whole, percentages have one digit; so are their 95 % intervals.
"""

from __future__ import annotations

from typing import Final, Literal

from pydantic import AwareDatetime

from digitise.output.change.form import Verdict
from digitise.output.forms import Digest, FigureForm, Form, LimbField, Pair, SideField, SoftwareForm, Text

FORMAT: Final = "limb-report/1"


class ReportVisitForm(Form):
    """One visit: what was measured, and against the first visit and the other limb.

    ``volume_ml`` is between the report's heights, which all its visits share; ``from_mm`` and ``to_mm`` are
    what this visit covers.  Reductions of excess are in percent, against the other limb as it is now and as
    it was at the first visit.
    """

    taken: AwareDatetime
    from_mm: float
    to_mm: float
    photographs: int
    tape_rows: int
    limb_sha256: Digest
    volume_ml: FigureForm
    since_first_ml: FigureForm | None = None
    since_first_verdict: Verdict | None = None
    other_volume_ml: FigureForm | None = None
    excess_ml: FigureForm | None = None
    excess_percent: FigureForm | None = None
    reduction_now_percent: FigureForm | None = None
    reduction_baseline_percent: FigureForm | None = None


class GirthRowForm(Form):
    """One height of the last visit: girth, the tape beside it, and the change since the first visit."""

    height_mm: float
    girth_mm: FigureForm
    tape_mm: float | None = None
    tape_minus_photographs_mm: float | None = None
    tape_verdict: str | None = None
    change_mm: FigureForm | None = None
    change_verdict: Verdict | None = None


class PlaceRowForm(Form):
    """A girth taped on foot or hand at the last visit, and that of the photographs where they show it."""

    name: str
    place: Text
    tape_mm: float
    photographs_mm: FigureForm | None = None
    verdict: Literal["agrees", "differs", "not seen"]


class TapedEndRowForm(Form):
    """Foot or hand by tape alone at the last visit, an estimate; ``note`` says why there is none."""

    part: Literal["foot", "hand"]
    below_mm: float | None
    volume_ml: FigureForm | None
    photographs_ml: FigureForm | None
    note: Text


class FootForm(Form):
    """The foot at the last visit, below the leg's lowest section, and leg and foot together.

    Together is all that the last visit measured, up to ``whole_to_mm``.
    """

    to_mm: float
    volume_ml: FigureForm
    whole_ml: FigureForm
    whole_to_mm: float
    ball_girth_mm: FigureForm
    heel_instep_girth_mm: FigureForm


class HandForm(Form):
    """The hand at the last visit, beyond the arm's first section, and arm and hand together.

    Together is all that the last visit measured, up to ``whole_to_mm``.
    """

    to_mm: float
    volume_ml: FigureForm
    whole_ml: FigureForm
    whole_to_mm: float
    palm_girth_mm: FigureForm
    wrist_girth_mm: FigureForm


class PartForm(Form):
    """Change of volume over one segment of the limb."""

    name: str
    from_mm: float
    to_mm: float
    change_ml: FigureForm
    change_percent: FigureForm
    verdict: Verdict


class ChangeForm(Form):
    """Change of the limb from the first visit to the last, from both shapes solved together.

    ``end`` is that of foot or hand, where both visits measured it.
    """

    since: AwareDatetime
    until: AwareDatetime
    whole: PartForm
    parts: tuple[PartForm, ...]
    end: PartForm | None = None


class CourseForm(Form):
    """Whether the limb still shrinks: verdict, rate, what is missing, what else differed between visits."""

    verdict: str
    rule: str
    percent_per_week: FigureForm | None
    repeat_error_percent: float
    smallest_clear_change_percent: float
    remarks: tuple[Text, ...]


class PlaceForm(Form):
    """A place that may need padding; heights are null for one on the foot."""

    kind: str
    place: Text
    from_mm: float | None
    to_mm: float | None
    area_cm2: float
    peak_mm: FigureForm
    peak_means: Text
    volume_ml: FigureForm | None
    confidence: str
    advice: Text


class LayerForm(Form):
    """One layer of a wrap and what it takes."""

    name: str
    width_mm: float
    from_mm: float
    to_mm: float
    overlap_percent: float
    turns: float
    stretched_mm: float
    rest_mm: float
    rolls: int
    from_toes: bool = False
    from_knuckles: bool = False


class WrapForm(Form):
    """A wrap worked out for the last visit; rolls are (width, count), of bandages and of padding."""

    layers: tuple[LayerForm, ...]
    rolls: tuple[tuple[float, int], ...]
    padding_rolls: tuple[tuple[float, int], ...] = ()
    end_notes: tuple[Text, ...] = ()
    relative_pressure: tuple[Pair, ...]
    warnings: tuple[Text, ...]
    note: Text


class GarmentRowForm(Form):
    """A lettered girth point."""

    letter: str
    place: Text
    height_mm: float
    girth_mm: FigureForm
    note: Text


class TapedRowForm(Form):
    """A girth on foot or hand, as it was taped."""

    place: Text
    girth_mm: float
    note: Text


class GarmentForm(Form):
    """The girth list for a garment."""

    rows: tuple[GarmentRowForm, ...]
    taped: tuple[TapedRowForm, ...] = ()
    missing: tuple[str, ...]
    notes: tuple[Text, ...]


class ReportForm(Form):
    """A report; its last visit is the one that it is about, ``safety`` what is open about the client."""

    format: Literal["limb-report/1"]
    created: AwareDatetime
    client: str
    limb: LimbField
    side: SideField
    from_mm: float
    to_mm: float
    visits: tuple[ReportVisitForm, ...]
    girths: tuple[GirthRowForm, ...]
    foot: FootForm | None = None
    hand: HandForm | None = None
    place_girths: tuple[PlaceRowForm, ...] = ()
    taped_end: TapedEndRowForm | None = None
    change: ChangeForm | None
    course: CourseForm | None
    places: tuple[PlaceForm, ...] | None
    wrap: WrapForm | None
    garment: GarmentForm | None
    safety: tuple[Text, ...] = ()
    warnings: tuple[Text, ...]
    not_included: tuple[Text, ...]
    method: tuple[Text, ...]
    caution: tuple[Text, ...]
    software: SoftwareForm

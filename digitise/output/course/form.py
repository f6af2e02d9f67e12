"""The form of course.json: the course of a limb in figures, and what a girth list needs to know of it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Final, Literal

from pydantic import AliasChoices, AwareDatetime, Field, ValidationError

from digitise.anatomy import LimbKind, Side
from digitise.care.course.course import Course, CoursePoint
from digitise.care.course.plateau import holds_size
from digitise.care.course.visits import SAME_HEIGHT_MM
from digitise.errors import CourseError
from digitise.output.cautions import caution, left_out
from digitise.output.course.volumes import stored_volume
from digitise.output.course.words import VERDICTS, course_sentences
from digitise.output.forms import Form, LimbField, Pair, SideField, SoftwareForm, Text, now, software
from digitise.output.model.form import ModelForm

FORMAT: Final = "limb-course/1"
COURSE_FILE = "course.json"
_SAME_ML = 0.01
_LARGEST_BYTES = 20_000_000
_VERDICTS = {words: verdict for verdict, words in VERDICTS.items()}


class EstimateForm(Form):
    """A figure; ``clear`` tells whether its interval leaves out 0."""

    value: float = Field(validation_alias=AliasChoices("value", "mean"))
    sd: float
    interval_95: Pair
    clear: bool


class ReductionForm(Form):
    """Percent reduction of excess since the first visit, against the other limb now, and as it was then."""

    current_reference: EstimateForm | None
    baseline_reference: EstimateForm | None


class VisitForm(Form):
    """One visit: volumes with their whole error, changes with what differs from visit to visit.

    ``place_girths_mm`` are girths taped on foot or hand, by the name of the place; ``ends_ml`` are volumes of
    what was measured below ``from_mm``, by its name.
    """

    taken: AwareDatetime
    from_mm: float
    to_mm: float
    measured_by: Text
    posture: Text
    volume_ml: EstimateForm
    reference_ml: EstimateForm | None
    since_first_ml: EstimateForm | None
    since_last_ml: EstimateForm | None
    limb_change_percent: EstimateForm | None
    excess_ml: EstimateForm | None
    excess_percent: EstimateForm | None
    excess_reduction_percent: ReductionForm | None
    place_girths_mm: dict[str, float] = Field(default_factory=dict)
    ends_ml: dict[str, EstimateForm] = Field(default_factory=dict)


class RateForm(Form):
    """Straight line through the volumes of the last visits."""

    ml_per_week: EstimateForm
    percent_per_week: EstimateForm
    visits: int
    since: AwareDatetime
    until: AwareDatetime


class ConditionForm(Form):
    """One part of the rule: whether it holds, null when it cannot be judged."""

    code: str
    met: bool | None
    text: Text


class PlateauForm(Form):
    """The verdict, by a rule of this project, and what is missing for "levelled off"."""

    verdict: str
    rule: Text
    conditions: tuple[ConditionForm, ...]
    missing: tuple[Text, ...]


class ReminderForm(Form):
    """What differed between two visits besides the limb."""

    code: str
    visit: str
    text: Text


class CourseForm(Form):
    """All that course.json holds; ``safety`` is what is open about the client, the most urgent first."""

    format: Literal["limb-course/1"]
    client: Text
    limb: LimbField
    side: SideField
    from_mm: float
    to_mm: float
    visits: tuple[VisitForm, ...]
    rate: RateForm | None
    plateau: PlateauForm
    repeat_sem_percent: float
    repeat_sem_measured: bool
    mdc95_percent: float
    reminders: tuple[ReminderForm, ...]
    notes: tuple[Text, ...]
    sentences: tuple[Text, ...]
    remarks: tuple[Text, ...]
    safety: tuple[Text, ...] = ()
    not_included: tuple[Text, ...]
    caution: tuple[Text, ...]
    created: AwareDatetime
    software: SoftwareForm


def course_form(
    course: Course,
    limb: LimbKind,
    side: Side,
    *,
    remarks: Sequence[str] = (),
    safety: Sequence[str] = (),
    client: str = "",
    created: datetime | None = None,
) -> CourseForm:
    """Return what course.json holds.

    Parameters
    ----------
    course
        The course.
    limb, side
        Whose it is.
    remarks
        What to know of the visits.
    safety
        What is open about the client.
    client
        The client's code; empty when not known.
    created
        When; now when None.
    """
    visit, plateau = course.points[-1].visit, course.plateau
    followed = all(point.visit.ends for point in course.points)
    return CourseForm.model_validate(
        {
            "format": FORMAT,
            "client": client,
            "limb": limb,
            "side": side,
            "from_mm": visit.from_mm,
            "to_mm": visit.to_mm,
            "visits": tuple(map(_visit, course.points)),
            "rate": plateau.rate,
            "plateau": {
                "verdict": VERDICTS[plateau.verdict],
                "rule": plateau.rule,
                "conditions": plateau.conditions,
                "missing": plateau.missing,
            },
            "repeat_sem_percent": course.error.sem_percent,
            "repeat_sem_measured": course.error.measured,
            "mdc95_percent": course.error.mdc95_percent,
            "reminders": course.reminders,
            "notes": course.notes,
            "sentences": course_sentences(course),
            "remarks": tuple(remarks),
            "safety": tuple(safety),
            "not_included": left_out(limb, None if followed else visit.from_mm, visit.to_mm),
            "caution": caution(limb),
            "created": created or now(),
            "software": software(),
        }
    )


def _visit(point: CoursePoint) -> VisitForm:
    visit, excess = point.visit, point.excess
    return VisitForm.model_validate(
        {
            "taken": visit.taken,
            "from_mm": visit.from_mm,
            "to_mm": visit.to_mm,
            "measured_by": visit.measured_by,
            "posture": visit.posture,
            "volume_ml": visit.volume,
            "reference_ml": visit.reference,
            "since_first_ml": point.since_first,
            "since_last_ml": point.since_last,
            "limb_change_percent": point.limb_change_percent,
            "excess_ml": excess and excess.excess_ml,
            "excess_percent": excess and excess.percent,
            "excess_reduction_percent": point.reduction,
            "place_girths_mm": dict(visit.places),
            "ends_ml": dict(visit.ends),
        }
    )


def _ends_with(last: VisitForm, model: ModelForm) -> bool:
    if not model.from_mm - SAME_HEIGHT_MM <= last.from_mm < last.to_mm <= model.to_mm + SAME_HEIGHT_MM:
        return False
    return abs(stored_volume(model, last.from_mm, last.to_mm).mean - last.volume_ml.value) < _SAME_ML


def read_stable(path: Path, model: ModelForm) -> bool | None:
    """Return whether a limb has levelled off by its course.json; None when the course does not know.

    Parameters
    ----------
    path
        Of the course.json.
    model
        The limb at the last visit of that course.

    Raises
    ------
    CourseError
        The file cannot be read, is no course.json of this version, is of another limb, or ends with another
        measurement of it.
    """
    try:
        with path.open("rb") as stream:
            found = CourseForm.model_validate_json(stream.read(_LARGEST_BYTES))
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name, or no such JSON
        reason = "it is no course of this version" if isinstance(error, ValidationError) else str(error)
        raise CourseError(
            f"The course cannot be read: {reason}.",
            where=str(path),
            do="Give the course.json that digitise course wrote.",
        ) from error
    if (found.limb, found.side) != (model.limb, model.side):
        raise CourseError(
            f"The course is of a {found.side} {found.limb}, the model of a {model.side} {model.limb}.",
            where=str(path),
            do="Give the course of this limb.",
        )
    if not _ends_with(found.visits[-1], model):
        raise CourseError(
            f"The course ends with another measurement, of {found.visits[-1].taken:%Y-%m-%d}: girths of this "
            "model are not those of the limb that it judged.",
            where=str(path),
            do="Give the model of the course's last visit, or the course up to this model.",
        )
    verdict = _VERDICTS.get(found.plateau.verdict)
    judged = [(condition.code, condition.met) for condition in found.plateau.conditions]
    return None if verdict is None else holds_size(verdict, judged)

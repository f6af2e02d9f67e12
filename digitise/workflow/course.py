"""Measured visits from folders or records, brought into one course or one study of repeats."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from digitise.anatomy import LimbKind, Side
from digitise.care.change.motion import LEAST_OVERLAP_MM
from digitise.care.course.course import Course, course
from digitise.care.course.plateau import CourseVerdict, Plateau
from digitise.care.course.repeatability import Repeatability, repeatability
from digitise.care.course.visits import REPEAT_SEM_PERCENT, RepeatError, VisitVolume
from digitise.errors import CourseError
from digitise.output.cautions import POSTURES
from digitise.output.course import volumes as stored
from digitise.output.course.repeat_form import Repeats
from digitise.output.model.file import read_model, summary_from_json
from digitise.output.model.form import ModelForm

if TYPE_CHECKING:
    from digitise.record.store import Store
    from digitise.record.values import MeasuredVisit

CREATED = (
    "The times are those at which the models were made: give the times of the visits, where they are others."
)
NO_TIMES = (
    "The models were made within hours of each other, so when the visits were is not known and neither rate "
    "nor verdict is given: give the time of each visit."
)
OTHERWISE_PLACED = (
    "{}: left out, as the limb was not placed as at the last visit (standing or lying), so that heights "
    "count from another place."
)
_Key = tuple[LimbKind, Side, date]
# Both limbs of one visit are measured within this time.
_SAME_VISIT = timedelta(hours=12)


@dataclass(frozen=True)
class VisitMeasurement:
    """One limb at one visit.

    Attributes
    ----------
    model
        Its figures.
    when
        Time of the visit, with a time zone.
    place
        Folder or number of the visit, for messages.
    measured_by, posture
        Empty when unknown.
    timed
        Whether ``when`` is the time of the visit, and not that at which the model was made.
    """

    model: ModelForm
    when: datetime
    place: str
    measured_by: str = ""
    posture: str = ""
    timed: bool = True


@dataclass(frozen=True)
class LimbSeries:
    """A limb's visits by time, each with the other limb at that visit where it was measured.

    Attributes
    ----------
    visits, others
        Of one limb, and of the other one; as many.
    left_out
        Which visits are not among them and why, a sentence each.
    """

    visits: tuple[VisitMeasurement, ...]
    others: tuple[VisitMeasurement | None, ...]
    left_out: tuple[str, ...] = ()

    @property
    def limb(self) -> LimbKind:
        """Return the kind of limb."""
        return self.visits[0].model.limb

    @property
    def side(self) -> Side:
        """Return the side of the body."""
        return self.visits[0].model.side

    @property
    def remarks(self) -> tuple[str, ...]:
        """Return what to know of the visits' times, and of those that are left out."""
        if all(visit.timed for visit in self.visits):
            return self.left_out
        return (CREATED if self.has_times else NO_TIMES, *self.left_out)

    @property
    def has_times(self) -> bool:
        """Return whether times tell when the visits were: given, or days apart as made."""
        if all(visit.timed for visit in self.visits):
            return True
        whens = sorted(visit.when for visit in self.visits)
        return all(later - earlier > _SAME_VISIT for earlier, later in pairwise(whens))


# ---- where visits come from ------------------------------------------------------------------------


def from_folders(folders: Sequence[Path], times: Sequence[datetime] = ()) -> tuple[VisitMeasurement, ...]:
    """Read models, each with the time of its visit; without times, the time at which it was made.

    Raises
    ------
    ModelError
        A model cannot be read.
    CourseError
        Two folders hold the same model.
    """
    models = [read_model(folder).summary for folder in folders]
    whens = times or [model.created for model in models]
    each = zip(models, whens, folders, strict=True)
    visits = tuple(
        VisitMeasurement(model, when, str(folder), timed=bool(times)) for model, when, folder in each
    )
    refuse_doubles(visits)
    return visits


def refuse_doubles(visits: Sequence[VisitMeasurement]) -> None:
    """Refuse a measurement that is given as two visits.

    Raises
    ------
    CourseError
        Two visits hold the same model.
    """
    for number, visit in enumerate(visits):
        if any(visit.model.limb_sha256 == other.model.limb_sha256 for other in visits[:number]):
            raise CourseError("The same model is given twice.", where=visit.place, do="Give each visit once.")


def own_measurements(
    visits: Sequence[VisitMeasurement],
) -> tuple[tuple[VisitMeasurement, ...], tuple[str, ...]]:
    """Return visits of one limb that share no photograph and no model with an earlier one.

    A copy would pass for a visit at which nothing had changed.

    Returns
    -------
    The visits in their order, and why others are left out, a sentence each.
    """
    seen: set[str] = set()
    found, left_out = [], []
    for visit in sorted(visits, key=lambda one: one.when):
        marks = {visit.model.limb_sha256, *(photo.sha256 for photo in visit.model.photos)}
        if seen & marks:
            left_out.append(
                f"{visit.place}: left out, as it holds photographs or the model of an earlier visit."
            )
        else:
            found.append(visit)
        seen |= marks
    return tuple(visit for visit in visits if visit in found), tuple(left_out)


def from_records(store: Store, client: str) -> tuple[VisitMeasurement, ...]:
    """Return the measured visits of a client, all limbs, from what model.json says.

    Raises
    ------
    RecordError
        There is no such client or no measured visit.
    ModelError
        A stored model is damaged or of another format.
    """
    return tuple(_stored(visit) for visit in store.measured_visits(client))


def _stored(visit: MeasuredVisit) -> VisitMeasurement:
    place = f"visit {visit.id}"
    model = summary_from_json(visit.model_json, place)
    return VisitMeasurement(model, visit.taken, place, visit.measured_by, visit.posture)


def one_limb(visits: Sequence[VisitMeasurement], limb: LimbKind | None, side: Side | None) -> LimbSeries:
    """Return the visits of one limb, each with the other limb of that visit, if it was measured.

    Heights of a limb that stands count from elsewhere than of one that lies: only visits at which it was
    placed as at the last one are followed, and none that is a copy of an earlier one.

    Parameters
    ----------
    visits
        Of one client.
    limb, side
        Which limb; may be left out when it is clear.

    Raises
    ------
    CourseError
        There are several such limbs, or none.
    """
    wanted = [v for v in visits if limb in (None, v.model.limb) and side in (None, v.model.side)]
    names = sorted({f"{visit.model.side} {visit.model.limb}" for visit in wanted})
    if len(names) != 1:
        found = ", ".join(names) or "none of that limb"
        raise CourseError(
            f"One limb is followed at a time, but there are visits of: {found}.",
            do="Say which with --limb and --side.",
        )
    last = max(wanted, key=lambda visit: visit.when).model
    alike = [v for v in visits if v.model.limb == last.limb and bool(v.model.lying) == bool(last.lying)]
    followed, copies = own_measurements([v for v in alike if v.model.side == last.side])
    across = [v for v in alike if v.model.side != last.side]
    otherwise = (OTHERWISE_PLACED.format(visit.place) for visit in wanted if visit not in alike)
    return LimbSeries(
        followed, tuple(at_same_visit(visit, across) for visit in followed), (*otherwise, *copies)
    )


def at_same_visit(visit: VisitMeasurement, across: Sequence[VisitMeasurement]) -> VisitMeasurement | None:
    """Return which of the measurements of the other limb was made at a visit; None when none was."""
    near = min(across, key=lambda other: abs(other.when - visit.when), default=None)
    return near if near is not None and abs(near.when - visit.when) <= _SAME_VISIT else None


def with_others(visits: Sequence[VisitMeasurement], others: Sequence[VisitMeasurement | None]) -> LimbSeries:
    """Return visits of one limb, each with the other limb of that visit (None where not measured).

    Raises
    ------
    CourseError
        They are not of one limb, or another limb is not the other side.
    """
    first = visits[0].model
    for visit in visits:
        if (visit.model.limb, visit.model.side) != (first.limb, first.side):
            raise CourseError(
                f"It is a {visit.model.side} {visit.model.limb}, the first is a {first.side} {first.limb}.",
                where=visit.place,
                do="Give visits of one limb; the other limb goes behind --reference.",
            )
    for other in others:
        if other is not None and (other.model.limb != first.limb or other.model.side == first.side):
            raise CourseError(
                f"A {other.model.side} {other.model.limb} is not the other side of a "
                f"{first.side} {first.limb}.",
                where=other.place,
                do="Give the opposite limb behind --reference.",
            )
    return LimbSeries(tuple(visits), tuple(others) or (None,) * len(visits))


# ---- what is made of them ------------------------------------------------------------------------


def follow(followed: LimbSeries, *, bilateral: bool = False, sem_percent: float | None = None) -> Course:
    """Return the course over the heights that all models share.

    Parameters
    ----------
    followed
        The visits.
    bilateral
        Both limbs are swollen.
    sem_percent
        Repeat error as a study of repeats found it; that of published repeats of tape when None.

    Raises
    ------
    CourseError
        The visits cannot be put side by side.
    """
    every = [*followed.visits, *(other for other in followed.others if other is not None)]
    low, high = common_heights(every)
    stated = RepeatError(REPEAT_SEM_PERCENT[followed.limb])
    error = stated if sem_percent is None else RepeatError(sem_percent, measured=True)
    pairs = zip(followed.visits, followed.others, strict=True)
    volumes = [_volume(visit, other, low, high) for visit, other in pairs]
    found = course(volumes, error, bilateral=bilateral)
    if followed.has_times:
        return found
    return replace(found, plateau=Plateau(CourseVerdict.TOO_FEW_VISITS, (), (NO_TIMES,), None))


def common_heights(visits: Sequence[VisitMeasurement]) -> tuple[float, float]:
    """Return the heights, mm, that all models share.

    Raises
    ------
    CourseError
        They share too little, or some stood and others lay.
    """
    stood = next((visit for visit in visits if not visit.model.lying), None)
    lay = next((visit for visit in visits if visit.model.lying), None)
    if stood is not None and lay is not None:
        raise CourseError(
            "Here the limb lay when it was measured, at another visit it stood: heights do not count from "
            "one place then, and volumes cannot be put side by side.",
            where=lay.place,
            do=f"Leave out those that lay, or those that stood (such as {stood.place}).",
        )
    low = max(visit.model.from_mm for visit in visits)
    high = min(visit.model.to_mm for visit in visits)
    if high - low < LEAST_OVERLAP_MM:
        worst = min(visits, key=lambda visit: visit.model.to_mm - visit.model.from_mm)
        raise CourseError(
            f"All models together share less than {LEAST_OVERLAP_MM:.0f} mm of height.",
            where=worst.place,
            do="Make the models between the same heights, or leave out the one that does not fit.",
        )
    return low, high


def _volume(visit: VisitMeasurement, other: VisitMeasurement | None, low: float, high: float) -> VisitVolume:
    model, when = visit.model, visit.when
    return VisitVolume(
        when,
        stored.stored_volume(model, low, high),
        low,
        high,
        reference=None if other is None else stored.stored_volume(other.model, low, high),
        girths=MappingProxyType(stored.stored_girths(model, low, high)),
        measured_by=visit.measured_by,
        local_hour=when.hour + when.minute / 60 if visit.timed else None,
        posture=POSTURES[model.lying] if model.lying else visit.posture,
        covers_mm=(model.from_mm, model.to_mm),
        ends=MappingProxyType(stored.stored_ends(model, low)),
        places=MappingProxyType(stored.stored_places(model)),
        common_sd_ml=(0.0, 0.0) if other is None else stored.common_sds(model, other.model, low, high),
    )


def study(visits: Sequence[VisitMeasurement]) -> tuple[tuple[Repeats, ...], Repeatability]:
    """Return limbs measured more than once on one day, and what they tell of one measurement's error.

    Raises
    ------
    CourseError
        No limb was measured twice on one day, or the repeats tell nothing.
    """
    days: dict[_Key, list[VisitMeasurement]] = defaultdict(list)
    for visit in sorted(visits, key=lambda one: one.when):
        days[visit.model.limb, visit.model.side, visit.when.date()].append(visit)
    apart = (own_measurements(group)[0] for group in days.values())
    groups = tuple(repeats(group) for group in apart if len(group) > 1)
    if not groups:
        raise CourseError(
            "No limb was measured twice on one day, each time from photographs of its own.",
            do="Measure a limb again within the hour, and give both.",
        )
    return groups, repeatability([group.volumes_ml for group in groups])


def repeats(group: Sequence[VisitMeasurement], client: str = "") -> Repeats:
    """Return measurements of one limb on one day, between the heights that they share.

    Raises
    ------
    CourseError
        They share less than is compared.
    """
    model, day = group[0].model, group[0].when
    low, high = common_heights(group)
    volumes = tuple(stored.stored_volume(one.model, low, high).mean for one in group)
    below = stored.repeated_ends([one.model for one in group], low)
    return Repeats(model.limb, model.side, f"{day:%Y-%m-%d}", low, high, volumes, client, below)

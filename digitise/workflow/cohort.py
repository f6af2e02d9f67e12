"""All records at once: the tables of a study, and how well repeated measurements agree."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import groupby
from pathlib import Path

from digitise.anatomy import LimbKind, Side
from digitise.care.change.motion import LEAST_OVERLAP_MM
from digitise.care.course.cohort import Change, by_week, changes
from digitise.care.course.repeatability import Repeatability, repeatability
from digitise.care.course.visits import REPEAT_SEM_PERCENT, SECONDS_PER_WEEK, RepeatError, VisitVolume
from digitise.errors import CourseError, ModelError, RecordError
from digitise.output.course.repeat_form import Repeats
from digitise.output.course.volumes import stored_volume
from digitise.output.model.file import summary_from_json
from digitise.output.model.form import ModelForm
from digitise.output.study.columns import CHANGES, LIMBS, TAPE_ROWS, VISITS
from digitise.output.study.files import StudyFolder, study_folder
from digitise.output.study.rows import model_rows
from digitise.output.study.writing import Format, Row
from digitise.record.store import Store
from digitise.record.values import CodedVisit
from digitise.workflow.course import repeats
from digitise.workflow.visits.measured import VisitMeasurement
from digitise.workflow.visits.sources import own_measurements


@dataclass(frozen=True)
class Study:
    """What was written.

    Attributes
    ----------
    visits, measured, limbs, followed
        How many visits there are, how many of them have a model, of how many limbs, and how many of these
        have changes.
    unreadable
        Numbers of visits whose model cannot be read.
    """

    visits: int
    measured: int
    limbs: int
    followed: int
    unreadable: tuple[int, ...]


# ---- the tables ----------------------------------------------------------------------------------


def write_study(store: Store, out: Path, *, form: Format = "csv", sem_percent: float | None = None) -> Study:
    """Write the tables of all visits, their dictionary and the cohort chart into a folder.

    Parameters
    ----------
    store
        The records.
    out
        A new or empty folder, or one that holds an earlier study.
    form
        ``csv`` or ``parquet``.
    sem_percent
        Repeat error as a study of repeats found it; that of published repeats of tape when None.

    Raises
    ------
    RecordError
        There is no visit, or the records cannot be read.
    OutputError
        The folder cannot be written to or holds other files; it is left as it was.
    """
    with study_folder(out, form) as folder:
        writer = _Writer(folder, sem_percent)
        for _, visits in groupby(store.coded_visits(), key=_limb_of):
            writer.add_limb(tuple(visits))
        if not writer.counts["visits"]:
            raise RecordError("There is no visit in the records.", do="Store visits first.")
        folder.groups = {
            limb: (found, by_week(found)) for limb, found in sorted(writer.changes.items()) if found
        }
    counts = writer.counts
    return Study(
        counts["visits"], counts["measured"], counts["limbs"], counts["followed"], tuple(writer.unreadable)
    )


def _limb_of(visit: CodedVisit) -> tuple[str, str, str]:
    return visit.client, visit.limb, visit.side


class _Writer:
    """Fills a study limb by limb, and keeps of each no more than its changes."""

    def __init__(self, folder: StudyFolder, sem_percent: float | None) -> None:
        self.changes: dict[str, list[tuple[Change, ...]]] = defaultdict(list)
        self.counts: Counter[str] = Counter()
        self.unreadable: list[int] = []
        self._folder, self._sem = folder, sem_percent
        self._measurers: dict[str, int] = {}

    def add_limb(self, visits: Sequence[CodedVisit]) -> None:
        """Add the visits of one limb, oldest first."""
        models = {visit.id: self._model(visit) for visit in visits}
        measured = [(visit, model) for visit in visits if (model := models[visit.id])]
        self._add_changes(visits, measured)
        first = measured[0][0].taken if measured else None
        for visit in visits:
            weeks = None if first is None else (visit.taken - first).total_seconds() / SECONDS_PER_WEEK
            self._add_visit(visit, models[visit.id], weeks)
        self.counts += Counter(visits=len(visits), measured=len(measured), limbs=1)

    def _model(self, visit: CodedVisit) -> ModelForm | None:
        if visit.model_json is None:
            return None
        try:
            return summary_from_json(visit.model_json, f"visit {visit.id}")
        except ModelError:
            self.unreadable.append(int(visit.id))
            return None

    def _add_visit(self, visit: CodedVisit, model: ModelForm | None, weeks: float | None) -> None:
        state = "measured" if model else "none" if visit.model_json is None else "unreadable"
        facts: Row = (None,) * 7
        if model:
            volumes = (model.volume_ml, *model.volume_ml_95, model.cone_volume_ml)
            facts = (model.from_mm, model.to_mm, *volumes, model.software.version)
        row = (
            int(visit.id),
            *_limb_of(visit),
            visit.taken,
            int((visit.taken.utcoffset() or timedelta()).total_seconds()) // 60,
            weeks,
            visit.posture or None,
            self._measurer(visit.measured_by),
            visit.photos,
            len(visit.tape),
            state,
            *facts,
        )
        self._folder.put(VISITS, [row])
        tape = (
            (int(visit.id), number, each.height_mm, each.girth_mm, each.point or None)
            for number, each in enumerate(visit.tape, start=1)
        )
        self._folder.put(TAPE_ROWS, tape)
        for table, rows in model_rows(int(visit.id), model) if model else ():
            self._folder.put(table, rows)

    def _measurer(self, code: str) -> int | None:
        return self._measurers.setdefault(code, len(self._measurers) + 1) if code else None

    def _add_changes(
        self, visits: Sequence[CodedVisit], measured: Sequence[tuple[CodedVisit, ModelForm]]
    ) -> None:
        low = max((model.from_mm for _, model in measured), default=0.0)
        high = min((model.to_mm for _, model in measured), default=0.0)
        reason = ""
        if len(measured) < 2:
            reason = "fewer than two measured visits"
        elif high - low < LEAST_OVERLAP_MM:
            reason = "too little height in common"
        elif len({bool(model.lying) for _, model in measured}) > 1:
            reason = "standing at one visit, lying at another"
        elif len({model.counted_from for _, model in measured} - {None}) > 1:
            reason = "heights counted from different places"
        whose = _limb_of(visits[0])
        heights = (None, None) if reason else (low, high)
        self._folder.put(LIMBS, [(*whose, len(visits), len(measured), *heights, reason or None)])
        if reason:
            return
        volumes = [
            VisitVolume(visit.taken, stored_volume(model, low, high), low, high) for visit, model in measured
        ]
        error = RepeatError(REPEAT_SEM_PERCENT[whose[1]] if self._sem is None else self._sem)
        found = changes(volumes, error)
        self.changes[whose[1]].append(found)
        self.counts["followed"] += 1
        self._folder.put(CHANGES, map(_change_row, (visit for visit, _ in measured), found))


def _change_row(visit: CodedVisit, change: Change) -> Row:
    percent = change.change_percent
    figures = (change.weeks, change.volume_ml, change.change_ml, percent.mean, *percent.interval_95)
    return int(visit.id), *_limb_of(visit), *figures


# ---- repeats -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Agreement:
    """A study of repeats from all records.

    Attributes
    ----------
    groups, found
        As of :func:`digitise.workflow.course.study`.
    left_out
        What could not be used, a sentence each.
    """

    groups: tuple[Repeats, ...]
    found: Repeatability
    left_out: tuple[str, ...]


def stored_agreement(
    store: Store, *, client: str | None = None, limb: LimbKind | None = None, side: Side | None = None
) -> Agreement:
    """Return how well measurements of one limb on one day agree, over all clients.

    Visits made from the same photographs, or that hold the same model, are one measurement: the first counts.

    Parameters
    ----------
    store
        The records.
    client, limb, side
        Only these; all when None.

    Raises
    ------
    CourseError
        No limb was measured twice on one day, both legs and arms were, or the repeats tell nothing.
    RecordError
        The records cannot be read.
    """
    groups: list[Repeats] = []
    left_out: list[str] = []
    for group in _same_day(store, client, limb, side):
        try:
            measured, copies = own_measurements([_measurement(visit) for visit in group])
            left_out += copies
            if len(measured) > 1:
                groups.append(repeats(measured, group[0].client))
        except (CourseError, ModelError) as error:
            left_out.append(str(error))
    if len({group.limb for group in groups}) > 1:
        raise CourseError(
            "Both legs and arms were measured repeatedly, and their errors differ.",
            do="Say which with --limb.",
        )
    if not groups:
        raise CourseError(
            "No limb was measured twice on one day, each time from photographs of its own.",
            do="Measure a limb again within the hour, and store both visits.",
        )
    return Agreement(tuple(groups), repeatability([group.volumes_ml for group in groups]), tuple(left_out))


def _same_day(
    store: Store, client: str | None, limb: LimbKind | None, side: Side | None
) -> Iterator[tuple[CodedVisit, ...]]:
    """Yield the measured visits of a limb on one day of its place, where there are two or more."""
    wanted = (
        visit
        for visit in store.coded_visits()
        if visit.model_json is not None
        and client in (None, visit.client)
        and limb in (None, visit.limb)
        and side in (None, visit.side)
    )
    for _, visits in groupby(wanted, key=lambda visit: (*_limb_of(visit), visit.taken.date())):
        group = tuple(visits)
        if len(group) > 1:
            yield group


def _measurement(visit: CodedVisit) -> VisitMeasurement:
    place = f"visit {visit.id}"
    model = summary_from_json(visit.model_json or "", place)
    return VisitMeasurement(model, visit.taken, place, visit.measured_by, visit.posture)

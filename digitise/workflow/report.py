"""Visits of one limb become a report; the command line and the page make it here alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from digitise.care.change.compare import compare
from digitise.care.change.end import end_change_of
from digitise.care.course.course import Course
from digitise.care.padding.regions import find_regions
from digitise.care.safety.answers import SafetyAnswers
from digitise.care.safety.release import Output
from digitise.care.wrap.garment import girth_list
from digitise.care.wrap.plan import Plan
from digitise.care.wrap.sheet import wrap_sheet
from digitise.errors import CourseError
from digitise.output.model.file import read_model, same_sheets
from digitise.output.report.content import Report, ReportVisit, report_content
from digitise.workflow.care import end_way_of, foot_places_of
from digitise.workflow.course import follow
from digitise.workflow.safety import assessed, released
from digitise.workflow.visits.measured import VisitMeasurement
from digitise.workflow.visits.sources import refuse_doubles, with_others


@dataclass(frozen=True)
class ReportOptions:
    """What a report shall hold besides measurements, and how its course is judged.

    Attributes
    ----------
    places, wrap, garment
        Places for padding, a wrap sheet, the girth list for a garment.
    plan
        Of the wrap; suggested from the shape when None.
    bilateral
        Both limbs are swollen, so percentages of excess are hidden.
    sem_percent
        Repeat error as a study of repeats found it; the project's aim when None.
    answers
        What was answered about the client's safety; None when nothing is known.
    despite
        Why places, wrap or garment are to be reported although they are withheld.
    """

    places: bool = False
    wrap: bool = False
    garment: bool = False
    plan: Plan | None = None
    bilateral: bool = False
    sem_percent: float | None = None
    answers: SafetyAnswers | None = None
    despite: str = ""

    @property
    def pressing(self) -> tuple[Output, ...]:
        """What is asked for that presses on the limb."""
        asked: tuple[tuple[Output, bool], ...] = (
            ("pad", self.places),
            ("wrap", self.wrap or self.plan is not None),
            ("garment", self.garment),
        )
        return tuple(output for output, is_asked in asked if is_asked)


_NOTHING_MORE = ReportOptions()


def read_visits(
    folders: Sequence[Path], times: Sequence[datetime] = (), others: Sequence[Path | None] = ()
) -> tuple[ReportVisit, ...]:
    """Read models, each with the time of its visit and the other limb at that visit.

    Parameters
    ----------
    folders
        As ``digitise model`` wrote them.
    times
        One for each folder; without them, the time at which each model was made.
    others
        One for each folder, None where the other limb was not measured; may be left out.

    Raises
    ------
    ModelError
        A model cannot be read.
    """
    models = [read_model(folder) for folder in folders]
    whens = times or [model.summary.created for model in models]
    across = [None if folder is None else read_model(folder) for folder in others] or [None] * len(models)
    each = zip(models, whens, across, folders, strict=True)
    return tuple(
        ReportVisit(model, when, other, str(folder), bool(times)) for model, when, other, folder in each
    )


def make_report(
    visits: Sequence[ReportVisit],
    options: ReportOptions = _NOTHING_MORE,
    *,
    client: str = "",
    created: datetime | None = None,
) -> Report:
    """Follow and compare the visits of one limb, and return what a report says of them.

    Parameters
    ----------
    visits
        Of one limb, in any order.
    options
        What else to report.
    client
        The client's code; empty when it shall not be told.
    created
        When the report is made; now when None.

    Raises
    ------
    SafetyError
        Places, wrap or garment are asked for, but withheld.
    CourseError, ModelError
        The visits are not of one limb, share too little of it, or it is not known when they were.
    PlanError
        The wrap or the girth list cannot be made.
    """
    ordered = sorted(visits, key=lambda visit: visit.taken)
    safety = _safety(ordered, options)
    course = _followed(ordered, options)
    last = ordered[-1].model
    limb = last.limb
    first = ordered[0].model if len(ordered) > 1 else None
    change = None if first is None else compare(first.limb, limb, same_sheets=same_sheets(first, last))
    return report_content(
        ordered,
        course,
        change,
        end_change=None if first is None else end_change_of(first.end, last.end),
        regions=find_regions(limb) if options.places else None,
        foot_places=foot_places_of(last, None) if options.places else (),
        sheet=wrap_sheet(limb, options.plan, end_way_of(last)) if "wrap" in options.pressing else None,
        garment=girth_list(limb, stable=course.plateau.stable) if options.garment else None,
        safety=safety,
        client=client,
        created=created,
    )


def _safety(visits: Sequence[ReportVisit], options: ReportOptions) -> tuple[str, ...]:
    """Return what stands on top of the report, before any work is done for it."""
    if not visits:
        return ()
    model = visits[-1].model.summary
    if options.pressing:
        return released(model, options.pressing, options.answers, options.despite)
    return () if options.answers is None else assessed(options.answers, model.limb, model.side).lines


def _followed(visits: Sequence[ReportVisit], options: ReportOptions) -> Course:
    """Follow the visits as the course command does: a report must state the visits' own times."""
    if not visits:
        raise CourseError("There is no visit to report.", do="Give the folder of a measured limb.")
    measured = [
        VisitMeasurement(visit.model.summary, visit.taken, visit.place, timed=visit.timed) for visit in visits
    ]
    refuse_doubles(measured)
    others = [
        None if visit.other is None else VisitMeasurement(visit.other.summary, visit.taken, visit.place)
        for visit in visits
    ]
    series = with_others(measured, others)
    if len(visits) > 1 and not series.has_times:
        raise CourseError(
            "The models were made within hours of each other, so when the visits were is not known.",
            do="Give the time of each visit with --when.",
        )
    return follow(series, bilateral=options.bilateral, sem_percent=options.sem_percent)

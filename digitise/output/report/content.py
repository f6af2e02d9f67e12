"""What was found on a limb becomes the content of a report: its figures, rounded as they are printed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from digitise.care.change.compare import Change
from digitise.care.change.end import EndChange
from digitise.care.course.course import Course, CoursePoint
from digitise.care.course.visits import VisitVolume
from digitise.care.padding.foot.places import FootPlace
from digitise.care.padding.region import Region
from digitise.care.wrap.garment import GirthList
from digitise.care.wrap.sheet import WrapSheet
from digitise.output.change.form import Verdict
from digitise.output.change.words import less_sure
from digitise.output.forms import now, software
from digitise.output.model.file import StoredModel
from digitise.output.model.form import ModelForm
from digitise.output.report import form
from digitise.output.report.parts import (
    change_form,
    course_form,
    figure,
    foot_form,
    garment_form,
    girth_rows,
    hand_form,
    place_forms,
    place_rows,
    taped_end_row,
    wrap_form,
)
from digitise.output.report.words import method_words
from digitise.shape.limb import Estimate


@dataclass(frozen=True)
class ReportVisit:
    """One visit of the limb.

    Attributes
    ----------
    model
        As it was written.
    taken
        When, with a time zone.
    other
        The other limb at that visit; None when it was not measured.
    place
        Folder or number of the visit, for messages.
    timed
        Whether ``taken`` is the time of the visit, and not that at which the model was made.
    """

    model: StoredModel
    taken: datetime
    other: StoredModel | None = None
    place: str = ""
    timed: bool = True


@dataclass(frozen=True)
class Report:
    """A report's content.

    Attributes
    ----------
    form
        Its figures, rounded as printed.
    last
        The visit that it is about.
    change
        From the first visit to the last; None for a single visit.
    course
        Of all visits.
    regions
        Places for padding; empty when they are not asked for.
    sheet
        The wrap; None when it is not asked for.
    foot_places
        Places on the foot.
    end_change
        Of foot or hand from the first visit to the last; None where one of them did not measure it.
    """

    form: form.ReportForm
    last: ReportVisit
    change: Change | None
    course: Course
    regions: tuple[Region, ...]
    sheet: WrapSheet | None = None
    foot_places: tuple[FootPlace, ...] = ()
    end_change: EndChange | None = None


def report_content(
    visits: Sequence[ReportVisit],
    course: Course,
    change: Change | None,
    *,
    end_change: EndChange | None = None,
    regions: tuple[Region, ...] | None = None,
    foot_places: tuple[FootPlace, ...] = (),
    sheet: WrapSheet | None = None,
    garment: GirthList | None = None,
    safety: tuple[str, ...] = (),
    client: str = "",
    created: datetime | None = None,
) -> Report:
    """Return the content of a report on one limb.

    Parameters
    ----------
    visits
        Of one limb, by time.
    course
        Of these visits.
    change
        From the first visit to the last; None for a single visit.
    end_change
        Of foot or hand from the first visit to the last; None where one of them did not measure it.
    regions, sheet, garment
        Places for padding, a wrap and a girth list of the last visit; None when they are not asked for.
    foot_places
        Places on the foot of the last visit.
    safety
        What is open about the client, the most urgent first.
    client
        The client's code; empty when it shall not be told.
    created
        When the report is made; now when None.
    """
    last = visits[-1]
    summary, common = last.model.summary, course.points[-1].visit
    words = form.ReportForm(
        format=form.FORMAT,
        created=created or now(),
        client=client,
        limb=summary.limb,
        side=summary.side,
        from_mm=round(common.from_mm),
        to_mm=round(common.to_mm),
        visits=tuple(_visit(*pair) for pair in zip(visits, course.points, strict=True)),
        girths=girth_rows(last.model, change),
        foot=foot_form(summary),
        hand=hand_form(summary),
        place_girths=place_rows(summary),
        taped_end=taped_end_row(summary),
        change=None if change is None else change_form(change, end_change, visits[0].taken, last.taken),
        course=None if change is None else course_form(course),
        places=None if regions is None else place_forms(regions, foot_places),
        wrap=None if sheet is None else wrap_form(sheet),
        garment=None if garment is None else garment_form(garment, summary.place_girths),
        safety=safety,
        warnings=tuple(_warnings(change, visits)),
        not_included=_not_included(summary, common),
        method=method_words(summary, course, change),
        caution=summary.caution,
        software=software(),
    )
    return Report(words, last, change, course, regions or (), sheet, foot_places, end_change)


def _not_included(summary: ModelForm, common: VisitVolume) -> tuple[str, ...]:
    """Return what the volumes leave out: more than the last visit does where not all measured as much."""
    if abs(summary.from_mm - common.from_mm) < 1.0 and abs(summary.to_mm - common.to_mm) < 1.0:
        return summary.not_included
    return (
        "Volumes are of these heights, which all visits measured, of the other limb as well where it is held "
        "against: what lies beyond is not included.",
    )


def _warnings(change: Change | None, visits: Sequence[ReportVisit]) -> Iterator[str]:
    """Yield what makes the last visit's figures less sure, and those of the change from the first one."""
    first, last = visits[0], visits[-1]
    if change is None:
        yield from (warning.text for warning in last.model.summary.warnings)
    else:
        yield from less_sure(change, first.model.summary, last.model.summary, first.taken)


def _visit(visit: ReportVisit, point: CoursePoint) -> form.ReportVisitForm:
    summary, excess, reduction = visit.model.summary, point.excess, point.reduction
    current = reduction.current_reference if reduction else None
    return form.ReportVisitForm(
        taken=visit.taken,
        from_mm=round(summary.from_mm),
        to_mm=round(summary.to_mm),
        photographs=len(summary.photos) + sum(len(part.photos) for part in summary.segments),
        tape_rows=len(summary.tape_check),
        limb_sha256=summary.limb_sha256,
        volume_ml=figure(point.visit.volume),
        since_first_ml=None if point.since_first is None else figure(point.since_first),
        since_first_verdict=None if point.since_first is None else _verdict(point.since_first),
        other_volume_ml=None if point.visit.reference is None else figure(point.visit.reference),
        excess_ml=None if excess is None else figure(excess.excess_ml),
        excess_percent=None if excess is None or excess.percent is None else figure(excess.percent, 1),
        reduction_now_percent=None if current is None else figure(current, 1),
        reduction_baseline_percent=None if reduction is None else figure(reduction.baseline_reference, 1),
    )


def _verdict(change: Estimate[float]) -> Verdict:
    if not change.clear:
        return "no clear change"
    return "smaller" if change.mean < 0 else "larger"

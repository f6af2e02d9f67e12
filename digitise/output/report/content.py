"""Visits become the content of a report: its figures, and the values that its pictures show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from types import MappingProxyType

from digitise import __version__
from digitise.care.change.compare import Change, compare
from digitise.care.course.course import Course, CoursePoint, course
from digitise.care.course.visits import Reading, VisitVolume
from digitise.care.padding.regions import Region, find_regions
from digitise.care.wrap.plan import Plan
from digitise.errors import CourseError
from digitise.output.model.file import StoredModel
from digitise.output.model.form import SoftwareForm
from digitise.output.report import form
from digitise.output.report.care import garment_form, place_forms, wrap_form
from digitise.output.report.parts import (
    GIRTH_STEP_MM,
    change_form,
    course_form,
    figure,
    girth_rows,
    multiples,
)
from digitise.output.report.words import method_words
from digitise.shape.limb import Estimate, Limb, girth, volume


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
    """

    model: StoredModel
    taken: datetime
    other: StoredModel | None = None


@dataclass(frozen=True)
class ReportOptions:
    """What a report shall hold besides measurements.

    Attributes
    ----------
    places, wrap, garment
        Places for padding, a wrap sheet, the girth list for a garment.
    plan
        Of the wrap; suggested from the shape when None.
    bilateral
        Both limbs are swollen, so percentages of excess are hidden.
    """

    places: bool = False
    wrap: bool = False
    garment: bool = False
    plan: Plan | None = None
    bilateral: bool = False


_NOTHING = ReportOptions()


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
    """

    form: form.ReportForm
    last: ReportVisit
    change: Change | None
    course: Course
    regions: tuple[Region, ...]


def make_report(
    visits: Sequence[ReportVisit],
    *,
    client: str = "",
    wishes: ReportOptions = _NOTHING,
    followed: Course | None = None,
    created: datetime | None = None,
) -> Report:
    """Return the content of a report on one limb.

    Parameters
    ----------
    visits
        Of one limb, in any order.
    client
        The client's code; empty when it shall not be told.
    wishes
        What else to report.
    followed
        The course of these visits; made from their volumes when None.
    created
        When the report is made; now when None.

    Raises
    ------
    CourseError, ModelError
        When the visits are not of one limb, or share no stretch.
    PlanError
        When the wrap or the garment list cannot be made.
    """
    ordered = sorted(visits, key=lambda visit: visit.taken)
    low, high = _common(ordered)
    if followed is None:
        volumes = [_followed(visit, low, high) for visit in ordered]
        followed = course(volumes, bilateral=wishes.bilateral)
    last = ordered[-1]
    change = compare(ordered[0].model.limb, last.model.limb) if len(ordered) > 1 else None
    regions = find_regions(last.model.limb) if wishes.places else ()
    summary = last.model.summary
    words = form.ReportForm(
        format=form.FORMAT,
        created=created or datetime.now(UTC).replace(microsecond=0),
        client=client,
        limb=summary.limb,
        side=summary.side,
        from_mm=round(low),
        to_mm=round(high),
        visits=tuple(_visit(*pair) for pair in zip(ordered, followed.points, strict=True)),
        girths=girth_rows(last.model, change),
        change=None if change is None else change_form(change, ordered[0].taken, last.taken),
        course=None if change is None else course_form(followed),
        places=place_forms(regions) if wishes.places else None,
        wrap=wrap_form(last.model.limb, wishes.plan) if wishes.wrap else None,
        garment=garment_form(last.model.limb, followed) if wishes.garment else None,
        warnings=tuple(warning.text for warning in summary.warnings),
        not_included=summary.not_included,
        method=method_words(ordered[-1].model.summary, followed, change),
        caution=summary.caution,
        software=SoftwareForm(name="digitise", version=__version__),
    )
    return Report(words, last, change, followed, regions)


# ---- visits --------------------------------------------------------------------------------------------


def _common(ordered: Sequence[ReportVisit]) -> tuple[float, float]:
    """Return the heights that all visits share, and refuse visits of different limbs."""
    if not ordered:
        raise CourseError("There is no visit to report.", do="Give the folder of a measured limb.")
    first = ordered[0].model.summary
    limbs = [visit.model.limb for visit in ordered]
    for visit in ordered:
        now = visit.model.summary
        if (now.limb, now.side) != (first.limb, first.side):
            raise CourseError(
                f"One visit is of the {first.side} {first.limb}, another of the {now.side} {now.limb}.",
                do="Give visits of one limb; the other limb goes behind --reference.",
            )
        if visit.other is not None:
            limbs.append(_checked_other(visit.other, first.limb, first.side))
    low, high = max(limb.from_mm for limb in limbs), min(limb.to_mm for limb in limbs)
    if high - low < 2 * GIRTH_STEP_MM:
        raise CourseError(
            "The visits share no stretch of the limb to speak of.", do="Leave out the one that does not fit."
        )
    return low, high


def _checked_other(other: StoredModel, kind: str, side: str) -> Limb:
    if other.summary.limb != kind or other.summary.side == side:
        raise CourseError(
            f"The {other.summary.side} {other.summary.limb} is not the other limb of the {side} {kind}.",
            do="Give the folder of the opposite side behind --reference.",
        )
    return other.limb


def _reading(estimate: Estimate) -> Reading:
    return Reading(float(estimate.mean), float(estimate.sd))


def _followed(visit: ReportVisit, low: float, high: float) -> VisitVolume:
    limb = visit.model.limb
    z = multiples(low, high)
    girths = girth(limb, z)
    return VisitVolume(
        visit.taken,
        _reading(volume(limb, low, high)),
        low,
        high,
        reference=None if visit.other is None else _reading(volume(visit.other.limb, low, high)),
        girths=MappingProxyType(
            {float(at): Reading(float(m), float(s)) for at, m, s in zip(z, *girths, strict=True)}
        ),
        covers_mm=(limb.from_mm, limb.to_mm),
    )


def _visit(visit: ReportVisit, point: CoursePoint) -> form.ReportVisitForm:
    summary, excess, reduction = visit.model.summary, point.excess, point.reduction
    current = reduction.current_reference if reduction else None
    return form.ReportVisitForm(
        taken=visit.taken,
        from_mm=round(summary.from_mm),
        to_mm=round(summary.to_mm),
        photographs=len(summary.photos),
        tape_rows=len(summary.tape_check),
        limb_sha256=summary.limb_sha256,
        volume_ml=figure(point.visit.volume),
        since_first_ml=None if point.since_first is None else figure(point.since_first),
        since_first_verdict=None if point.since_first is None else _verdict(point.since_first),
        other_volume_ml=None if point.visit.reference is None else figure(point.visit.reference),
        excess_ml=None if excess is None else figure(excess.ml),
        excess_percent=None if excess is None or excess.percent is None else figure(excess.percent, 1),
        reduction_now_percent=None if current is None else figure(current, 1),
        reduction_baseline_percent=None if reduction is None else figure(reduction.baseline_reference, 1),
    )


def _verdict(change: Reading) -> form.Verdict:
    if not change.clear:
        return "no clear change"
    return "smaller" if change.value < 0 else "larger"

"""Measured visits brought into one course or one study of repeats."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from types import MappingProxyType

from digitise.anatomy import LimbKind, Side
from digitise.care.change.motion import LEAST_OVERLAP_MM
from digitise.care.course.course import Course, course
from digitise.care.course.plateau import CourseVerdict, Plateau
from digitise.care.course.repeatability import Repeatability, repeatability
from digitise.care.course.visits import REPEAT_SEM_PERCENT, RepeatError, VisitVolume
from digitise.errors import CourseError
from digitise.output.cautions import POSTURES, counted_from
from digitise.output.course import volumes as stored
from digitise.output.course.repeat_form import Repeats
from digitise.workflow.visits.measured import NO_TIMES, LimbSeries, VisitMeasurement
from digitise.workflow.visits.sources import own_measurements

_Key = tuple[LimbKind, Side, date]


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
        They share too little, some stood and others lay, or heights count from different places.
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
    _require_one_start(visits)
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


def _require_one_start(visits: Sequence[VisitMeasurement]) -> None:
    """Check that nothing speaks against heights that all count from one place."""
    named = [visit for visit in visits if visit.model.counted_from is not None]
    for visit in named:
        if visit.model.counted_from != named[-1].model.counted_from:
            raise CourseError(
                f"Here heights count from {_start(visit)}, at another visit from {_start(named[-1])}: "
                "volumes cannot be put side by side.",
                where=visit.place,
                do="Tap the same place at every visit; leave out those that count from elsewhere.",
            )


def _start(visit: VisitMeasurement) -> str:
    return counted_from(visit.model.lying, visit.model.counted_from)


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

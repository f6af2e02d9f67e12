"""A course as plain-language sentences and as a dictionary for JSON."""

from __future__ import annotations

from collections.abc import Iterator

from digitise.care.course.course import Course, CoursePoint, Reduction
from digitise.care.course.plateau import Rate
from digitise.care.course.visits import REPEAT_SEM_PERCENT, Reading, RepeatError

SAME_WAY = (
    "Volumes from different methods do not replace each other: follow one person with one method, "
    "one operator, one posture and one time of day."
)

# ---- sentences -------------------------------------------------------------------------------------


def course_sentences(course: Course) -> tuple[str, ...]:
    """Return the course in plain words, one or two sentences an item, the verdict with what is missing."""
    return tuple(_sentences(course))


def _sentences(course: Course) -> Iterator[str]:
    first, last = course.points[0], course.points[-1]
    yield (
        f"On {last.visit.name} the limb measured {_with_interval(last.visit.volume, 'mL')} between "
        f"{last.visit.from_mm:.0f} and {last.visit.to_mm:.0f} mm."
    )
    if last.since_first is not None and last.limb_change_percent is not None:
        percent = f"{abs(last.limb_change_percent.value):.1f} % of the limb"
        yield _changed(f"Since the first visit on {first.visit.name}", last.since_first, percent)
    if last.since_last is not None and len(course.points) > 2:
        before = course.points[-2].visit
        percent = f"{100 * abs(last.since_last.value) / before.volume.value:.1f} %"
        yield _changed(f"Since the visit before on {before.name}", last.since_last, percent)
    yield _smallest(course.error)
    yield from _excess(last)
    if course.plateau.rate is not None:
        yield _rate(course.plateau.rate)
    yield f"Verdict: {course.plateau.verdict}. {course.plateau.rule}"
    yield from course.plateau.missing
    yield from course.notes
    yield from (reminder.text for reminder in course.reminders)
    yield SAME_WAY


def _with_interval(reading: Reading, unit: str) -> str:
    digits = 0 if unit == "mL" else 1
    low, high = reading.interval_95
    return f"{reading.value:.{digits}f} {unit} (95 % interval {low:.{digits}f} to {high:.{digits}f})"


def _changed(since: str, change: Reading, percent: str) -> str:
    low, high = change.interval_95
    if not change.clear:
        return f"{since}: no clear change ({change.value:+.0f} mL, 95 % interval {low:+.0f} to {high:+.0f})."
    verb = "lost" if change.value < 0 else "gained"
    return (
        f"{since} it {verb} {abs(change.value):.0f} mL or {percent} "
        f"(95 % interval {low:+.0f} to {high:+.0f} mL): a clear change."
    )


def _smallest(error: RepeatError) -> str:
    source = "measured by repeats" if error.measured else "stated, not measured by repeats"
    if not error.measured and error.sem_percent in REPEAT_SEM_PERCENT.values():
        source = "from published repeats of tape, not measured here"
    text = (
        f"From visit to visit a change counts as clear beyond {error.mdc95_percent:.1f} % of volume; this "
        f"rests on a repeat error of {error.sem_percent:.1f} % ({source})"
    )
    return text + ("; some changes have an error of their own." if error.change_sd_ml else ".")


def _excess(point: CoursePoint) -> Iterator[str]:
    if point.excess is not None:
        percent = point.excess.percent
        name = "Excess over" if percent is not None else "Difference from"
        more = "" if percent is None else f", or {_with_interval(percent, '%')}"
        yield f"{name} the other limb: {_with_interval(point.excess.ml, 'mL')}{more}."
    if point.reduction is not None:
        if point.reduction.current_reference is not None:
            now = _with_interval(point.reduction.current_reference, "%")
            yield f"Excess reduced by {now}, against the other limb at the same visit."
        then = _with_interval(point.reduction.baseline_reference, "%")
        yield f"Excess reduced by {then}, against the other limb at the first visit."


def _rate(rate: Rate) -> str:
    low, high = rate.percent_per_week.interval_95
    return (
        f"Rate over the last {rate.visits} visits: {rate.ml_per_week.value:+.0f} mL or "
        f"{rate.percent_per_week.value:+.1f} % per week (95 % interval {low:+.1f} to {high:+.1f} %)."
    )


# ---- JSON --------------------------------------------------------------------------------------------


def course_dict(course: Course) -> dict[str, object]:
    """Return the course as plain dictionaries, lists, numbers and texts; None where a figure is not given."""
    plateau = course.plateau
    return {
        "visits": [_point(point) for point in course.points],
        "rate": None if plateau.rate is None else _rate_dict(plateau.rate),
        "plateau": {
            "verdict": plateau.verdict,
            "rule": plateau.rule,
            "conditions": [{"code": c.code, "met": c.met, "text": c.text} for c in plateau.conditions],
            "missing": list(plateau.missing),
        },
        "repeat_sem_percent": course.error.sem_percent,
        "repeat_sem_measured": course.error.measured,
        "mdc95_percent": course.error.mdc95_percent,
        "reminders": [{"code": r.code, "visit": r.visit, "text": r.text} for r in course.reminders],
        "notes": list(course.notes),
        "sentences": list(course_sentences(course)),
    }


def _figure(reading: Reading | None) -> dict[str, object] | None:
    if reading is None:
        return None
    return {
        "value": reading.value,
        "sd": reading.sd,
        "interval_95": list(reading.interval_95),
        "clear": reading.clear,
    }


def _rate_dict(rate: Rate) -> dict[str, object]:
    return {
        "ml_per_week": _figure(rate.ml_per_week),
        "percent_per_week": _figure(rate.percent_per_week),
        "visits": rate.visits,
        "since": rate.since.isoformat(),
        "until": rate.until.isoformat(),
    }


def _point(point: CoursePoint) -> dict[str, object]:
    visit = point.visit
    return {
        "taken": visit.taken.isoformat(),
        "from_mm": visit.from_mm,
        "to_mm": visit.to_mm,
        "measured_by": visit.measured_by,
        "posture": visit.posture,
        "volume_ml": _figure(visit.volume),
        "reference_ml": _figure(visit.reference),
        "since_first_ml": _figure(point.since_first),
        "since_last_ml": _figure(point.since_last),
        "limb_change_percent": _figure(point.limb_change_percent),
        "excess_ml": _figure(point.excess.ml) if point.excess else None,
        "excess_percent": _figure(point.excess.percent) if point.excess else None,
        "excess_reduction_percent": _reduction(point.reduction),
    }


def _reduction(reduction: Reduction | None) -> dict[str, object] | None:
    if reduction is None:
        return None
    return {
        "current_reference": _figure(reduction.current_reference),
        "baseline_reference": _figure(reduction.baseline_reference),
    }

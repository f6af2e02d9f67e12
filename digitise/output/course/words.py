"""A course in plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator

from digitise.care.course.course import Course, CoursePoint
from digitise.care.course.plateau import CourseVerdict, Rate
from digitise.care.course.visits import REPEAT_SEM_PERCENT, RepeatError, mdc95
from digitise.shape.limb import Estimate
from digitise.tape.entry_errors import TAPE_SD_MM
from digitise.tape.places import place_words

SAME_WAY = (
    "Volumes from different methods do not replace each other: follow one person with one method, "
    "one operator, one posture and one time of day."
)

TWO_WAYS = (
    "Two visits compared with each other are solved together: their change may lie some mL away from the "
    "difference of two volumes, as here."
)

VERDICTS = {
    CourseVerdict.SHRINKING: "still shrinking",
    CourseVerdict.GROWING: "growing",
    CourseVerdict.LEVELLED_OFF: "levelled off (rule of this project)",
    CourseVerdict.NO_DIRECTION: "no clear direction",
    CourseVerdict.TOO_FEW_VISITS: "not enough visits",
}
"""How a verdict is said, to people and in course.json."""


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
        percent = f"{abs(last.limb_change_percent.mean):.1f} % of the limb"
        yield _changed(f"Since the first visit on {first.visit.name}", last.since_first, percent)
    if last.since_last is not None and len(course.points) > 2:
        before = course.points[-2].visit
        percent = f"{100 * abs(last.since_last.mean) / before.volume.mean:.1f} %"
        yield _changed(f"Since the visit before on {before.name}", last.since_last, percent)
    yield smallest_clear(course.error)
    if len(course.points) > 1:
        yield TWO_WAYS
    yield from _excess(last)
    yield from _ends(course)
    yield from _places(course)
    if course.plateau.rate is not None:
        yield _rate(course.plateau.rate)
    yield f"Verdict: {VERDICTS[course.plateau.verdict]}. {course.plateau.rule}"
    yield from course.plateau.missing
    yield from course.notes
    yield from (reminder.text for reminder in course.reminders)
    yield SAME_WAY


def _with_interval(reading: Estimate[float], unit: str) -> str:
    digits = 0 if unit == "mL" else 1
    low, high = reading.interval_95
    return f"{reading.mean:.{digits}f} {unit} (95 % interval {low:.{digits}f} to {high:.{digits}f})"


def _changed(since: str, change: Estimate[float], percent: str) -> str:
    low, high = change.interval_95
    if not change.clear:
        return f"{since}: no clear change ({change.mean:+.0f} mL, 95 % interval {low:+.0f} to {high:+.0f})."
    verb = "lost" if change.mean < 0 else "gained"
    return (
        f"{since} it {verb} {abs(change.mean):.0f} mL or {percent} "
        f"(95 % interval {low:+.0f} to {high:+.0f} mL): a clear change."
    )


def smallest_clear(error: RepeatError) -> str:
    """Return from where on a change from visit to visit counts as clear, and on what that rests."""
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
        over = _with_interval(point.excess.excess_ml, "mL")
        if percent is None:
            yield f"Difference from the other limb: {over}."
        else:
            yield f"Excess over the other limb: {over}, or {_with_interval(percent, '%')}."
    if point.reduction is not None:
        if point.reduction.current_reference is not None:
            now = _with_interval(point.reduction.current_reference, "%")
            yield f"Excess reduced by {now}, against the other limb at the same visit."
        then = _with_interval(point.reduction.baseline_reference, "%")
        yield f"Excess reduced by {then}, against the other limb at the first visit."


def _ends(course: Course) -> Iterator[str]:
    """Say of foot or hand how large it was at its first and last visit; it is in no other volume."""
    visits = [point.visit for point in course.points]
    for name in dict.fromkeys(name for visit in visits for name in visit.ends):
        first, *others = [visit for visit in visits if name in visit.ends]
        last = others[-1] if others else first
        now = last.ends[name]
        yield (
            f"{name.capitalize()}, below {last.from_mm:.0f} mm: on {last.name} it measured "
            f"{_with_interval(now, 'mL')}."
        )
        if others:
            then = first.ends[name]
            # what both visits get wrong alike is not known: the interval is rather too wide
            change = Estimate(now.mean - then.mean, math.hypot(now.sd, then.sd))
            percent = f"{100 * abs(change.mean) / then.mean:.1f} % of the {name}"
            yield _changed(f"{name.capitalize()}, since {first.name}", change, percent)


def _places(course: Course) -> Iterator[str]:
    """Say of each place on foot or hand what the tape read at its first and last visit."""
    visits = [point.visit for point in course.points]
    for name in dict.fromkeys(name for visit in visits for name in visit.places):
        first, *others = [visit for visit in visits if name in visit.places]
        then = first.places[name]
        text = f"{place_words(name).capitalize()}, by tape: on {first.name} it read {then:.0f} mm"
        if others:
            now = others[-1].places[name]
            clear = abs(now - then) > mdc95(TAPE_SD_MM)
            text += f"; on {others[-1].name} it read {now:.0f} mm ({now - then:+.0f} mm"
            text += (
                "" if clear else f", no clear change: two readings may differ by {mdc95(TAPE_SD_MM):.0f} mm"
            )
            text += ")"
        yield f"{text}. It is in no volume."


def _rate(rate: Rate) -> str:
    low, high = rate.percent_per_week.interval_95
    return (
        f"Rate over the last {rate.visits} visits: {rate.ml_per_week.mean:+.0f} mL or "
        f"{rate.percent_per_week.mean:+.1f} % per week (95 % interval {low:+.1f} to {high:+.1f} %)."
    )

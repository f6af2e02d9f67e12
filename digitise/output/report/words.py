"""The words of a report: how it was measured, what the figures mean and where they end."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from digitise.care.change.compare import Change
from digitise.care.course.course import Course
from digitise.care.excess import BILATERAL
from digitise.output.cautions import counted_from
from digitise.output.course.words import SAME_WAY, smallest_clear
from digitise.output.forms import FigureForm
from digitise.output.model.form import ModelForm
from digitise.output.report.form import PlaceRowForm, TapedEndRowForm
from digitise.words import numbers

SIGNED = "+.0f"
PRIVACY = "Health data: pass on only with the client's consent."
FOOTER = "A measurement, not a diagnosis. The licensed practitioner and local rules decide."


def method_words(summary: ModelForm, followed: Course, change: Change | None) -> tuple[str, ...]:
    """Return method and limits, one short paragraph an item.

    Parameters
    ----------
    summary
        Of the visit that the report is about.
    followed
        The course of all visits.
    change
        From the first to the last visit; None for a single one.
    """
    return tuple(_paragraphs(summary, followed, change))


def _paragraphs(summary: ModelForm, followed: Course, change: Change | None) -> Iterator[str]:
    yield (
        "Photographs of the limb between printed markers give the tangent lines of its sections; girths by "
        "tape give the mean width of a section exactly (Cauchy). Both are solved together, each with its "
        "error; what neither saw is filled by what limbs are like, and widens the interval."
    )
    yield summary.method
    drawn = [photo.drawn.percent for photo in summary.photos if photo.drawn is not None]
    if drawn:
        yield (
            f"In {len(drawn)} of {len(summary.photos)} photographs a person corrected the outline by hand; "
            f"at most {max(drawn):.0f} % of an outline is drawn."
        )
    yield (
        "All intervals are 95 %. Girth is what a taut tape reads. Heights are along the limb's axis, from "
        f"{counted_from(summary.lying, summary.counted_from)}. The sum of cones from the tape alone is "
        f"{'not known' if summary.cone_volume_ml is None else f'{summary.cone_volume_ml:.0f} mL'} between "
        f"{summary.from_mm:.0f} and {summary.to_mm:.0f} mm. {summary.cone_note}"
    )
    if change is not None:
        yield (
            "The change of shape comes from solving the first and the last visit together, so that errors "
            "common to both cancel. Volumes in the table of visits are each on their own; their differences "
            "are less well known, and may differ from it by some mL. A change whose interval holds zero is "
            "no clear change."
        )
        yield smallest_clear(followed.error)
    if any(point.excess for point in followed.points):
        yield from _excess_words(followed)
    yield SAME_WAY


def _excess_words(followed: Course) -> Iterator[str]:
    yield (
        "Excess is the volume of this limb minus that of the other limb between the same heights; in percent "
        "it is over the other limb's volume. Muscles and dominance differ too: a difference alone is not "
        "swelling."
    )
    if BILATERAL in followed.notes:
        yield BILATERAL
    elif any(point.reduction for point in followed.points):
        yield (
            "Reduction of excess = 100 (first excess - excess now) / first excess, where the excess now is "
            "(a) over the other limb as it is now, (b) over the other limb as it was at the first visit."
        )


# ---- figures in words ----------------------------------------------------------------------------------


def day(when: datetime) -> str:
    """Return a date that nobody reads the wrong way round."""
    return numbers.day(when)


def interval_words(figure: FigureForm, style: str = ".0f") -> str:
    """Return the two ends of a figure's interval."""
    low, high = figure.interval_95
    return f"{low:{style}} to {high:{style}}"


def with_interval(figure: FigureForm | None, style: str = ".0f") -> str:
    """Return a figure and its interval; nothing for None."""
    return "" if figure is None else f"{figure.value:{style}} ({interval_words(figure, style)})"


def number_words(value: float | None, style: str = ".0f") -> str:
    """Return a number; nothing for None."""
    return "" if value is None else f"{value:{style}}"


def place_sentence(rows: Sequence[PlaceRowForm]) -> str:
    """Return the girths that were taped on foot or hand, as one sentence."""
    words = "; ".join(
        f"{row.place} {row.tape_mm:.0f} mm"
        + ("" if row.photographs_mm is None else f" ({row.verdict}: photographs {_both(row.photographs_mm)})")
        for row in rows
    )
    return f"Taped on foot or hand, not in the volume above: {words}."


def taped_end_sentence(row: TapedEndRowForm) -> str:
    """Return what the tape alone says of the volume of foot or hand."""
    if row.volume_ml is None:
        return f"{row.part.capitalize()} by tape alone: none. {row.note}"
    where = "beyond the wrist" if row.below_mm is None else f"below {row.below_mm:.0f} mm"
    words = (
        f"{row.part.capitalize()} {where}, estimated by tape alone: {row.volume_ml.value:.0f} mL, 95 % "
        f"{interval_words(row.volume_ml)} mL"
    )
    if row.photographs_ml is None:
        return f"{words}. It is added to no other volume."
    seen = row.photographs_ml
    return f"{words}; by the photographs {seen.value:.0f} mL, 95 % {interval_words(seen)} mL."


def _both(figure: FigureForm) -> str:
    return f"{figure.value:.0f} mm, 95 % {interval_words(figure)}"

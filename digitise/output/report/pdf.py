"""A report as a PDF: what was measured, what changed, how sure it is, on two to four pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from matplotlib.figure import Figure

from digitise.output.cautions import counted_from
from digitise.output.change.words import end_sentences
from digitise.output.figures import course as figures_course
from digitise.output.figures import limb as figures
from digitise.output.figures import style as figures_style
from digitise.output.figures import views as figures_views
from digitise.output.report import form
from digitise.output.report.boxes import figure_boxes
from digitise.output.report.content import Report
from digitise.output.report.layout import Pages
from digitise.output.report.pdf_care import garment_section, places_section, wrap_section
from digitise.output.report.words import (
    FOOTER,
    PRIVACY,
    SIGNED,
    day,
    interval_words,
    number_words,
    place_sentence,
    taped_end_sentence,
    with_interval,
)
from digitise.shape.limb import Limb

_SECTIONS = 5
_PROFILE_MM = 112.0
_REDUCTIONS = ("reduced by, % (a)", "reduced by, % (b)")


def report_pdf(report: Report, paper: str = "a4") -> bytes:
    """Return a report as a PDF on ``a4`` or ``letter``.

    Raises
    ------
    OutputError
        The paper is another one.
    """
    words = report.form
    who = f"Client {words.client}. " if words.client else ""
    pages = Pages(paper, f"Limb report, {words.side} {words.limb}", f"{who}{FOOTER}")
    _first_page(pages, report)
    _girths(pages, report)
    if report.change is not None:
        _change(pages, report)
    if len(words.visits) > 1 or words.visits[-1].excess_ml:
        _course(pages, report)
    if words.places is not None:
        places_section(pages, words.places, report)
    if words.wrap is not None:
        wrap_section(pages, words.wrap, report)
    if words.garment is not None:
        garment_section(pages, words.garment, words.safety)
    _method(pages, words)
    return bytes(pages.output())


def report_figures(report: Report) -> dict[str, Callable[[], Figure]]:
    """Return what draws the figures of a report, by name; see :func:`digitise.output.figures.style.png`."""
    last, change, named = report.last.model, report.change, _named(report)
    found: dict[str, Callable[[], Figure]] = {
        "girths": lambda: figures.girth_profile(named, last.summary.tape_check),
        "sections": lambda: figures.section_overlay(named, _heights(named[0].limb)),
        "views": lambda: figures_views.limb_views(last.limb, end=last.end),
    }
    if change is not None:
        found["change-chart"] = lambda: figures.change_chart(change)
        found["change-views"] = lambda: figures_views.change_views(change)
        found["course"] = lambda: figures_course.course_figure(report.course)
    return found


# ---- first page ----------------------------------------------------------------------------------------


def _first_page(pages: Pages, report: Report) -> None:
    words = report.form
    last, limb = words.visits[-1], report.last.model.limb
    pages.head(f"Limb report: {words.side} {words.limb}", f"made {day(words.created)}")
    pages.notice(words.safety)
    visits = f"{day(last.taken)}"
    if len(words.visits) > 1:
        visits += f", visit {len(words.visits)} since {day(words.visits[0].taken)}"
    segment = (
        f"{words.from_mm:.0f} to {words.to_mm:.0f} mm from {counted_from(limb.lying, limb.counted_from)}."
    )
    pages.facts(
        [
            ("Client", words.client or "not stated"),
            ("Visit", visits),
            ("Measured", " ".join((segment, *words.not_included))),
            ("How", f"{last.photographs} photographs on a printed mat and {last.tape_rows} girths by tape."),
        ]
    )
    pages.boxes(figure_boxes(words))
    model = report.last.model
    views = figures_style.png(lambda: figures_views.limb_views(model.limb, (180, 88), model.end))
    pages.picture(views, "The limb from its four sides.", pages.epw, pages.epw * 88 / 180)
    if words.course is not None:
        pages.heading("In words")
        for sentence in (*end_sentences(report.end_change), *_sentences(words, words.course)):
            pages.paragraph(sentence, bullet=True)
    pages.heading("To look at")
    for warning in words.warnings or ("The checks of photographs and tape found nothing to look at.",):
        pages.paragraph(warning, bullet=True)
    pages.heading("Caution")
    for sentence in (*words.caution, PRIVACY):
        pages.paragraph(sentence, 8.0, bullet=True)


def _sentences(words: form.ReportForm, course: form.CourseForm) -> list[str]:
    found = []
    if words.change is not None:
        clear = [part for part in words.change.parts if part.verdict != "no clear change"]
        named = ", ".join(f"{part.name} ({part.change_ml.value:{SIGNED}} mL)" for part in clear)
        found.append(f"By segment, clearly changed: {named}." if clear else "No segment has clearly changed.")
    if course.percent_per_week is not None:
        rate = course.percent_per_week
        found.append(
            f"Rate over the last visits: {rate.value:+.1f} % per week "
            f"(95 %: {interval_words(rate, '+.1f')} % per week)."
        )
    found.append(f"Course: {course.verdict}. {course.rule}")
    return found


# ---- girths --------------------------------------------------------------------------------------------


def _named(report: Report) -> list[figures.Named]:
    """Return the last limb, and before it the first in the same frame."""
    last = day(report.form.visits[-1].taken)
    if report.change is None:
        return [figures.Named(last, report.last.model.limb)]
    first = day(report.form.visits[0].taken)
    return [figures.Named(last, report.change.second), figures.Named(first, report.change.first)]


def _heights(limb: Limb) -> list[float]:
    """Return heights spread over the limb, whole centimetres."""
    edges = np.linspace(limb.from_mm, limb.to_mm, 2 * _SECTIONS + 1)[1::2]
    return [float(height) for height in np.round(edges, -1)]


def _girths(pages: Pages, report: Report) -> None:
    words, named = report.form, _named(report)
    pages.add_page()
    pages.heading("Girths")
    tape = report.last.model.summary.tape_check
    changed = words.change is not None
    width = 76.0 if changed else 84.0
    profile = figures_style.png(lambda: figures.girth_profile(named, tape, (width, _PROFILE_MM)))
    pages.picture(
        profile, "Girth along the limb with its band and the tape.", width, _PROFILE_MM, beside=True
    )
    head = ["height, mm", "girth, mm (95 %)", "tape, mm"]
    widths = [18.5, 32.5, 15.5]
    if changed:
        head.append("change, mm (95 %)")
    else:
        head.append("tape - photographs")
    widths.append(pages.epw - width - 4.0 - sum(widths))
    body, top = [_girth_cells(row, changed) for row in words.girths], pages.y
    pages.rows(head, body, widths, align="RRRR" if changed else "RRRL", x=width + 4.0, points=7.5)
    pages.set_y(max(pages.y, top + _PROFILE_MM + 2.0))
    _tape_words(pages, words.girths)
    if words.place_girths:
        pages.paragraph(place_sentence(words.place_girths), 8.0)
    if words.taped_end is not None:
        pages.paragraph(taped_end_sentence(words.taped_end), 8.0)
    pages.heading("Sections, seen from above", keep=60.0)
    sections = figures_style.png(lambda: figures.section_overlay(named, _heights(named[0].limb)))
    pages.picture(sections, "Sections of the limb.", pages.epw, pages.epw * 48 / 180)


def _girth_cells(row: form.GirthRowForm, changed: bool) -> list[str]:
    cells = [f"{row.height_mm:.0f}", with_interval(row.girth_mm), number_words(row.tape_mm)]
    if changed:
        unclear = row.change_verdict == "no clear change"
        return [*cells, f"{with_interval(row.change_mm, SIGNED)}{' *' if unclear else ''}"]
    if row.tape_minus_photographs_mm is None:
        return [*cells, ""]
    return [*cells, f"{row.tape_minus_photographs_mm:{SIGNED}} mm, {row.tape_verdict}"]


def _tape_words(pages: Pages, rows: Sequence[form.GirthRowForm]) -> None:
    seen = [row for row in rows if row.tape_minus_photographs_mm is not None]
    words = "; ".join(
        f"{row.height_mm:.0f} mm {row.tape_minus_photographs_mm:{SIGNED}} mm ({row.tape_verdict})"
        for row in seen
    )
    if words and rows[0].change_mm is not None:
        pages.paragraph(f"Girth by tape minus photographs alone: {words}.", 8.0)
    if any(row.change_verdict == "no clear change" for row in rows):
        pages.paragraph("* no clear change: the interval holds zero.", 8.0, faint=True)


# ---- change and course ---------------------------------------------------------------------------------


def _change(pages: Pages, report: Report) -> None:
    change, words = report.change, report.form.change
    assert change is not None
    assert words is not None
    pages.add_page()
    pages.heading(f"Change of shape from {day(words.since)} to {day(words.until)}")
    views = figures_style.png(lambda: figures_views.change_views(change, (180, 92)))
    pages.picture(views, "The limb from four sides, coloured by change.", pages.epw, pages.epw * 92 / 180)
    chart = figures_style.png(lambda: figures.change_chart(change, (88, 86)))
    pages.picture(chart, "The change unrolled.", 88.0, 86.0, beside=True)
    pages.rows(
        ["segment", "from-to, mm", "mL (95 %)", "% (95 %)"],
        [
            [
                part.name,
                f"{part.from_mm:.0f}-{part.to_mm:.0f}",
                f"{with_interval(part.change_ml, SIGNED)}{' *' if part.verdict == 'no clear change' else ''}",
                with_interval(part.change_percent, "+.1f"),
            ]
            for part in (*words.parts, words.whole, *([] if words.end is None else [words.end]))
        ],
        [18.0, 14.0, 28.0, pages.epw - 92.0 - 60.0],
        align="LLRR",
        x=92.0,
        points=7.0,
    )
    pages.set_left_margin(pages.l_margin + 92.0)
    pages.set_x(pages.l_margin)
    pages.paragraph(
        "Blue is smaller, brown (striped in the pictures of the limb) is larger, grey is no clear change: "
        "the 95 % interval there holds zero. * no clear change.",
        8.0,
        faint=True,
    )
    pages.set_left_margin(pages.l_margin - 92.0)


def _course(pages: Pages, report: Report) -> None:
    words = report.form
    if len(words.visits) > 1:
        pages.add_page()
    pages.heading(f"Visits, between {words.from_mm:.0f} and {words.to_mm:.0f} mm")
    if len(words.visits) > 1:
        chart = figures_style.png(lambda: figures_course.course_figure(report.course))
        pages.picture(chart, "Volume and excess over time.", pages.epw, pages.epw * 66 / 180)
    pages.rows(
        ["visit", "measured, mm", "volume, mL (95 %)", "since first, mL (95 %)"],
        [_visit_cells(visit) for visit in words.visits],
        [22.0, 24.0, 44.0, 48.0],
        align="LLRR",
        points=7.5,
    )
    if any(visit.since_first_verdict == "no clear change" for visit in words.visits):
        pages.paragraph("* no clear change.", 8.0, faint=True)
    with_other = [visit for visit in words.visits if visit.excess_ml]
    if with_other:
        pages.heading("Excess over the other limb")
        pages.rows(
            ["visit", "other limb, mL", "excess, mL (95 %)", "excess, % (95 %)", *_REDUCTIONS],
            [_excess_cells(visit) for visit in with_other],
            [18.0, 30.0, 35.0, 33.0, 32.0, 32.0],
            align="LRRRRR",
            points=7.0,
        )
    if words.course is not None:
        pages.paragraph(
            f"A change of volume between two visits counts as clear beyond "
            f"{words.course.smallest_clear_change_percent:.1f} %. Verdict: {words.course.verdict}. "
            f"{words.course.rule}"
        )
        for remark in words.course.remarks:
            pages.paragraph(remark, 8.0, bullet=True)


def _visit_cells(visit: form.ReportVisitForm) -> list[str]:
    unclear = " *" if visit.since_first_verdict == "no clear change" else ""
    since = f"{with_interval(visit.since_first_ml, SIGNED)}{unclear}"
    segment = f"{visit.from_mm:.0f}-{visit.to_mm:.0f}"
    return [day(visit.taken), segment, with_interval(visit.volume_ml), since]


def _excess_cells(visit: form.ReportVisitForm) -> list[str]:
    return [
        day(visit.taken),
        with_interval(visit.other_volume_ml),
        with_interval(visit.excess_ml, SIGNED),
        with_interval(visit.excess_percent, "+.1f"),
        with_interval(visit.reduction_now_percent, ".1f"),
        with_interval(visit.reduction_baseline_percent, ".1f"),
    ]


def _method(pages: Pages, words: form.ReportForm) -> None:
    pages.heading("Method and limits", keep=60.0)
    for paragraph in words.method:
        pages.paragraph(paragraph, 7.5, faint=True)
    software, digest = words.software, words.visits[-1].limb_sha256
    pages.paragraph(
        f"Made by {software.name} {software.version} from the model with the SHA-256 {digest[:16]}...",
        7.5,
        faint=True,
    )

"""The pages of a report on padding, wrap and garment; the most urgent that is open stands on each again."""

from __future__ import annotations

from collections.abc import Sequence

from digitise.output.figures import style as figures_style
from digitise.output.figures.care import OnFoot, places_views
from digitise.output.figures.wrap import WIDTH_MM, layers_height_mm, wrap_layers
from digitise.output.report import form
from digitise.output.report.content import Report
from digitise.output.report.layout import Pages
from digitise.output.report.parts import PLACES, PRESSURE
from digitise.output.report.words import with_interval

_ROWS_PT = 7.5
_ABOVE_MM = 25.0  # a heading, a line of safety and the gaps below them


def places_section(pages: Pages, places: Sequence[form.PlaceForm], report: Report) -> None:
    """Write the places that may need padding."""
    pages.heading("Places that may need padding", keep=120.0 if places else 40.0)
    pages.notice(report.form.safety[:1])
    if not places:
        pages.paragraph("No place stands out by more than threshold and noise.")
    else:
        model, regions = report.last.model, report.regions
        seen = OnFoot(model.foot, report.foot_places)
        views = figures_style.png(lambda: places_views(model.limb, regions, (180, 84), seen))
        pages.picture(views, "The places on the limb, numbered.", pages.epw, pages.epw * 84 / 180)
        pages.rows(
            ["", "what", "where", "cm²", "mm (95 %)", "mL (95 %)", "sure", "what may be done"],
            [
                [
                    f"{number}",
                    place.kind,
                    place.place,
                    f"{place.area_cm2:.0f}",
                    with_interval(place.peak_mm),
                    with_interval(place.volume_ml),
                    place.confidence,
                    place.advice,
                ]
                for number, place in enumerate(places, start=1)
            ],
            [5.0, 20.0, 39.0, 10.0, 24.0, 28.0, 14.0, pages.epw - 140.0],
            align="LLLRRRLL",
            points=7.5,
        )
        means = dict.fromkeys(f"{place.kind}: {place.peak_means}" for place in places)
        pages.paragraph(f"The figure in mm is, for {'; for '.join(means)}.", 8.0, faint=True)
    pages.paragraph(PLACES, 8.0, faint=True)


def _begins(layer: form.LayerForm) -> str:
    if layer.from_toes:
        return "toes"
    return "knuckles" if layer.from_knuckles else f"{layer.from_mm:.0f}"


def wrap_section(pages: Pages, wrap: form.WrapForm, report: Report) -> None:
    """Write the wrap sheet."""
    model, sheet = report.last.model, report.sheet
    height = 0.0 if sheet is None else pages.epw * layers_height_mm(len(sheet.needs)) / WIDTH_MM
    # who wraps has pictures and lengths of all layers before them at once
    pages.heading("Wrap sheet", keep=_ABOVE_MM + height + pages.rows_mm(len(wrap.layers) + 1, _ROWS_PT))
    pages.notice(report.form.safety[:1])
    if sheet is not None:
        turns = figures_style.png(lambda: wrap_layers(model.limb, model.end, sheet))
        pages.picture(turns, "The layers, in the order in which they go on.", pages.epw, height)
    pages.rows(
        [
            "layer",
            "width, mm",
            "from-to, mm",
            "overlap %",
            "turns",
            "on the limb, mm",
            "at rest, mm",
            "rolls",
        ],
        [
            [
                layer.name,
                f"{layer.width_mm:.0f}",
                f"{_begins(layer)}-{layer.to_mm:.0f}",
                f"{layer.overlap_percent:.0f}",
                f"{layer.turns:.1f}",
                f"{layer.stretched_mm:.0f}",
                f"{layer.rest_mm:.0f}",
                f"{layer.rolls}",
            ]
            for layer in wrap.layers
        ],
        [30.0, 18.0, 24.0, 18.0, 16.0, 28.0, 24.0, 14.0],
        align="LRRRRRRR",
        points=_ROWS_PT,
    )
    kinds = (("bandage", wrap.rolls), ("padding", wrap.padding_rolls))
    rolls = ", ".join(f"{kind} {count} of {width:.0f} mm" for kind, found in kinds for width, count in found)
    pressure = ", ".join(f"{height:.0f} mm {value:.2f}" for height, value in wrap.relative_pressure)
    pages.paragraph(f"Rolls: {rolls}. Relative pressure by height: {pressure}.")
    for warning in wrap.warnings:
        pages.paragraph(warning, bullet=True)
    for words in (*wrap.end_notes, wrap.note, PRESSURE):
        if words:
            pages.paragraph(words, 8.0, faint=True)


def garment_section(pages: Pages, garment: form.GarmentForm, safety: Sequence[str]) -> None:
    """Write the girths for a garment."""
    pages.heading("Girths for a garment", keep=40.0)
    pages.notice(safety[:1])
    pages.rows(
        ["point", "where", "height, mm", "girth, mm (95 %)", "to look at"],
        [
            [row.letter, row.place, f"{row.height_mm:.0f}", with_interval(row.girth_mm), row.note]
            for row in garment.rows
        ],
        [12.0, 55.0, 18.0, 34.0, pages.epw - 119.0],
        align="LLRRL",
        points=7.5,
    )
    for row in garment.taped:
        note = f"; {row.note}" if row.note else ""
        pages.paragraph(f"{row.place.capitalize()}: {row.girth_mm:.0f} mm, as taped{note}.", 8.0)
    if garment.missing:
        pages.paragraph(f"Not placed on the measured segment: {', '.join(garment.missing)}.", 8.0)
    for note in garment.notes:
        pages.paragraph(note, 8.0, bullet=True)

"""Rows of a study's tables from what model.json says; figures as they stand there."""

from __future__ import annotations

from collections.abc import Iterator

from digitise.output.model.form import ModelForm
from digitise.output.study.columns import (
    ENDS,
    PHOTOGRAPHS,
    PLACES,
    SECTIONS,
    STRETCHES,
    TAPE_CHECKS,
    WARNINGS,
    Table,
)
from digitise.output.study.writing import Row


def model_rows(visit: int, model: ModelForm) -> Iterator[tuple[Table, Iterator[Row]]]:
    """Yield each table that a model fills, with its rows.

    Parameters
    ----------
    visit
        Number of the visit in the records.
    model
        What was measured.
    """
    parts = (
        (SECTIONS, _sections(model)),
        (STRETCHES, _stretches(model)),
        (TAPE_CHECKS, _tape_checks(model)),
        (ENDS, _ends(model)),
        (PLACES, _places(model)),
        (PHOTOGRAPHS, _photographs(model)),
        (WARNINGS, ((warning.code,) for warning in model.warnings)),
    )
    for table, rows in parts:
        yield table, ((visit, number, *row) for number, row in enumerate(rows, start=1))


def _sections(model: ModelForm) -> Iterator[Row]:
    for one in model.sections:
        girth, area = (one.girth_mm, *one.girth_mm_95), (one.area_mm2, *one.area_mm2_95)
        yield one.height_mm, *girth, *area, one.width_mm, one.depth_mm


def _stretches(model: ModelForm) -> Iterator[Row]:
    for one in model.stretches:
        yield one.from_mm, one.to_mm, one.volume_ml, *one.volume_ml_95


def _tape_checks(model: ModelForm) -> Iterator[Row]:
    for one in model.tape_check:
        ends = one.photo_mm_95 or (None, None)
        yield one.height_mm, one.tape_mm, one.photo_mm, *ends, one.difference_mm, one.verdict


def _ends(model: ModelForm) -> Iterator[Row]:
    for part in model.segments:
        yield part.name, "photographs", part.to_mm, part.volume_ml, *part.volume_ml_95, part.length_mm
    taped = model.taped_end
    if taped is not None and taped.volume_ml is not None and taped.volume_ml_95 is not None:
        yield taped.part, "tape alone", taped.below_mm, taped.volume_ml, *taped.volume_ml_95, None


def _places(model: ModelForm) -> Iterator[Row]:
    for one in model.place_girths:
        ends = one.photo_mm_95 or (None, None)
        yield one.place, one.girth_mm, one.photo_mm, *ends, one.difference_mm, one.verdict


def _photographs(model: ModelForm) -> Iterator[Row]:
    for one in model.photos:
        drawn = 0.0 if one.drawn is None else one.drawn.percent
        yield one.markers, one.rms_px, one.focal_px, one.distance_mm, drawn

"""Whether a model is of the limb, photographs, girths and sheets that are stored with it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

from digitise.anatomy import LimbKind
from digitise.capture.sheets.field import MarkerField, field_digest
from digitise.errors import DigitiseError, RecordError
from digitise.output.model.file import model_from_bytes
from digitise.output.model.form import ModelForm
from digitise.record.values import ModelFiles, NewVisit
from digitise.tape.rows import TapeRow

# model.json rounds to a thousandth
_ROUNDED_MM = 0.002
# findings that say that one photograph was not used
_LEFT_OUT = ("left-out", "foot-left-out", "hand-left-out")


def check_model(
    visit: NewVisit, model: ModelFiles, photos: Sequence[tuple[bytes, bytes]], field: MarkerField | None
) -> None:
    """Read a model, and refuse one that is damaged or was made from something else than the visit holds.

    What the visit does not hold (photographs, girths, sheets) is not compared.

    Parameters
    ----------
    visit, model
        What shall be stored.
    photos
        Each photograph as it was given, and as it is kept.
    field
        The sheets that are stored with it.

    Raises
    ------
    RecordError
        It does not belong to the visit, or cannot be read.
    """
    summary = _read(model)
    if (summary.limb, summary.side) != (visit.limb, visit.side):
        raise RecordError(
            f"The model is of the {summary.side} {summary.limb}, the visit of the {visit.side} {visit.limb}.",
            where="model.json",
            do="Name the limb that was measured.",
        )
    _check_posture(summary, visit)
    if photos:
        _check_photos(summary, photos, [path.name for path in visit.photos])
    if visit.tape:
        _check_tape(summary, visit.tape)
    if visit.tape or visit.places:
        _check_places(summary, visit)
    if field is not None:
        _check_field(summary, field)


def _check_posture(summary: ModelForm, visit: NewVisit) -> None:
    lay, said = bool(summary.lying), visit.posture
    if summary.limb != LimbKind.LEG:  # an arm may lie on a table whose owner stands
        return
    if (said == "lying" and not lay) or (said == "standing" and lay):
        raise RecordError(
            f"The model is of a limb that {'lay' if lay else 'stood'}, the visit says {said}.",
            where="model.json",
            do="Name the posture in which the limb was photographed, or none.",
        )


def _read(model: ModelFiles) -> ModelForm:
    try:
        return model_from_bytes(model.json, model.limb, Path("model")).summary
    except DigitiseError as error:
        raise RecordError(error.what, where=error.where, do=error.do) from error


def _check_photos(summary: ModelForm, photos: Sequence[tuple[bytes, bytes]], names: Sequence[str]) -> None:
    """Refuse photographs that the model was not made from, but for those that it left out."""
    sides = [{photo.sha256, photo.kept_sha256} for photo in summary.photos]
    above = [{photo.sha256, photo.kept_sha256} for part in summary.segments for photo in part.photos]
    stated = (*sides, *above)
    left_out = sum(finding.code in _LEFT_OUT for finding in summary.findings)
    if not len(stated) <= len(photos) <= len(stated) + left_out:
        raise RecordError(
            f"The model was made from {len(stated)} photographs, the visit holds {len(photos)}.",
            where="model.json",
            do="Give the photographs that it was made from.",
        )
    held = [{hashlib.sha256(given).hexdigest(), hashlib.sha256(kept).hexdigest()} for given, kept in photos]
    found = [next((n for n, own in enumerate(held) if own & digests), None) for digests in stated]
    in_order = [n for n in found[: len(sides)] if n is not None]
    strange = [name for n, name in enumerate(names) if n not in found]
    if None in found or in_order != sorted(in_order):
        raise RecordError(
            "The model was not made from this photograph, or from those of the visit in another order.",
            where=strange[0] if strange else names[0],
            do="Give those that it was made from, in the same order, or measure the visit again.",
        )


def _check_tape(summary: ModelForm, rows: Sequence[TapeRow]) -> None:
    made_from = sorted((row.height_mm, row.tape_mm) for row in summary.tape_check)
    held = sorted((row.height_mm, row.girth_mm) for row in rows)
    near = len(made_from) == len(held) and all(
        abs(a - b) <= _ROUNDED_MM
        for one, other in zip(made_from, held, strict=True)
        for a, b in zip(one, other, strict=True)
    )
    if not near:
        raise RecordError(
            "The model was made from other girths than the visit holds.",
            where="tape",
            do="Give the tape.csv that it was made with, or measure the visit again.",
        )


def _check_places(summary: ModelForm, visit: NewVisit) -> None:
    """Refuse girths on foot or hand that the visit does not hold; it may hold more than the model."""
    held = {row.place: row.girth_mm for row in visit.places}
    if any(abs(held.get(row.place, 0.0) - row.girth_mm) > _ROUNDED_MM for row in summary.place_girths):
        raise RecordError(
            "The model holds other girths of foot or hand than the visit.",
            where="tape",
            do="Give the tape.csv that it was made with, or measure the visit again.",
        )


def _check_field(summary: ModelForm, field: MarkerField) -> None:
    markers = {board.name: len(board.ids) for board in field.boards}
    # files of earlier versions tell the names of the boards and how many markers were seen, no more
    fits = (
        all(
            seen <= markers.get(name, 0)
            for photo in summary.photos
            for name, seen in photo.markers_by_board.items()
        )
        if summary.field_sha256 is None
        else summary.field_sha256 == field_digest(field)
    )
    if not fits:
        raise RecordError(
            "The model was made with other sheets than this field.json describes.",
            where="field.json",
            do="Give the field.json that it was made with, or measure the visit again.",
        )

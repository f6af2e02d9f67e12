"""A visit is checked as a whole, and its photographs stripped, before anything is written."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import get_args

from digitise.anatomy import LimbKind, Side
from digitise.capture.calibration.lens import lens_from_json
from digitise.capture.photo.photograph import photo_bytes, remove_metadata_from
from digitise.capture.sheets.field import field_from_json
from digitise.errors import RecordError
from digitise.record.values import Answer, Clearance, ModelFiles, NewVisit, Posture
from digitise.tape.places import check_places
from digitise.tape.rows import TapeRow
from digitise.tape.table import LARGEST_GIRTH_MM, SMALLEST_GIRTH_MM

LONGEST_CODE = 20
LONGEST_NOTE = 4000
MOST_PHOTOS = 12
LARGEST_CORRECTION = 2_000_000
"""Signs; thousands of points take a tenth of it."""
HIGHEST_MM = 2000.0
"""Above the mat or below it, along the limb: no limb is longer."""
LONGEST_POINT = 8
LARGEST_MODEL = 64 * 2**20
"""Bytes, of either file of a model."""
_CODE = re.compile(r"[A-Z0-9]+(-[A-Z0-9]+)*")
_FLAG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
_USE_CODE = "Give a code of letters, digits and dashes with a digit in it, such as K-017; never a name."


@dataclass(frozen=True)
class ReadyVisit:
    """A visit that can be written as it is.

    Attributes
    ----------
    visit
        As given, with the codes in their stored spelling.
    photos
        Stripped photographs by the hex digest of their bytes, in the order of the visit.
    """

    visit: NewVisit
    client: str
    measured_by: str
    photos: dict[str, bytes]


def client_code(text: str) -> str:
    """Return a client's code as it is stored: upper case, so that k-017 and K-017 are one client.

    Raises
    ------
    RecordError
        When it is not a code, or looks like a name.
    """
    code = text.strip().upper()
    if " " in code or (code and not any(c.isdigit() for c in code)):
        raise RecordError("This looks like a name, not like a code.", where="client", do=_USE_CODE)
    if not _CODE.fullmatch(code) or len(code) > LONGEST_CODE:
        raise RecordError(
            f"The code is empty, longer than {LONGEST_CODE}, or holds other signs.",
            where="client",
            do=_USE_CODE,
        )
    return code


def validate_visit(visit: NewVisit) -> ReadyVisit:
    """Check a visit and strip its photographs.

    Raises
    ------
    RecordError
        When something in the visit cannot be kept as given.
    PhotoError
        When a photograph cannot be read.
    TapeError
        When a girth cannot be of the foot or hand of this limb.
    FieldError, LensError, OutlineError
        When the marker field, the lens profile or a correction is damaged.
    """
    client = client_code(visit.client)
    _check_words(visit)
    check_time(visit.taken, "when taken")
    _check_clearance(visit.clearance)
    _check_tape(visit)
    field = None if visit.field_json is None else field_from_json(visit.field_json, "field.json")
    if visit.lens_json is not None:
        lens_from_json(visit.lens_json, "lens.json")
    _check_corrections(visit.corrections.items(), len(visit.photos))
    measured_by = staff_code(visit.measured_by, "measured by")
    given, kept = _photographs(visit.photos)
    if visit.model is not None:
        _check_size(visit.model)
        # brings the libraries that measure, which nothing else of the records needs
        from digitise.record.belonging import check_model  # noqa: PLC0415

        check_model(visit, visit.model, list(zip(given, kept.values(), strict=True)), field)
    return ReadyVisit(visit, client, measured_by, kept)


def is_flag_code(text: str) -> bool:
    """Tell whether a sign or condition can be kept under this code: small letters, digits and dashes."""
    return _FLAG.fullmatch(text) is not None


def staff_code(text: str, where: str) -> str:
    """Return initials or a code in their stored spelling; may be empty.

    Raises
    ------
    RecordError
        When it is longer or holds other signs.
    """
    code = text.strip().upper()
    if code and (not _CODE.fullmatch(code) or len(code) > LONGEST_CODE):
        raise RecordError(
            "These are neither initials nor a code.", where=where, do="Give letters, digits and dashes only."
        )
    return code


def _check_size(model: ModelFiles) -> None:
    if max(len(model.json), len(model.limb)) > LARGEST_MODEL:
        raise RecordError("The model is too large.", where="model", do="Make the model again.")


def _check_corrections(corrections: Iterable[tuple[int, str]], photos: int) -> None:
    """Refuse a correction that belongs to no photograph (1 to ``photos``) or is none.

    Raises
    ------
    RecordError, OutlineError
        With the number of the correction.
    """
    for number, text in corrections:
        if not 1 <= number <= photos:
            raise RecordError(
                "The correction belongs to no photograph of the visit.",
                where=f"correction {number}",
                do=f"Number it 1 to {photos}." if photos else "Give the photographs too.",
            )
        _read_correction(number, text)


def _read_correction(number: int, text: str) -> None:
    # brings the libraries that find outlines, which nothing else of the records needs
    from digitise.capture.outline.correction import correction_from_json  # noqa: PLC0415

    if len(text) > LARGEST_CORRECTION:
        raise RecordError("The correction is too large.", where=f"correction {number}", do="Draw it again.")
    correction_from_json(text, f"correction {number}")


def _check_words(visit: NewVisit) -> None:
    for where, word, known in (
        ("limb", visit.limb, tuple(LimbKind)),
        ("side", visit.side, tuple(Side)),
        ("posture", visit.posture, get_args(Posture)),
        ("clearance", visit.clearance.answer, get_args(Answer)),
    ):
        if word not in known:
            choices = ", ".join(choice for choice in known if choice)
            raise RecordError("This is not one of the choices.", where=where, do=f"Choose {choices}.")
    if len(visit.note) > LONGEST_NOTE or any(
        unicodedata.category(sign) in ("Cc", "Cs") and sign not in "\n\t" for sign in visit.note
    ):
        raise RecordError(
            f"The note is longer than {LONGEST_NOTE} or holds control signs.", where="note", do="Shorten it."
        )


def check_time(time: datetime, where: str) -> None:
    """Refuse a time that a visit cannot have been taken at.

    Raises
    ------
    RecordError
        It has no time zone, lies before 2000 or in the future.
    """
    if time.tzinfo is None:
        raise RecordError(
            "The time has no time zone.", where=where, do="Write it like 2026-03-02T09:15+01:00."
        )
    if not _EARLIEST <= time <= datetime.now(UTC) + timedelta(days=1):
        raise RecordError(
            f"The time {time:%Y-%m-%d %H:%M} is before 2000 or in the future.", where=where, do="Correct it."
        )


def _check_clearance(clearance: Clearance) -> None:
    staff_code(clearance.by, "clearance")
    if (clearance.when is None) != (clearance.answer == "not-asked"):
        raise RecordError(
            "An answer goes with its time, and no answer with none.", where="clearance", do="Correct it."
        )
    if clearance.when is not None:
        check_time(clearance.when, "clearance")
    codes = [code for code, _ in clearance.red_flags]
    wrong = next((code for code in codes if not is_flag_code(code) or codes.count(code) > 1), None)
    if wrong is not None:
        raise RecordError(
            "A warning sign is named twice, or with other than small letters, digits and dashes.",
            where=f"red flag {wrong[:30]!r}",
            do="Correct it.",
        )


def _check_tape(visit: NewVisit) -> None:
    if not (visit.tape or visit.places or visit.photos):
        raise RecordError("The visit holds neither photographs nor girths.", do="Give at least one of them.")
    wrong = next((row for row in visit.tape if not _is_reading(row)), None)
    if wrong is not None:
        raise RecordError(
            f"A girth of {wrong.girth_mm:g} mm at {wrong.height_mm:g} mm cannot be.",
            where="tape",
            do="Correct it.",
        )
    check_places(visit.places, visit.limb)
    heights = [row.height_mm for row in visit.tape]
    if sorted(set(heights)) != heights:
        raise RecordError(
            "The girths are not in order of height, or two have one height.", where="tape", do="Sort them."
        )


def _is_reading(row: TapeRow) -> bool:
    return (
        abs(row.height_mm) <= HIGHEST_MM
        and SMALLEST_GIRTH_MM <= row.girth_mm <= LARGEST_GIRTH_MM
        and len(row.point) <= LONGEST_POINT
    )


def _photographs(paths: tuple[Path, ...]) -> tuple[list[bytes], dict[str, bytes]]:
    """Return the photographs as given, and as they are kept by their digests, in the same order."""
    if len(paths) > MOST_PHOTOS:
        raise RecordError(
            f"There are {len(paths)} photographs.", where="photographs", do=f"Keep {MOST_PHOTOS} at most."
        )
    given, kept = [], {}
    for path in paths:
        given.append(photo_bytes(path))
        data = remove_metadata_from(given[-1], path.name)
        digest = hashlib.sha256(data).hexdigest()
        if digest in kept:
            raise RecordError("The same photograph is given twice.", where=path.name, do="Give it once.")
        kept[digest] = data
    return given, kept


# ---- files, read as they are ---------------------------------------------------------------------------


def read_model_files(folder: Path) -> ModelFiles:
    """Read the two files of a model.

    Raises
    ------
    RecordError
        One of them is missing or cannot be read.
    """
    return ModelFiles(read_text(folder / "model.json"), _read(folder / "limb.npz"))


def read_text(path: Path) -> str:
    """Read a text file in UTF-8.

    Raises
    ------
    RecordError
        It is missing, too large, or no text.
    """
    try:
        return _read(path).decode("utf-8")
    except UnicodeDecodeError as error:
        raise RecordError("The file is no text.", where=path.name, do="Make it again.") from error


def _read(path: Path) -> bytes:
    try:
        if path.stat().st_size > LARGEST_MODEL:
            raise RecordError("The file is too large.", where=path.name, do="Name the right file.")
        return path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = getattr(error, "strerror", None) or error
        raise RecordError(
            f"The file cannot be opened ({reason}).", where=str(path), do="Check its name and folder."
        ) from error

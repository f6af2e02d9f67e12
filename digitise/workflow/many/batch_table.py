"""The table of visits to measure, and the table of what came of them."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import astuple, dataclass, fields
from pathlib import Path

from digitise.anatomy import CountedFrom, LimbKind, Side
from digitise.errors import TableError

_COLUMNS = ("name", "photos", "field", "tape", "limb", "side")
_OPTIONAL = ("from_mm", "to_mm", "lens", "lying", "landmark", "counted_from")
_LIES = {"palm-down": LimbKind.ARM, "palm-up": LimbKind.ARM, "on-back": LimbKind.LEG}
_MOST_PHOTOS = 12
_LARGEST_PIXEL = 40_000.0
_PICTURES = frozenset({".jpg", ".jpeg", ".png", ".heic", ".heif"})
_LARGEST_TABLE = 2**24
_MOST_NAME = 80


@dataclass(frozen=True)
class MeasureJob:
    """One visit to be measured; plain values, so that another process can do it.

    Attributes
    ----------
    name
        Of the visit in the table, and of its folder.
    photos, field, tape, lens
        Paths; no tape and no lens profile where empty.
    limb, side
        Which limb.
    from_mm, to_mm
        Heights to report between; None where the evidence decides.
    out
        Folder for its model.
    corrections
        Paths of outlines drawn by hand, by the photographs' sha256.
    same_visit
        Somebody answers for it that the photographs are of one visit.
    lying, landmark
        How a limb lies that does not stand, and from where its heights count: photograph, from 0, and pixels.
    counted_from
        Which place on the limb that is; empty where it was not said.
    axis
        Frame of the limb's axis that a person typed: the rotation's rows, then the translation, mm.
    """

    name: str
    photos: tuple[str, ...]
    field: str
    tape: str
    limb: LimbKind
    side: Side
    from_mm: float | None
    to_mm: float | None
    out: str
    lens: str = ""
    corrections: tuple[str, ...] = ()
    same_visit: bool = False
    lying: str = ""
    landmark: tuple[float, ...] = ()
    axis: tuple[float, ...] = ()
    counted_from: str = ""


@dataclass(frozen=True)
class ResultRow:
    """What came of one visit: figures, or the reason why there are none.

    Attributes
    ----------
    name
        Of the visit.
    status
        ``measured``, ``refused`` (the reason is the program's message) or ``failed`` (it ended without one).
    from_mm, to_mm, volume_ml, low_ml, high_ml
        Heights, volume and its 95 % interval; empty text without a result.
    warnings
        Codes of the warnings, separated by blanks.
    reason
        Why there is no result.
    """

    name: str
    status: str
    from_mm: str = ""
    to_mm: str = ""
    volume_ml: str = ""
    low_ml: str = ""
    high_ml: str = ""
    warnings: str = ""
    reason: str = ""


def read_table(path: Path, out: Path) -> tuple[MeasureJob, ...]:
    """Read a table of visits to measure; paths in it count from its own folder.

    Parameters
    ----------
    path
        A CSV file with the columns name, photos (a folder, or files separated by ``;``), field, tape, limb
        and side, and if wanted from_mm, to_mm, lens, and for a limb that lies lying, landmark and
        counted_from.
    out
        Folder that holds the models, one folder for each name.

    Raises
    ------
    TableError
        It cannot be read, lacks a column, or a row says something that cannot be; the line is named.
    """
    try:
        if path.stat().st_size > _LARGEST_TABLE:
            raise TableError("The table is too large.", where=path.name, do="Split it.")
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise TableError(
            "The table cannot be read.", where=str(path), do="Give a CSV file in UTF-8."
        ) from error
    try:
        rows = list(csv.DictReader(io.StringIO(text), strict=True))
    except csv.Error as error:
        raise TableError(f"The table is no CSV: {error}.", where=path.name, do="Save it as CSV.") from error
    header = set(rows[0]) if rows else set()
    missing = [name for name in _COLUMNS if name not in header]
    if missing:
        raise TableError(
            f"The table has no column {', '.join(missing)}, or no row.",
            where=path.name,
            do=f"Begin with the line {','.join(_COLUMNS)}.",
        )
    jobs = tuple(_job(row, n, path, out) for n, row in enumerate(rows, start=2))
    names = [job.name.casefold() for job in jobs]
    for n, name in enumerate(names):
        if name in names[:n]:
            raise TableError(
                f"The name {jobs[n].name!r} stands twice.",
                where=f"{path.name}, line {n + 2}",
                do="Rename one.",
            )
    return jobs


def _job(row: dict[str, str | None], line: int, path: Path, out: Path) -> MeasureJob:
    where = f"{path.name}, line {line}"
    cell = {key: (row.get(key) or "").strip() for key in (*_COLUMNS, *_OPTIONAL)}
    name = cell["name"]
    plain = name.replace("-", "").replace("_", "").replace(".", "")
    if not plain.isalnum() or not name.isascii() or len(name) > _MOST_NAME or name.startswith("."):
        raise TableError(
            f"{name!r} is no name for a folder.", where=where, do="Use letters, digits, - and _ only."
        )
    if cell["limb"] not in tuple(LimbKind) or cell["side"] not in tuple(Side):
        raise TableError(
            f"The limb is {cell['limb']!r}, the side {cell['side']!r}.",
            where=where,
            do="Write leg or arm, left or right.",
        )
    home = path.parent
    lying, landmark = _lying(cell, where)
    return MeasureJob(
        name,
        _photos(cell["photos"], home, where),
        str(home / cell["field"]),
        str(home / cell["tape"]) if cell["tape"] else "",
        LimbKind(cell["limb"]),
        Side(cell["side"]),
        _height(cell["from_mm"], where),
        _height(cell["to_mm"], where),
        str(out / name),
        str(home / cell["lens"]) if cell["lens"] else "",
        lying=lying,
        landmark=landmark,
        counted_from=_place(cell, where),
    )


def _lying(cell: dict[str, str], where: str) -> tuple[str, tuple[float, ...]]:
    """Return how a limb lies and its landmark; both empty for one that stands."""
    lying, text = cell["lying"], cell["landmark"]
    if not lying and not text:
        return "", ()
    if _LIES.get(lying) != cell["limb"]:
        raise TableError(
            f"The {cell['limb']} is said to lie {lying!r}.",
            where=where,
            do="Write palm-down or palm-up for an arm, on-back for a leg; nothing, and no landmark, for one "
            "that stands.",
        )
    try:
        photo, x, y = (float(part) for part in re.split(r"[;,\s]+", text))
    except ValueError:
        photo, x, y = 0.0, -1.0, -1.0
    if not (photo in range(1, _MOST_PHOTOS + 1) and 0 <= x < _LARGEST_PIXEL and 0 <= y < _LARGEST_PIXEL):
        raise TableError(
            f"{text!r} is no landmark.",
            where=where,
            do="Write the photograph's number and its pixels from the left and from the top, with ; between, "
            "such as 2;2210;1480.",
        )
    return lying, (photo - 1.0, x, y)


def _place(cell: dict[str, str], where: str) -> str:
    """Return which place heights count from on a limb that lies; empty where it was not said."""
    text = cell["counted_from"]
    if not text:
        return ""
    if not cell["lying"] or text not in tuple(CountedFrom) or CountedFrom(text).limb != cell["limb"]:
        raise TableError(
            f"Heights along the {cell['limb']} are said to count from {text!r}.",
            where=where,
            do="Write wrist-crease or elbow-tip for an arm that lies, ankle-bone or kneecap for a leg that "
            "lies, else nothing.",
        )
    return text


def _photos(text: str, home: Path, where: str) -> tuple[str, ...]:
    if not text:
        raise TableError(
            "No photographs are named.", where=where, do="Name their folder, or each with ; between."
        )
    if ";" not in text and (home / text).is_dir():
        found = sorted(each for each in (home / text).iterdir() if each.suffix.lower() in _PICTURES)
        return tuple(str(each) for each in found)
    return tuple(str(home / each.strip()) for each in text.split(";") if each.strip())


def _height(text: str, where: str) -> float | None:
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < 3000.0:
        raise TableError(f"{text!r} is no height in mm.", where=where, do="Write a number, such as 100.")
    return value


def table_text(rows: Iterable[ResultRow]) -> str:
    """Return the rows as CSV, with a header."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([each.name for each in fields(ResultRow)])
    writer.writerows(astuple(row) for row in rows)
    return out.getvalue()

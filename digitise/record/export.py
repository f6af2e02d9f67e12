"""All that is stored of one client as open files, one photograph in memory at a time."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from digitise.care.safety.answers_file import answers_to_toml
from digitise.errors import RecordError
from digitise.output.tables import csv_text
from digitise.record.engines.failures import translate_errors
from digitise.record.history.values import HistoryLine
from digitise.record.rows import utc_text
from digitise.record.store import Store
from digitise.record.values import Visit
from digitise.tape.rows import PlaceGirth, TapeRow
from digitise.unfinished import temporary_folder


def export_client(store: Store, client: str, folder: Path) -> tuple[Path, ...]:
    """Write every visit of a client into a folder of its own below ``folder``; return these folders.

    A visit's folder holds ``visit.json``, ``tape.csv``, ``photo-N.jpg``, ``correction-N.json``,
    ``field.json``, ``lens.json``, ``model.json`` and ``limb.npz``, as far as they are stored.  Beside these
    folders ``answers.toml`` holds the client's conditions and checks of the arteries, and ``history.csv``
    tells what was mended and removed, where anything was.

    Parameters
    ----------
    folder
        A new or empty folder.  It appears complete or not at all.

    Raises
    ------
    RecordError
        There is no such client, the folder holds something, or the disk is full.
    """
    lines = store.list_visits(client)
    with translate_errors(str(folder)):
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise RecordError("This place is not empty.", where=str(folder), do="Name a new folder.")
        folder.parent.mkdir(parents=True, exist_ok=True)
        with temporary_folder(folder.parent) as scratch:
            complete = scratch / "complete"
            complete.mkdir(mode=0o700)
            _export_safety(store, client, complete)
            if lines_of_history := store.history(client):
                _write(complete / "history.csv", history_csv(lines_of_history))
            names = [_export_visit(store, store.load_visit(line.id), complete) for line in lines]
            if folder.exists():
                folder.rmdir()
            complete.replace(folder)
    return tuple(folder / name for name in names)


def visit_facts(visit: Visit) -> dict[str, Any]:
    """Return a visit as a JSON object: what visit.json holds and what is shown."""
    clearance = visit.clearance
    return {
        "format": "record-visit/1",
        "id": visit.id,
        "client": visit.client,
        "limb": visit.limb,
        "side": visit.side,
        "taken": utc_text(visit.taken),
        "taken_local": visit.taken.isoformat(),
        "posture": visit.posture,
        "measured_by": visit.measured_by,
        "note": visit.note,
        "clearance": {
            "answer": clearance.answer,
            "by": clearance.by,
            "when": None if clearance.when is None else utc_text(clearance.when),
            "red_flags": dict(clearance.red_flags),
        },
        "tape": [
            {"height_mm": row.height_mm, "girth_mm": row.girth_mm, "point": row.point} for row in visit.tape
        ],
        "places": [
            {"place": row.place, "girth_mm": row.girth_mm, "height_mm": row.height_mm} for row in visit.places
        ],
        "photos": [
            {"file": f"photo-{photo.number}.jpg", "sha256": photo.sha256, "bytes": photo.bytes}
            for photo in visit.photos
        ],
        "corrections": sorted(visit.corrections),
        "field": visit.has_field,
        "lens": visit.lens_json is not None,
        "model": visit.has_model,
    }


def tape_csv(rows: tuple[TapeRow, ...], places: tuple[PlaceGirth, ...] = ()) -> str:
    """Return girths as the text of a tape.csv file."""
    further = {"point": any(row.point for row in rows), "place": bool(places)}
    names = ("height_mm", "girth_mm", *(name for name, used in further.items() if used))
    lines: list[dict[str, str]] = [
        {"height_mm": f"{row.height_mm:.10g}", "girth_mm": f"{row.girth_mm:.10g}", "point": row.point}
        for row in rows
    ]
    for taped in places:
        height = "" if taped.height_mm is None else f"{taped.height_mm:.10g}"
        lines.append({"height_mm": height, "girth_mm": f"{taped.girth_mm:.10g}", "place": taped.place})
    text = io.StringIO()
    writer = csv.DictWriter(text, names, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(lines)
    return text.getvalue()


def _export_safety(store: Store, client: str, folder: Path) -> None:
    known = store.safety(client)
    if known.conditions or known.arterial:
        # signs and clearance stand in each visit.json
        kept = replace(known, clearance="not-asked", clearance_by="", signs=())
        _write(folder / "answers.toml", answers_to_toml(kept))


def history_csv(lines: tuple[HistoryLine, ...]) -> str:
    """Return what was mended and removed as the text of a table."""
    rows = [(line.visit, utc_text(line.when), line.what, line.was, line.became, line.by) for line in lines]
    return csv_text(("visit", "done", "what", "was", "became", "by"), rows)


def _export_visit(store: Store, visit: Visit, folder: Path) -> str:
    name = f"{visit.taken:%Y-%m-%d}-{visit.side}-{visit.limb}-visit-{visit.id}"
    place = folder / name
    place.mkdir(mode=0o700)
    _write(place / "visit.json", json.dumps(visit_facts(visit), indent=1, ensure_ascii=False))
    if visit.tape or visit.places:
        _write(place / "tape.csv", tape_csv(visit.tape, visit.places))
    for photo in visit.photos:
        (place / f"photo-{photo.number}.jpg").write_bytes(store.photo(visit.id, photo.number))
    for number, text in visit.corrections.items():
        _write(place / f"correction-{number}.json", text)
    if visit.has_field:
        _write(place / "field.json", store.field(visit.id))
    plan = store.plan(visit.id)
    if plan is not None:
        _write(place / "plan.toml", plan)
    if visit.lens_json is not None:
        _write(place / "lens.json", visit.lens_json)
    if visit.has_model:
        model = store.model(visit.id)
        _write(place / "model.json", model.json)
        (place / "limb.npz").write_bytes(model.limb)
    return name


def _write(path: Path, text: str) -> None:
    # newlines as stored, on every system
    path.write_text(text, encoding="utf-8", newline="")

"""datapackage.json: what is in each file of a study, by the Data Package and Table Schema standards.

Version 2.0 of both (https://datapackage.org/standard/), with names and types that version 1 reads alike.
``unit`` is a field of ours, which the standard allows: a code of UCUM.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from digitise import __version__
from digitise.output.study.columns import Column, Link, Table
from digitise.output.study.writing import Format, file_name

PACKAGE_FILE = "datapackage.json"
NAME = "limb-study"
_PROFILES = "https://datapackage.org/profiles/2.0"
_MEDIA = {"csv": "text/csv", "parquet": "application/vnd.apache.parquet"}


def write_package(
    folder: Path, tables: Sequence[Table], form: Format, created: datetime, notes: Sequence[str]
) -> None:
    """Write datapackage.json beside the tables' files, which are complete.

    Raises
    ------
    OSError
        The files cannot be read or written.
    """
    package = {
        "$schema": f"{_PROFILES}/datapackage.json",
        "name": NAME,
        "title": "Limbs measured from photographs and tape, as codes and figures",
        "description": " ".join(notes),
        "version": "1",
        "created": f"{created:%Y-%m-%dT%H:%M:%SZ}",
        "contributors": [{"title": f"digitise {__version__}", "roles": ["software"]}],
        "resources": [_resource(folder, table, form) for table in tables],
    }
    text = json.dumps(package, indent=1, ensure_ascii=False) + "\n"
    (folder / PACKAGE_FILE).write_text(text, encoding="utf-8", newline="")


def _resource(folder: Path, table: Table, form: Format) -> dict[str, Any]:
    path = folder / file_name(table, form)
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return {
        "$schema": f"{_PROFILES}/dataresource.json",
        "name": table.name,
        "type": "table",
        "path": path.name,
        "description": table.description,
        "format": form,
        "mediatype": _MEDIA[form],
        **({"encoding": "utf-8"} if form == "csv" else {}),
        "bytes": path.stat().st_size,
        "hash": f"sha256:{digest}",
        "schema": {
            "$schema": f"{_PROFILES}/tableschema.json",
            "fields": [_field(column) for column in table.columns],
            "missingValues": [""],
            "primaryKey": list(table.key),
            **({"foreignKeys": [_foreign_key(link) for link in table.links]} if table.links else {}),
        },
    }


def _field(column: Column) -> dict[str, Any]:
    limits: dict[str, Any] = {"required": True} if column.required else {}
    if column.choices:
        limits["enum"] = list(column.choices)
    found: dict[str, Any] = {
        "name": column.name,
        "type": column.type,
        "description": column.description,
    }
    if column.unit:
        found["unit"] = column.unit
    return found | ({"constraints": limits} if limits else {})


def _foreign_key(link: Link) -> dict[str, Any]:
    return {
        "fields": list(link.columns),
        "reference": {"resource": link.table, "fields": list(link.theirs)},
    }

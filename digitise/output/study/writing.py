"""Tables written row by row, as CSV or Parquet, so that large ones need no memory."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from digitise.errors import OutputError
from digitise.output.study.columns import Column, Table
from digitise.output.tables import Cell, harmless

Format = Literal["csv", "parquet"]
Row = Sequence[Cell | bool | datetime]
Put = Callable[[Table, Iterable[Row]], None]
"""Adds rows to a table."""
_AT_ONCE = 20_000
"""Rows of a Parquet file that are in memory at a time."""


@contextmanager
def table_files(folder: Path, tables: Sequence[Table], form: Format) -> Iterator[Put]:
    """Give a function that adds rows to the tables' files, which are complete when the block ends.

    Raises
    ------
    OutputError
        What writes Parquet is not installed.
    OSError
        The disk is full.
    """
    opened: Mapping[Format, Callable[..., Any]] = {"csv": _csv_file, "parquet": _parquet_file}
    with ExitStack() as stack:
        files = {
            table.name: stack.enter_context(opened[form](folder / file_name(table, form), table))
            for table in tables
        }
        yield lambda table, rows: files[table.name](rows)


def file_name(table: Table, form: Format) -> str:
    """Return the name of a table's file."""
    return f"{table.name}.{form}"


@contextmanager
def _csv_file(path: Path, table: Table) -> Iterator[Callable[[Iterable[Row]], None]]:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([column.name for column in table.columns])
        yield lambda rows: writer.writerows([_plain(cell) for cell in row] for row in rows)


def _plain(cell: Cell | bool | datetime) -> Cell:
    if isinstance(cell, datetime):
        return f"{cell.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
    if isinstance(cell, bool):
        return "true" if cell else "false"
    return harmless(cell)


@contextmanager
def _parquet_file(path: Path, table: Table) -> Iterator[Callable[[Iterable[Row]], None]]:
    arrow, parquet = _arrow()
    kinds = {
        "string": arrow.string(),
        "integer": arrow.int64(),
        "number": arrow.float64(),
        "boolean": arrow.bool_(),
        "datetime": arrow.timestamp("s", tz="UTC"),
    }
    schema = arrow.schema(
        [arrow.field(c.name, kinds[c.type], metadata=_about(c)) for c in table.columns],
        metadata={"description": table.description},
    )
    waiting: list[Row] = []

    def flush() -> None:
        columns = zip(*waiting, strict=True) if waiting else ([] for _ in table.columns)
        arrays = [
            arrow.array(list(values), field.type) for values, field in zip(columns, schema, strict=True)
        ]
        writer.write_table(arrow.Table.from_arrays(arrays, schema=schema))
        waiting.clear()

    def add(rows: Iterable[Row]) -> None:
        waiting.extend(rows)
        if len(waiting) >= _AT_ONCE:
            flush()

    with parquet.ParquetWriter(path, schema) as writer:
        yield add
        flush()


def _about(column: Column) -> dict[str, str]:
    return {"description": column.description} | ({"unit": column.unit} if column.unit else {})


def _arrow() -> tuple[Any, Any]:
    try:
        import pyarrow  # noqa: PLC0415  # an optional library
        import pyarrow.parquet  # noqa: PLC0415
    except ModuleNotFoundError as error:
        raise OutputError(
            "What writes Parquet files is not installed.",
            do="Run: pip install 'limb-shape-digitiser[parquet]', or write CSV.",
        ) from error
    return pyarrow, pyarrow.parquet

"""Many visits at once: from a table of files, or from the records."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from digitise.cli import show
from digitise.cli.options import RecordsOption

if TYPE_CHECKING:
    from collections.abc import Callable

    from digitise.workflow.many.batch_table import ResultRow
    from digitise.workflow.remeasure import Remeasured

MOST_WORKERS = 64
WorkersOption = Annotated[
    int | None,
    typer.Option(
        "--workers",
        min=1,
        max=MOST_WORKERS,
        help="How many visits to measure at a time, each on one core; if left out, one per core.",
    ),
]
SchedulerOption = Annotated[
    str,
    typer.Option("--scheduler", help="Measure on the Dask cluster at this address, such as tcp://host:8786."),
]
OutOption = Annotated[Path, typer.Option("--out", help="Folder for the new models and the table of results.")]
_STOPPED = "Stopped. What is done is kept: the same command goes on from here."


def batch(
    table: Annotated[
        Path,
        typer.Argument(
            metavar="TABLE.csv",
            help="One visit a row: name,photos,field,tape,limb,side; if wanted from_mm,to_mm,lens.",
        ),
    ],
    out: OutOption,
    workers: WorkersOption = None,
    scheduler: SchedulerOption = "",
    as_json: show.JsonOption = False,
) -> None:
    """Measure many visits that a table names; what cannot be measured is a row with its reason."""
    from dataclasses import asdict

    from digitise.workflow.many.batch import RESULTS, run_batch
    from digitise.workflow.many.batch_table import read_table

    count = _workers(workers, scheduler)
    jobs = read_table(table, out)
    try:
        rows = run_batch(jobs, out, workers=count, scheduler=scheduler, told=_teller(len(jobs)))
    except KeyboardInterrupt:
        show.note(_STOPPED)
        raise typer.Exit(130) from None
    counts = {name: sum(row.status == name for row in rows) for name in ("measured", "refused", "failed")}
    words = [
        f"{counts['measured']} of {len(rows)} visits measured, {counts['refused']} refused, "
        f"{counts['failed']} without a result: {out / RESULTS}",
        *(f"  {row.name}: {row.reason}" for row in rows if row.reason),
    ]
    data = {**counts, "visits": [asdict(row) for row in rows]}
    show.result(as_json, data, lambda console: console.print(show.lines(words)))


def remeasure(
    out: OutOption,
    client: Annotated[
        str | None, typer.Option("--client", help="Only this client's visits, by the client's code.")
    ] = None,
    accept: Annotated[
        bool,
        typer.Option("--accept", help="Keep the new models in the records, in the place of the old ones."),
    ] = False,
    workers: WorkersOption = None,
    scheduler: SchedulerOption = "",
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Measure visits of the records again, beside the old models; keep them only when told to."""
    from digitise.record.store import Store
    from digitise.workflow import remeasure as again

    count = _workers(workers, scheduler)
    with Store(records, create=False) as store:
        try:
            found = again.remeasure(
                store, out, client=client, workers=count, scheduler=scheduler, told=_teller(None)
            )
        except KeyboardInterrupt:
            show.note(_STOPPED)
            raise typer.Exit(130) from None
        kept = again.accept(store, out, found) if accept else 0
    rows = again.difference_rows(found)
    words = [_line(each) for each in found] or ["No visit with photographs and sheets is in the records."]
    words.append(f"{kept} new models are in the records." if accept else "The records are as they were.")
    data = {"visits": rows, "accepted": kept}
    show.result(as_json, data, lambda console: console.print(show.lines(words)))


def _workers(asked: int | None, scheduler: str) -> int:
    """Return how many workers on this machine; a cluster has its own, whose number is not ours to say."""
    from digitise.cores import cores

    if scheduler and asked is not None:
        raise typer.BadParameter(
            "give one of the two: a cluster has workers of its own.", param_hint="--workers or --scheduler"
        )
    return min(cores(), MOST_WORKERS) if asked is None else asked


def _line(each: Remeasured) -> str:
    which = f"Visit {each.visit}, client {each.client}, {each.side} {each.limb}"
    if each.after_ml is None:
        return f"{which}: not measured. {each.result.reason}"
    if each.before_ml is None:
        return f"{which}: {each.after_ml:.0f} mL, no model before."
    text = (
        f"{which}: {each.before_ml:.0f} mL before, {each.after_ml:.0f} mL now "
        f"({each.difference_percent:+.2f} %)"
    )
    if each.change_before_ml is None or each.change_after_ml is None:
        return f"{text}."
    return (
        f"{text}; since the visit before {each.change_before_ml:+.0f} mL, now {each.change_after_ml:+.0f} mL."
    )


def _teller(count: int | None) -> Callable[[ResultRow], None]:
    """Return what says on stderr how far it is, and how long the rest takes."""
    from time import monotonic

    start, done = monotonic(), 0

    def tell(row: ResultRow) -> None:
        nonlocal done
        done += 1
        left = (
            ""
            if count is None
            else f", {(monotonic() - start) / done * (count - done) / 60:.0f} minutes left"
        )
        show.note(f"{done}{'' if count is None else f' of {count}'}: {row.name} {row.status}{left}")

    return tell

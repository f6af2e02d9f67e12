"""Commands about records: visits kept by a client's code."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from digitise.anatomy import LimbKind, Side
from digitise.cli import safety, show
from digitise.cli.options import RecordsOption
from digitise.errors import RecordError
from digitise.record.values import Answer, Clearance, NewVisit, Posture, Visit, VisitId

if TYPE_CHECKING:
    from rich.console import Console

    from digitise.record.store import Store

app = typer.Typer(
    help="Keep visits by a client's code, never by a name.", no_args_is_help=True, rich_markup_mode=None
)
app.command("safety")(safety.safety)

ClientOption = Annotated[
    str, typer.Option("--client", help="The client's code, such as K-017; never a name.")
]


@app.command("add")
def add(
    client: ClientOption,
    limb: Annotated[LimbKind, typer.Option("--limb", help="Which limb.")],
    side: Annotated[Side, typer.Option("--side", help="Which side.")],
    photos: Annotated[
        list[Path] | None, typer.Option("--photo", help="A photograph of the visit; give it for each.")
    ] = None,
    tape: Annotated[Path | None, typer.Option("--tape", help="The girths: a tape.csv.")] = None,
    field: Annotated[
        Path | None, typer.Option("--field", help="The field.json of the sheets, to measure again one day.")
    ] = None,
    lens: Annotated[
        Path | None, typer.Option("--lens", help="The lens profile that the model was made with.")
    ] = None,
    model: Annotated[
        Path | None, typer.Option("--model", help="Folder that digitise model wrote for this visit.")
    ] = None,
    when: Annotated[
        str | None, typer.Option("--when", help="When it was taken, such as 2026-03-02T09:15; else now.")
    ] = None,
    posture: Annotated[Posture, typer.Option("--posture", help="How the client was placed.")] = "",
    measured_by: Annotated[str, typer.Option("--measured-by", help="Initials or code of who measured.")] = "",
    clearance: Annotated[
        Answer, typer.Option("--clearance", help="Has a licensed practitioner cleared compression?")
    ] = "not-asked",
    clearance_by: Annotated[
        str, typer.Option("--clearance-by", help="Initials or code of who answered.")
    ] = "",
    red_flags: Annotated[
        list[str] | None,
        typer.Option(
            "--red-flag",
            help="A warning sign asked about, such as infection=no; give each, others=no for the rest.",
        ),
    ] = None,
    note: Annotated[str, typer.Option("--note", help="A remark; no names.")] = "",
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Store a visit, whole or not at all; photographs are stripped of place, time and serial numbers."""
    from digitise.record.check import read_model_files, read_text
    from digitise.record.export import visit_facts
    from digitise.record.store import Store
    from digitise.tape.rows import TapeTable
    from digitise.tape.table import read_tape_table

    table = read_tape_table(tape, at_least=0) if tape else TapeTable()
    visit = NewVisit(
        client=client,
        limb=limb,
        side=side,
        taken=_time(when),
        tape=table.rows,
        places=table.places,
        photos=tuple(photos or ()),
        field_json=read_text(field) if field else None,
        lens_json=read_text(lens) if lens else None,
        model=read_model_files(model) if model else None,
        posture=posture,
        measured_by=measured_by,
        note=note,
        clearance=Clearance(
            answer=clearance,
            by=clearance_by,
            when=None if clearance == "not-asked" else _now(),
            red_flags=safety.red_flags(red_flags or ()),
        ),
    )
    with Store(records) as store:
        stored = store.load_visit(store.add_visit(visit))
        lines = _safety_lines(store, stored)

    def human(console: Console) -> None:
        console.print(show.lines((f"Stored visit {stored.id} of client {stored.client}.", *lines)))

    show.result(as_json, visit_facts(stored), human)


@app.command("list")
def list_records(
    client: Annotated[str | None, typer.Option("--client", help="List this client's visits.")] = None,
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """List the clients, or the visits of one."""
    from digitise.record.store import Store
    from digitise.workflow.safety import safety_of_limbs

    top: list[str] = []
    with Store(records, create=False) as store:
        if client is None:
            clients = store.list_clients()
            titles: tuple[str, ...] = ("client", "visits", "first", "last")
            rows: list[tuple[object, ...]] = [
                (one.code, one.visits, _day(one.first), _day(one.last)) for one in clients
            ]
            data: dict[str, object] = {"clients": [_plain(asdict(one)) for one in clients]}
        else:
            lines = store.list_visits(client)
            titles = ("visit", "limb", "taken", "photographs", "model")
            rows = [
                (line.id, f"{line.side} {line.limb}", _minute(line.taken), line.photos, _word(line.has_model))
                for line in lines
            ]
            found = safety_of_limbs(store, client)
            top = [f"{one.side} {one.limb}: {safety.short}" for one, safety in found if safety.short]
            data = {"visits": [_plain(asdict(line)) for line in lines], "safety": top}

    def human(console: Console) -> None:
        for line in top:
            console.print(line)
        console.print(show.table(titles, rows))

    show.result(as_json, data, human)


@app.command("show")
def show_visit(
    visit: Annotated[int, typer.Argument(metavar="VISIT", help="Number of the visit, as record list tells.")],
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Show what is stored of one visit."""
    from digitise.record.export import visit_facts
    from digitise.record.store import Store

    with Store(records, create=False) as store:
        stored = store.load_visit(VisitId(visit))
        lines = _safety_lines(store, stored)
    show.result(as_json, visit_facts(stored), lambda console: _print_visit(console, stored, lines))


@app.command("export")
def export(
    client: ClientOption,
    out: Annotated[Path, typer.Option("--out", help="A new folder for the files.")],
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Write all that is stored of a client as open files."""
    from digitise.record.export import export_client
    from digitise.record.store import Store

    with Store(records, create=False) as store:
        folders = export_client(store, client, out)
    data = {"out": str(out), "folders": [str(folder) for folder in folders]}
    show.result(
        as_json,
        data,
        lambda console: console.print(f"Wrote a folder for each visit ({len(folders)}) into {out}."),
    )


@app.command("backup")
def backup(
    out: Annotated[Path, typer.Option("--out", help="A new file for the backup, such as records.zip.")],
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Write all records into one file, and read it back to be sure of it."""
    from digitise.record.store import Store

    with Store(records, create=False) as store:
        store.backup(out)
    data = {"backup": str(out), "bytes": out.stat().st_size}
    show.result(
        as_json,
        data,
        lambda console: console.print(f"Wrote {out}. It holds health data: keep it locked away."),
    )


@app.command("restore")
def restore(
    backup_file: Annotated[Path, typer.Argument(metavar="BACKUP", help="The file that record backup wrote.")],
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Make records from a backup, in a place that has none."""
    from digitise.record.backup import restore as restore_backup

    rows = restore_backup(backup_file, records)

    def human(console: Console) -> None:
        console.print(f"Restored visits {rows['visits']}, clients {rows['clients']}.")
        console.print("Clients that were forgotten after this backup are back: forget them again.")

    show.result(as_json, {"rows": rows}, human)


@app.command("forget")
def forget(
    client: ClientOption,
    yes: Annotated[bool, typer.Option("--yes", help="Yes, remove this client for good.")] = False,
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Remove a client with all visits and photographs for good, and prove that nothing is left."""
    from digitise.record.store import Store

    if not yes:
        raise typer.BadParameter("this cannot be undone; add --yes to remove the client.", param_hint="--yes")
    with Store(records, create=False) as store:
        proof = store.forget(client)

    def human(console: Console) -> None:
        console.print(
            f"Removed client {proof.client} (visits {proof.visits}, photographs {proof.photographs}, "
            f"rows in all {sum(proof.rows.values())}). Counted again: nothing is left, the space is wiped."
        )
        if proof.drafts:
            console.print(f"Unsaved visits of the page were removed too: {proof.drafts}.")
        console.print("Backups and exports made earlier are not reached: remove them yourself.")

    show.result(as_json, {**asdict(proof), "left": 0}, human)


def _now() -> datetime:
    return datetime.now().astimezone()


def _time(text: str | None) -> datetime:
    if text is None:
        return _now()
    try:
        time = datetime.fromisoformat(text)
        return time if time.tzinfo else time.astimezone()  # without a zone it is this computer's
    except (ValueError, OverflowError) as error:
        raise RecordError(
            "This is no time.", where="--when", do="Write it like 2026-03-02T09:15 or 2026-03-02T09:15+01:00."
        ) from error


def _safety_lines(store: Store, visit: Visit) -> tuple[str, ...]:
    from digitise.workflow.safety import assessed

    return assessed(store.safety(visit.client, visit.id), visit.limb, visit.side).lines


def _print_visit(console: Console, visit: Visit, safety: tuple[str, ...]) -> None:
    title = f"Visit {visit.id} of client {visit.client}: {visit.side} {visit.limb}, {_minute(visit.taken)}"
    console.print(show.lines((title, *safety)))
    for name, text in (
        ("posture", visit.posture),
        ("measured by", visit.measured_by),
        ("clearance", " ".join(filter(None, (visit.clearance.answer, visit.clearance.by)))),
        ("model", _word(visit.has_model)),
        ("note", visit.note),
    ):
        if text:
            console.print(f"{name}: {text}")
    if visit.tape:
        girths = [(f"{row.height_mm:g}", f"{row.girth_mm:g}", row.point) for row in visit.tape]
        console.print(show.table(("height mm", "girth mm", "point"), girths))
    if visit.places:
        taped = [(row.place, f"{row.girth_mm:g}") for row in visit.places]
        console.print(show.table(("on foot or hand", "girth mm"), taped))
    if visit.photos:
        photos = [(photo.number, f"{photo.bytes / 1e6:.1f} MB", photo.sha256[:16]) for photo in visit.photos]
        console.print(show.table(("photograph", "size", "sha256"), photos))


def _plain(fields: Mapping[str, object]) -> dict[str, object]:
    return {
        name: value.isoformat() if isinstance(value, datetime) else value for name, value in fields.items()
    }


def _word(there: bool) -> str:
    return "yes" if there else "no"


def _day(time: datetime) -> str:
    return f"{time.astimezone():%Y-%m-%d}"


def _minute(time: datetime) -> str:
    return f"{time:%Y-%m-%d %H:%M}"

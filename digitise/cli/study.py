"""What all records tell together: tables for statistics, and how well measurements agree."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from digitise.anatomy import LimbKind, Side
from digitise.cli import show
from digitise.cli.options import RecordsOption


def study(
    out: Annotated[Path, typer.Option("--out", help="Folder for the tables; an earlier study is replaced.")],
    form: Annotated[
        Literal["csv", "parquet"], typer.Option("--format", help="Form of the tables: csv or parquet.")
    ] = "csv",
    sem: Annotated[
        float | None,
        typer.Option(
            "--sem",
            callback=show.repeat_error,
            help="Repeat error in percent, as digitise agreement found it.",
        ),
    ] = None,
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Write all records as tables for statistics, codes and figures only, with a cohort chart."""
    from digitise.output.study.files import study_files
    from digitise.record.store import Store
    from digitise.workflow.cohort import write_study

    with Store(records, create=False) as store:
        found = write_study(store, out, form=form, sem_percent=sem)
    files = list(study_files(form, chart=found.followed > 0))
    words = [
        f"{out}: {found.visits} visits of {found.limbs} limbs, {found.measured} of them measured; "
        f"{found.followed} limbs have changes.",
        f"Files: {', '.join(files)}. Codes and times stand for people: keep them as safe as the records.",
        *(
            f"visit {number}: Its model cannot be read and is left out; measure it again."
            for number in found.unreadable
        ),
    ]
    data = {
        "visits": found.visits,
        "measured": found.measured,
        "limbs": found.limbs,
        "followed": found.followed,
        "unreadable": list(found.unreadable),
        "files": files,
    }
    show.result(as_json, data, lambda console: console.print(show.lines(words)))


def agreement(
    client: Annotated[
        str | None, typer.Option("--client", help="Only this client's visits, by the client's code.")
    ] = None,
    limb: Annotated[
        LimbKind | None, typer.Option("--limb", help="Only legs or only arms, where there are both.")
    ] = None,
    side: Annotated[Side | None, typer.Option("--side", help="Only this side.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the files; replaced when it holds such a study.")
    ] = None,
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Tell from the records how well measurements of one limb on one day agree."""
    from digitise.cli.course import print_repeats
    from digitise.output.course.repeat_form import repeat_form
    from digitise.output.plain_text import section
    from digitise.record.check import client_code
    from digitise.record.store import Store
    from digitise.workflow.cohort import stored_agreement

    code = None if client is None else client_code(client)
    with Store(records, create=False) as store:
        found = stored_agreement(store, client=code, limb=limb, side=side)
    left_out = section("Left out", found.left_out)
    more = f"\n{left_out}\n" if left_out else ""
    print_repeats(repeat_form(found.groups, found.found), out, as_json, more)

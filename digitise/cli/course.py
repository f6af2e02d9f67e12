"""The course of a limb over its visits, and how well repeated measurements agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from digitise.anatomy import LimbKind, Side
from digitise.cli import show
from digitise.cli.options import (
    NONE,
    BilateralOption,
    RecordsOption,
    ReferenceOption,
    WhenOption,
    visit_time,
)

if TYPE_CHECKING:
    from digitise.output.course.repeat_form import RepeatForm
    from digitise.workflow.visits.measured import LimbSeries, VisitMeasurement


def course(
    models: Annotated[
        list[Path] | None,
        typer.Argument(metavar="DIR", help="Folders that digitise model wrote, one for each visit."),
    ] = None,
    when: WhenOption = None,
    reference: ReferenceOption = None,
    client: Annotated[
        str | None, typer.Option("--client", help="Follow this client's visits in the records instead.")
    ] = None,
    limb: Annotated[
        LimbKind | None, typer.Option("--limb", help="Which limb, with --client, where there are several.")
    ] = None,
    side: Annotated[
        Side | None, typer.Option("--side", help="Which side, with --client, where there are both.")
    ] = None,
    bilateral: BilateralOption = False,
    repeat: Annotated[
        bool, typer.Option("--repeat", help="Study how well repeated measurements of one day agree instead.")
    ] = False,
    sem: Annotated[
        float | None,
        typer.Option(
            "--sem", callback=show.repeat_error, help="Repeat error in percent, as --repeat found it."
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the files; replaced when it holds a course.")
    ] = None,
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Follow a limb over its visits: does it still shrink, has it levelled off, or does it grow."""
    from digitise.workflow.visits.sources import one_limb, with_others

    asked = _Asked(tuple(models or ()), tuple(when or ()), tuple(reference or ()), client, records)
    asked.check(bool(limb or side), repeat)
    visits = asked.visits()
    if repeat:
        chosen = [v for v in visits if limb in (None, v.model.limb) and side in (None, v.model.side)]
        _print_study(chosen, out, as_json)
        return
    followed = with_others(visits, asked.others()) if client is None else one_limb(visits, limb, side)
    _print_course(followed, asked.safety(followed), bilateral, sem, client or "", out, as_json)


@dataclass(frozen=True)
class _Asked:
    """Where the visits are to come from, as the command line has it."""

    folders: tuple[Path, ...]
    when: tuple[str, ...]
    reference: tuple[str, ...]
    client: str | None
    records: str | None

    def check(self, limb_given: bool, repeat: bool) -> None:
        """Refuse combinations that mean nothing."""
        if bool(self.folders) == (self.client is not None):
            raise typer.BadParameter(
                "give folders or a client, one of the two.", param_hint="DIR or --client"
            )
        if self.client is not None and (self.when or self.reference):
            raise typer.BadParameter(
                "the records know it; this goes with folders.", param_hint="--when or --reference"
            )
        if self.folders and limb_given:
            raise typer.BadParameter(
                "folders tell it; this goes with --client.", param_hint="--limb or --side"
            )
        for name, given in (("--when", self.when), ("--reference", self.reference)):
            if given and len(given) != len(self.folders):
                raise typer.BadParameter(
                    f"{len(given)} given for {len(self.folders)} folder(s): give one for each, in order.",
                    param_hint=name,
                )
        if repeat and self.folders and not self.when:
            raise typer.BadParameter(
                "needed with --repeat: measurements of one day count as repeats.", param_hint="--when"
            )

    def visits(self) -> tuple[VisitMeasurement, ...]:
        """Read the visits."""
        from digitise.record.store import Store
        from digitise.workflow.visits.sources import from_folders, from_records

        if self.client is None:
            return from_folders(self.folders, [visit_time(word) for word in self.when])
        with Store(self.records, create=False) as store:
            return from_records(store, self.client)

    def safety(self, followed: LimbSeries) -> tuple[str, ...]:
        """Return what is open about the client; of folders nothing is known."""
        from digitise.record.store import Store
        from digitise.workflow.safety import safety_of_limbs

        if self.client is None:
            return ()
        which = (followed.limb, followed.side)
        with Store(self.records, create=False) as store:
            found = safety_of_limbs(store, self.client)
        return next(safety.lines for line, safety in found if (line.limb, line.side) == which)

    def others(self) -> tuple[VisitMeasurement | None, ...]:
        """Read the other limbs."""
        from digitise.workflow.visits.sources import from_folders

        return tuple(None if word == NONE else from_folders([Path(word)])[0] for word in self.reference)


def _print_course(
    followed: LimbSeries,
    safety: tuple[str, ...],
    bilateral: bool,
    sem: float | None,
    client: str,
    out: Path | None,
    as_json: bool,
) -> None:
    from digitise.output.course.files import course_text, write_course
    from digitise.output.course.form import course_form
    from digitise.workflow.course import follow

    found = follow(followed, bilateral=bilateral, sem_percent=sem)
    summary = course_form(
        found, followed.limb, followed.side, remarks=followed.remarks, safety=safety, client=client
    )
    if out is not None:
        write_course(out, found, summary)
    text = course_text(found, summary, out)
    show.result(as_json, summary.model_dump(mode="json"), lambda console: console.print(text))


def _print_study(visits: Sequence[VisitMeasurement], out: Path | None, as_json: bool) -> None:
    from digitise.output.course.repeat_form import repeat_form
    from digitise.workflow.course import study

    print_repeats(repeat_form(*study(visits)), out, as_json)


def print_repeats(summary: RepeatForm, out: Path | None, as_json: bool, more: str = "") -> None:
    """Write a study of repeats where a folder is named, and print it with ``more`` behind."""
    from digitise.output.course.repeat_files import repeat_text, write_repeat

    if out is not None:
        write_repeat(out, summary)
    text = repeat_text(summary, out) + more
    show.result(as_json, summary.model_dump(mode="json"), lambda console: console.print(text))

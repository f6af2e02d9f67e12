"""How commands speak: results on stdout, progress and errors on stderr."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn, TypeVar

import typer

from digitise.care.course.repeat_range import LARGEST_SEM, SMALLEST_SEM
from digitise.errors import DigitiseError, OutputError
from digitise.words import shown

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

UNUSABLE_INPUT = 3  # exit code

T = TypeVar("T")

JsonOption = Annotated[
    bool, typer.Option("--json", help="Print one JSON object on stdout instead of text for people.")
]


def result(as_json: bool, data: Mapping[str, Any], human: Callable[[Console], None]) -> None:
    """Print a command's result once: ``data`` as one JSON object, or what ``human`` draws."""
    from rich.console import Console

    if as_json:
        print(json.dumps(data, allow_nan=False))
    else:
        console = Console(markup=False, highlight=False, soft_wrap=True)
        drawn = console.print

        def spoken(*parts: Any, **options: Any) -> None:
            # several lines are in the reader's language already
            drawn(
                *(shown(part) if isinstance(part, str) and "\n" not in part else part for part in parts),
                **options,
            )

        console.print = spoken  # type: ignore[method-assign]
        human(console)


def lines(words: Iterable[str]) -> str:
    """Return sentences as lines in the reader's language."""
    return "\n".join(map(shown, words))


def table(titles: Iterable[str], rows: Iterable[Iterable[object]]) -> Table:
    """Return a table for the terminal, its cells as they are."""
    from rich.table import Table
    from rich.text import Text

    found = Table(*map(shown, titles))
    for row in rows:
        found.add_row(*(Text(shown(str(cell))) for cell in row))
    return found


def error(problem: DigitiseError, as_json: bool) -> None:
    """Print an error in red on stderr, and as JSON on stdout when JSON was asked for."""
    from rich.console import Console
    from rich.text import Text

    said = DigitiseError(shown(problem.what), where=shown(problem.where), do=shown(problem.do))
    Console(stderr=True, soft_wrap=True).print(Text(str(said), style="red"))
    if as_json:
        print(json.dumps({"error": {"where": problem.where, "what": problem.what, "do": problem.do}}))


def note(words: str) -> None:
    """Print a sentence for whoever sits at the terminal, on stderr."""
    from rich.console import Console
    from rich.text import Text

    Console(stderr=True, soft_wrap=True, markup=False, highlight=False).print(Text(shown(words)))


def refusal(words: str) -> NoReturn:
    """End with the exit code of unusable input after a result that tells the reasons."""
    from rich.console import Console
    from rich.text import Text

    Console(stderr=True, soft_wrap=True).print(Text(shown(words), style="red"))
    raise typer.Exit(UNUSABLE_INPUT)


def wrong_use() -> None:
    """Say on stdout, as JSON, that the command was not understood; the reason is on stderr already."""
    what = "The command was not understood; the reason is on stderr."
    print(
        json.dumps(
            {"error": {"where": "command line", "what": what, "do": "Add --help to see what it takes."}}
        )
    )


def progress(items: Iterable[T], label: str, count: int) -> Iterator[T]:
    """Yield the items while a bar on stderr counts them; no bar where nobody watches."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    if not console.is_terminal:
        yield from items
        return
    with Progress(console=console, transient=True) as bar:
        task = bar.add_task(shown(label), total=count)
        for item in items:
            yield item
            bar.advance(task)


def _silent(_step: str) -> None:
    pass


@contextmanager
def steps() -> Iterator[Callable[[str], None]]:
    """Give a function that shows what is being done, on stderr; silent where nobody watches."""
    from rich.console import Console
    from rich.text import Text

    console = Console(stderr=True)
    if not console.is_terminal:
        yield _silent
        return
    with console.status(shown("Starting")) as status:
        yield lambda step: status.update(Text(shown(step)))


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn a failure to write ``path`` into an error for people.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    try:
        yield
    except OSError as failure:
        reason = failure.strerror or failure
        raise OutputError(
            f"The file cannot be written ({reason}).", where=str(path), do="Choose another place."
        ) from failure


def finite(value: float | None) -> float | None:
    """Return a number given as an option.

    Raises
    ------
    typer.BadParameter
        It is nan or infinite.
    """
    if value is not None and not math.isfinite(value):
        raise typer.BadParameter(f"{value} is no number to measure with.")
    return value


def repeat_error(value: float | None) -> float | None:
    """Return a repeat error in percent.

    Raises
    ------
    typer.BadParameter
        It is not between 0 and what a repeated measurement could differ by.
    """
    if value is not None and value < SMALLEST_SEM:
        raise typer.BadParameter(
            f"give a percentage from {SMALLEST_SEM:g} to {LARGEST_SEM:g}, such as 1.4: no limb is measured "
            "more alike than that."
        )
    if value is not None and not value <= LARGEST_SEM:
        raise typer.BadParameter(
            f"give a percentage from {SMALLEST_SEM:g} to {LARGEST_SEM:g}, such as 1.4: with a larger error "
            "no change could be told."
        )
    return value


def forgiving_streams() -> None:
    """Let file names with characters the terminal does not know be printed as escapes."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")

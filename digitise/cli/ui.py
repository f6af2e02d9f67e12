"""The command that opens the page on this machine."""

from __future__ import annotations

import importlib.util
import os
import re
import secrets
import signal
import socket
import subprocess
import sys
from pathlib import Path
from typing import Annotated

import typer

from digitise.cli import show
from digitise.cli.options import RecordsOption
from digitise.errors import OutputError

PORT = 8765
_HERE = "127.0.0.1"
_TRIES = 20
_LEAST_PASSPHRASE = 8
_ORIGIN = re.compile(r"https?://[A-Za-z0-9.-]+(:[0-9]{1,5})?/?")
_ROOT = Path(__file__).parents[2]


def ui(
    port: Annotated[
        int, typer.Option("--port", min=1, max=65535, help="Port; the next free one when it is taken.")
    ] = PORT,
    address: Annotated[
        str,
        typer.Option(
            "--address", help="Address to listen on; any other than this machine's needs a passphrase."
        ),
    ] = _HERE,
    passphrase_file: Annotated[
        Path | None,
        typer.Option("--passphrase-file", help="A file whose first line is the passphrase to ask for."),
    ] = None,
    proxy: Annotated[
        str,
        typer.Option("--proxy", help="Address under which a proxy of yours shows it: https://limbs.example"),
    ] = "",
    pair: Annotated[
        bool | None,
        typer.Option(
            "--pair/--no-pair",
            help="Show at once the code with which a phone sends photographs; --no-pair does not offer it.",
        ),
    ] = None,
    watch: Annotated[
        Path | None,
        typer.Option("--watch", help="A folder: pictures that appear in it stand in the open visit."),
    ] = None,
    records: RecordsOption = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
    as_json: show.JsonOption = False,
) -> None:
    """Open the page in the browser; it runs on this machine only, until Ctrl-C."""
    if (address != _HERE or proxy) and passphrase_file is None:
        raise typer.BadParameter(
            "others could open the page: give --passphrase-file too.", param_hint="--address, --proxy"
        )
    if proxy and not _ORIGIN.fullmatch(proxy):
        raise typer.BadParameter("write it like https://limbs.example, no more.", param_hint="--proxy")
    passphrase = _passphrase(passphrase_file) if passphrase_file else ""
    free = _free_port(address, port)
    url = f"http://{address}:{free}/"
    words = [sys.executable, "-m", "ui.serve", "--port", str(free), "--address", address, "--with-command"]
    words += ["--proxy", proxy] if proxy else []
    server = subprocess.Popen(
        [*words, "--browser"] if browser else words,
        env={**_environment(records, passphrase), **_ways_in(pair, watch)},
        stdin=subprocess.PIPE,  # closed when this command ends, even when it is killed: then the server ends
        stdout=subprocess.DEVNULL if as_json else sys.stderr,
    )
    show.result(as_json, {"url": url}, lambda console: console.print(f"The page: {url} (end it with Ctrl-C)"))
    sys.stdout.flush()
    # whoever ends this command ends the server with it
    signal.signal(signal.SIGTERM, lambda *_: server.terminate())
    try:
        code = server.wait()
    finally:
        server.terminate()
    raise typer.Exit(max(code, 0))


def _passphrase(file: Path) -> str:
    try:
        words = file.read_text(encoding="utf-8").split("\n")[0].strip()
    except (OSError, UnicodeDecodeError, ValueError) as error:
        raise OutputError(
            "The passphrase cannot be read.", where=str(file), do="Name a text file that holds it."
        ) from error
    if len(words) < _LEAST_PASSPHRASE:
        raise OutputError(
            f"The passphrase is shorter than {_LEAST_PASSPHRASE} signs.",
            where=str(file),
            do=f"Take a longer one, such as {secrets.token_urlsafe(9)}.",
        )
    return words


def _free_port(address: str, wanted: int) -> int:
    for port in range(wanted, wanted + _TRIES):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((address, port))
            except (OSError, OverflowError):
                continue
            return port
    raise OutputError(
        "No port is free there.", where=f"{address}:{wanted}", do="Give another one with --port or --address."
    )


def _environment(records: str | None, passphrase: str) -> dict[str, str]:
    """Return the server's environment; its libraries work on one thread each, as visits share the cores."""
    if importlib.util.find_spec("streamlit") is None:
        raise OutputError("The page's library is missing.", do="Install the program again.")
    own = {"DIGITISE_UI_PASSPHRASE": passphrase, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    # else the system's library keeps free memory apart for each of many threads, and what pictures took among
    # what stays
    own |= {"MALLOC_ARENA_MAX": "2", "MALLOC_MMAP_THRESHOLD_": str(4 * 2**20)}
    if records:
        own["DIGITISE_RECORDS"] = records if "://" in records else str(Path(records).expanduser().absolute())
    path = os.pathsep.join(filter(None, (str(_ROOT), os.environ.get("PYTHONPATH"))))
    return {**os.environ, **own, "PYTHONPATH": path}


def _ways_in(pair: bool | None, watch: Path | None) -> dict[str, str]:
    """Return what the server is told of the ways from the phone."""
    told = {} if pair is None else {"DIGITISE_UI_PAIR": str(int(pair))}
    if watch is None:
        return told
    folder = watch.expanduser().absolute()
    if not folder.is_dir():
        raise OutputError(
            "There is no such folder.",
            where=str(watch),
            do="Name the folder that the phone's photographs are copied to.",
        )
    return {**told, "DIGITISE_UI_WATCH": str(folder)}

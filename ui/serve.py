"""Start the server of the page: ``python -m ui.serve --port 8765``."""

from __future__ import annotations

import argparse
import importlib
import sys
import threading
import time
import tomllib
import urllib.error
import urllib.request
import webbrowser
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
# what the pages need before they can draw: loaded here, so that the first visitor does not wait for it
_SLOW = ("plotly.graph_objects", "digitise.workflow", "digitise.record.store", "ui.care")
_PATIENCE_S = 30.0


def main() -> None:
    """Serve until interrupted."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--address", default="127.0.0.1")
    parser.add_argument("--browser", action="store_true")
    asked = parser.parse_args()
    for name in _SLOW:
        importlib.import_module(name)
    if asked.browser:
        threading.Thread(target=_open_browser, args=(asked.port,), daemon=True).start()
    options = [*config_flags(), f"--server.port={asked.port}", f"--server.address={asked.address}"]
    sys.argv = ["streamlit", "run", str(HERE / "app.py"), *options]
    from streamlit.web.cli import main as serve  # noqa: PLC0415  # reads sys.argv

    serve()


def config_flags() -> list[str]:
    """Return config.toml as options of the server."""
    with (HERE / "config.toml").open("rb") as file:
        settings = tomllib.load(file)
    return [f"--{name}={_plain(value)}" for name, value in _flat(settings, "")]


def _flat(settings: Mapping[str, Any], prefix: str) -> Iterator[tuple[str, Any]]:
    for name, value in settings.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}", value


def _plain(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _open_browser(port: int) -> None:
    end = time.monotonic() + _PATIENCE_S
    while time.monotonic() < end:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=1):
                break
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    webbrowser.open(f"http://127.0.0.1:{port}/")


if __name__ == "__main__":
    main()

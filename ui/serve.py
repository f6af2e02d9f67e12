"""Start the server of the page: ``python -m ui.serve --port 8765``."""

from __future__ import annotations

import argparse
import importlib
import logging
import os
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

from starlette.middleware import Middleware
from streamlit.starlette import App

from ui.first import StyleFirst
from ui.origin import OwnPagesOnly

HERE = Path(__file__).parent
# what the first page needs before it can draw: loaded here, so that the first visitor does not wait for it
_SLOW = ("ui.work", "ui.components.result")
_PATIENCE_S = 30.0


def main() -> None:
    """Serve until interrupted, or until the command that started this is gone."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--address", default="127.0.0.1")
    parser.add_argument("--browser", action="store_true")
    parser.add_argument("--with-command", action="store_true")
    parser.add_argument("--proxy", default="")
    asked = parser.parse_args()
    if asked.with_command:
        threading.Thread(target=_end_with_command, daemon=True).start()
    for name in _SLOW:
        importlib.import_module(name)
    if asked.browser:
        threading.Thread(target=_open_browser, args=(asked.port,), daemon=True).start()
    keep_upload_answers()
    tell_pairing()
    sys.argv = [str(HERE / "app.py")]
    page(asked.proxy).run(config={**settings(), "server.port": asked.port, "server.address": asked.address})


def page(proxy: str) -> App:
    """Return the server of the page, which answers nobody but its own pages."""
    return App(HERE / "app.py", middleware=[Middleware(OwnPagesOnly, proxy=proxy), Middleware(StyleFirst)])


def keep_upload_answers() -> None:
    """Let the answer that a browser waits for before it sends files outlive the start of a run.

    Before sending, the browser asks where to.  The library (seen in 1.67) drops the answer with all else that
    was not sent yet when the page is drawn anew just then, as happens on a busy computer; the browser waits
    for ever, and the photographs that were chosen are lost without a word.
    """
    from streamlit.runtime.forward_msg_queue import ForwardMsgQueue  # noqa: PLC0415  # slow to load

    clear = ForwardMsgQueue.clear

    def clear_but_answers(
        queue: ForwardMsgQueue,
        retain_lifecycle_msgs: bool = False,
        fragment_ids_this_run: list[str] | None = None,
    ) -> None:
        waiting = list(queue._queue) if retain_lifecycle_msgs else []
        clear(queue, retain_lifecycle_msgs, fragment_ids_this_run)
        kept = {id(message) for message in queue._queue}
        queue._queue += [
            message
            for message in waiting
            if message.WhichOneof("type") == "file_urls_response" and id(message) not in kept
        ]

    ForwardMsgQueue.clear = clear_but_answers  # type: ignore[method-assign, assignment]


def tell_pairing() -> None:
    """Write to the screen what phones were refused, with the time."""
    told = logging.StreamHandler()
    told.setFormatter(logging.Formatter("%(asctime)s phone: %(message)s"))
    log = logging.getLogger("digitise.pairing")
    log.setLevel(logging.INFO)
    log.addHandler(told)


def settings() -> dict[str, Any]:
    """Return config.toml as the server's options by their dotted names."""
    with (HERE / "config.toml").open("rb") as file:
        return dict(_flat(tomllib.load(file), ""))


def _flat(settings: Mapping[str, Any], prefix: str) -> Iterator[tuple[str, Any]]:
    for name, value in settings.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}", value


def _end_with_command() -> None:
    """End this server when the command that started it is gone, however it went: then its pipe is closed."""
    sys.stdin.buffer.read()
    # not by an exception in this thread, and not asking a server that may be busy
    os._exit(0)


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

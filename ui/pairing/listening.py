"""Doors that are open now: each listens on one address, and closes by itself; no Streamlit here."""

from __future__ import annotations

import os
import socket
import threading
from dataclasses import dataclass

import uvicorn

from digitise.errors import OutputError
from ui.pairing.networks import Near
from ui.pairing.sealing import as_text
from ui.pairing.server import application
from ui.pairing.session import LIFETIME_S, LOG, Pairing

FIRST_PORT = 8781
_TRIES = 40
_MOST_CONNECTIONS = 24
_LAST_WORDS_S = 3


@dataclass(frozen=True)
class Door:
    """A pairing that is listened for.

    Attributes
    ----------
    pairing
        Its state.
    address
        What the code says: the address of the upload page, and behind the ``#``, which no browser sends, the
        key.
    """

    pairing: Pairing
    address: str
    _server: uvicorn.Server
    _timer: threading.Timer

    def close(self) -> None:
        """Take nothing more, and stop listening."""
        self._timer.cancel()
        _shut(self.pairing, self._server)


_open: dict[str, Door] = {}
_one_opener = threading.Lock()


def open_door(draft: str, near: Near, lifetime_s: float = LIFETIME_S) -> Door:
    """Listen on a network for photographs of one visit; an older door of that visit is closed.

    Parameters
    ----------
    draft
        Name of the visit's draft.
    near
        The network, and this computer's address on it.
    lifetime_s
        After how long it closes by itself.

    Raises
    ------
    OutputError
        No port is free at that address.
    """
    with _one_opener:
        close_door(draft)
        there = _socket(str(near.address))
        pairing = Pairing(draft, lifetime_s)
        server = uvicorn.Server(_settings(pairing, near))
        threading.Thread(target=server.run, kwargs={"sockets": [there]}, daemon=True).start()
        timer = threading.Timer(lifetime_s, _shut, (pairing, server))
        timer.daemon = True
        timer.start()
        port = there.getsockname()[1]
        _open[draft] = Door(pairing, f"http://{near.address}:{port}/#{as_text(pairing.key)}", server, timer)
        LOG.info("open on port %d for %.0f s", port, lifetime_s)
        return _open[draft]


def door_of(draft: str) -> Door | None:
    """Return the door of a visit; None when none is open."""
    found = _open.get(draft)
    return found if found is not None and found.pairing.left_s else None


def close_door(draft: str) -> None:
    """Close the door of a visit, where one is open."""
    found = _open.pop(draft, None)
    if found is not None:
        found.close()


def close_doors() -> None:
    """Close every door."""
    for draft in tuple(_open):
        close_door(draft)


def _shut(pairing: Pairing, server: uvicorn.Server) -> None:
    if not pairing.is_closed:
        pairing.close()
        LOG.info("closed; %d photographs came", len(pairing.arrived))
    server.should_exit = True


def _settings(pairing: Pairing, near: Near) -> uvicorn.Config:
    return uvicorn.Config(
        application(pairing, near),
        http="h11",
        ws="none",
        lifespan="off",
        log_config=None,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        limit_concurrency=_MOST_CONNECTIONS,
        timeout_keep_alive=5,
        timeout_graceful_shutdown=_LAST_WORDS_S,
    )


def _socket(address: str) -> socket.socket:
    for port in range(FIRST_PORT, FIRST_PORT + _TRIES):
        found = socket.socket()
        if os.name == "posix":  # else a port that is in use counts as free
            found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            found.bind((address, port))
            found.listen(64)
        except OSError:
            found.close()
            continue
        return found
    raise OutputError(
        "No port is free for the phone on this network.",
        where=f"{address}:{FIRST_PORT}",
        do="End what listens there, or take the photographs over by cable.",
    )

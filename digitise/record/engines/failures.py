"""What a database or disk reports, in plain words."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError

from digitise.errors import RecordError

_DAMAGED = ("The records are damaged or not of this program.", "Restore the last backup into a new place.")
_FULL = ("The disk is full; nothing was stored.", "Make room, then give the command again.")
LOCKED = ("Another program is busy with the records.", "Close it, or try again in a minute.")
READ_ONLY = ("The records cannot be written.", "Check the rights on the file and its folder.")
_NO_RIGHT = (
    "The database server does not let this account do that; nothing was changed.",
    "Ask the keeper of the records, or use an account that may.",
)
_NO_OPENING = ("The records cannot be opened.", "Check the place, its name and your rights.")
_NO_ADDRESS = (
    "The address of the database server holds something that is not understood.",
    "Check its options: postgresql://user@server/database is enough.",
)
_NO_SERVER = ("The database server cannot be reached.", "Check its address, your rights, and that it runs.")
_LOST = (
    "The connection to the database server was lost; nothing was stored.",
    "Check that the server runs, then do it again.",
)
_LOST_AT_THE_END = (
    "The connection to the database server was lost at the last moment; whether it was stored is not known.",
    "Look at the list of visits before you store it again.",
)
_SQLITE = {
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_BUSY: LOCKED,
    sqlite3.SQLITE_LOCKED: LOCKED,
    sqlite3.SQLITE_READONLY: READ_ONLY,
    sqlite3.SQLITE_PERM: READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: _NO_OPENING,
    sqlite3.SQLITE_IOERR: ("The disk cannot be read or written.", "Check the disk; restore the last backup."),
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_NOTADB: _DAMAGED,
    sqlite3.SQLITE_ERROR: _DAMAGED,
}
_POSTGRES = {"53100": _FULL, "55P03": LOCKED, "25006": _NO_RIGHT, "42501": _NO_RIGHT, "XX001": _DAMAGED}
_SHUT_DOWN = ("57P01", "57P02", "57P03")
"""States of a server that ends a connection, or all of them."""


def damaged(where: str) -> RecordError:
    """Return the error of damaged records."""
    return RecordError(_DAMAGED[0], where=where, do=_DAMAGED[1])


@contextmanager
def translate_errors(where: str, *, ending: bool = False) -> Iterator[None]:
    """Turn what a database or disk reports into an error for people.

    Parameters
    ----------
    where
        The place, for messages.
    ending
        The block ends a transaction: if the connection is lost then, nobody knows what the server did.

    Raises
    ------
    RecordError
        The disk is full, the records are locked, damaged, out of reach or not writable.
    """
    try:
        yield
    except DBAPIError as error:
        if error.connection_invalidated:
            what, do = _LOST_AT_THE_END if ending else _LOST
            raise RecordError(what, where=where, do=do) from error
        raise _plain(error.orig, where, error) from error
    except (sqlite3.Error, OSError) as error:
        raise _plain(error, where, error) from error


def _plain(cause: BaseException | None, where: str, otherwise: BaseException) -> BaseException:
    words: tuple[str, str] | None = None
    if isinstance(cause, OSError):
        words = _FULL if cause.errno == 28 else (f"The disk refuses ({cause.strerror}).", _NO_OPENING[1])
    elif isinstance(cause, sqlite3.Error):
        code = getattr(cause, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF  # without the extension
        words = _SQLITE.get(code)
    else:
        words = _of_server(cause)
    return RecordError(words[0], where=where, do=words[1]) if words else otherwise


def _of_server(cause: BaseException | None) -> tuple[str, str] | None:
    state = getattr(cause, "sqlstate", None)
    if state in _SHUT_DOWN:
        return _LOST
    if type(cause).__name__ == "OperationalError" and (state or "08").startswith(("08", "57", "3D", "28")):
        return _NO_SERVER
    if state is None and type(cause).__name__ == "ProgrammingError":
        return _NO_ADDRESS  # the driver does not know an option
    return _POSTGRES.get(state or "")

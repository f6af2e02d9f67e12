"""The form of the database: which version it has, and migrating it forward."""

from __future__ import annotations

import threading
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect

from digitise.errors import RecordError
from digitise.record.engines.failures import damaged

HEAD = "0008"
"""The version this program writes."""
VERSION_TABLE = "record_schema"
_ONE_AT_A_TIME = threading.Lock()
"""The library that migrates keeps what it works on in one place for all threads."""
_MIGRATIONS = Path(__file__).parent


def version_of(connection: Connection, where: str) -> str | None:
    """Return the version of the tables, None for an empty database.

    Raises
    ------
    RecordError
        The database holds something else.
    """
    names = inspect(connection).get_table_names()
    if not names:
        return None
    if VERSION_TABLE not in names:
        raise RecordError(
            "This database belongs to another program.", where=where, do="Choose a place of its own."
        )
    versions = connection.exec_driver_sql(f"SELECT version_num FROM {VERSION_TABLE}").scalars().all()
    if len(versions) != 1:
        raise damaged(where)
    return str(versions[0])


def refuse_unknown(version: str, where: str) -> None:
    """Refuse a version that is not among the migrations.

    Raises
    ------
    RecordError
        A newer version of the program wrote it.
    """
    if version not in {script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()}:
        raise RecordError(
            f"A newer version of this program wrote this (form {version[:20]}, this one knows {HEAD}).",
            where=where,
            do="Install the newer version.",
        )


def migrate(connection: Connection, version: str = HEAD) -> None:
    """Bring the tables forward to ``version`` within the running transaction."""
    config = _config()
    config.attributes["connection"] = connection
    with _ONE_AT_A_TIME:
        command.upgrade(config, version)


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config

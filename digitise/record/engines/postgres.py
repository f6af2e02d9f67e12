"""A server with records: how PostgreSQL is set up, and who may change the form of the tables."""

from __future__ import annotations

from sqlalchemy import URL, Connection, Engine, create_engine, event

from digitise.errors import RecordError

_WRITERS = 0x64696769
"""Key of the advisory lock that lets one writer in at a time, as SQLite does; it is of one database."""
_NETWORK = {
    "connect_timeout": 10,
    # a network that is cut says nothing: ask after 10 s of silence, and give up after half a minute
    "keepalives_idle": 10,
    "keepalives_interval": 5,
    "keepalives_count": 4,
    "tcp_user_timeout": 30_000,
}
"""Seconds, the last in milliseconds; what the address says goes before."""
_OWN = """
    SELECT has_schema_privilege(current_schema(), 'CREATE') AND NOT EXISTS (
        SELECT FROM pg_class
        WHERE relnamespace = current_schema()::regnamespace AND relkind = 'r'
        AND NOT pg_has_role(relowner, 'USAGE'))
"""


def postgres_engine(url: URL, patience_s: float) -> Engine:
    """Return the engine on a server; nothing is opened yet.

    Raises
    ------
    RecordError
        The driver is not installed.
    """
    options = {name: value for name, value in _NETWORK.items() if name not in url.query}
    try:
        # a connection that was lost while nothing was done is made anew without a word
        engine = create_engine(url, pool_pre_ping=True, connect_args=options)
    except ModuleNotFoundError as error:
        raise RecordError(
            "The driver for PostgreSQL is not installed.",
            do="Run: pip install 'limb-shape-digitiser[postgres]'",
        ) from error

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        options = connection.get_execution_options()
        if options.get("isolation_level") == "AUTOCOMMIT":
            return
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {patience_s * 1000:.0f}")
        if options.get("one_writer"):
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITERS})")

    return engine


def may_change_form(connection: Connection) -> bool:
    """Tell whether this account owns all tables of the records and may make new ones: that of a keeper."""
    return bool(connection.exec_driver_sql(_OWN).scalar())

"""Bring a database to the schema this program needs; alembic is imported only when it is behind."""

from __future__ import annotations

from typing import Any

from service.storage.engine import CannotOpen
from service.storage.migrations import HEAD
from service.storage.sql import Sql

_LOCK = 0x6B656570
"""Any number of our own: two servers never migrate one PostgreSQL database at once."""
_LINES_GREW = "0003"
"""The last revision that gave lines something the record has to be read for."""


def stamp(sql: Sql) -> str | None:
    """The revision the database is at, None when it is empty."""
    if sql.postgresql:
        there = sql.row("SELECT to_regclass('alembic_version')::text")
        found = there is not None and there[0] is not None
    else:
        found = sql.row("SELECT 1 FROM sqlite_schema WHERE name = 'alembic_version'") is not None
    row = sql.row("SELECT version_num FROM alembic_version") if found else None
    return None if row is None else str(row[0])


def bring_up(sql: Sql, *, read_only: bool) -> None:
    """Migrate when the schema is behind; refuse what is newer than this program."""
    held = stamp(sql)
    if held == HEAD:
        return
    if held is not None and held > HEAD:
        raise CannotOpen(
            f"The record was written by a newer version of this program (schema {held}; "
            f"this one knows {HEAD}). Install the newer version."
        )
    if read_only:
        raise CannotOpen(
            f"The record's schema is {held or 'not made yet'}, this program needs {HEAD}. "
            "Start the service once; it brings the schema up to date."
        )
    upgrade(sql)


def upgrade(sql: Sql, revision: str = "head") -> None:
    """Run the migrations and make the append-only triggers anew, in one transaction.

    Where lines got a column, every job's lines are worked out again from its journal, once: some
    four milliseconds a job of ten cards.
    """
    from alembic import command
    from sqlalchemy import inspect

    from service.storage import triggers
    from service.storage.line_renewal import renew_lines
    from service.storage.tables import APPEND_ONLY

    if not sql.postgresql:
        # Rebuilding a table of SQLite drops it, which foreign keys would refuse.
        sql.run("PRAGMA foreign_keys = OFF")
    with engine_over(sql).connect() as connection:
        connection.exec_driver_sql("BEGIN" if sql.postgresql else "BEGIN IMMEDIATE")
        try:
            if sql.postgresql:
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
            before = set(inspect(connection).get_table_names())
            old = [table for table in APPEND_ONLY if table in before]
            for statement in triggers.dropping(old, postgresql=sql.postgresql):
                connection.exec_driver_sql(statement)
            held = stamp(sql) if before else None
            command.upgrade(alembic_config(connection), revision)
            if held is not None and held < _LINES_GREW <= (stamp(sql) or ""):
                renew_lines(sql)
            now = set(inspect(connection).get_table_names())
            new = [table for table in APPEND_ONLY if table in now]
            for statement in triggers.making(new, postgresql=sql.postgresql):
                connection.exec_driver_sql(statement)
            if not sql.postgresql:
                broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
                if broken:
                    raise CannotOpen(f"The migration would break references: {broken[:3]}.")
            connection.exec_driver_sql("COMMIT")
        except BaseException:
            connection.exec_driver_sql("ROLLBACK")
            raise
    if not sql.postgresql:
        sql.run("PRAGMA foreign_keys = ON")


def engine_over(sql: Sql) -> Any:
    """A SQLAlchemy engine over a connection that is already there, and stays ours."""
    from sqlalchemy import create_engine
    from sqlalchemy.pool import StaticPool

    if sql.postgresql:
        return create_engine(
            "postgresql+psycopg://",
            creator=lambda: sql.connection,
            poolclass=StaticPool,
            isolation_level="AUTOCOMMIT",
        )
    return create_engine(
        "sqlite://",
        creator=lambda: sql.connection,
        poolclass=StaticPool,
        isolation_level="AUTOCOMMIT",
    )


def alembic_config(connection: Any) -> Any:
    """Alembic's settings, without a file."""
    from pathlib import Path

    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    return config

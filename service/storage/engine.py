"""Connections: which SQLite is safe to use and how, and PostgreSQL by its URL."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

from service.domain.refused import Refused
from service.storage.sql import Sql

BUSY_MILLISECONDS = 10_000
STATEMENT_CACHE = 512
IDLE_SECONDS = 5.0
"""A PostgreSQL connection that lay unused for longer is asked whether it still is one."""


class CannotOpen(Refused):
    """The record cannot be opened as it was asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SqliteChoice:
    """Which SQLite to use and how its file is kept safe."""

    module: ModuleType
    version: str
    journal_mode: str
    synchronous: str
    warning: str | None


def has_wal_fix(version: str) -> bool:
    """Whether this SQLite is free of the WAL-reset bug.

    SQLite 3.7.0 to 3.51.2 can lose committed data in WAL mode when two connections write or
    checkpoint at once (sqlite.org/wal.html, "WAL-reset bug"); fixed in 3.51.3, and in the
    branches as 3.50.7 and 3.44.6.
    """
    parts = tuple(int(part) for part in version.split(".")[:3])
    return parts >= (3, 51, 3) or (
        parts[:2] in ((3, 50), (3, 44)) and parts[2] >= {50: 7, 44: 6}[parts[1]]
    )


def sqlite_modules() -> list[ModuleType]:
    """The SQLite modules at hand, the preferred first."""
    import sqlite3

    try:
        from pysqlite3 import dbapi2  # type: ignore[import-untyped, unused-ignore]
    except ImportError:
        return [sqlite3]
    return [dbapi2, sqlite3]


def choose_sqlite() -> SqliteChoice:
    """The first safe SQLite in WAL mode; without one, the first with a slower, safe mode."""
    modules = sqlite_modules()
    for module in modules:
        if has_wal_fix(module.sqlite_version):
            return SqliteChoice(
                module=module,
                version=module.sqlite_version,
                journal_mode="wal",
                synchronous="full",
                warning=None,
            )
    version = modules[0].sqlite_version
    return SqliteChoice(
        module=modules[0],
        version=version,
        journal_mode="truncate",
        synchronous="extra",
        warning=(
            f"This machine's SQLite {version} can lose data in its fast mode, so the slower safe "
            "mode is used. Install pysqlite3, or Python with SQLite 3.51.3 or newer."
        ),
    )


_SYNCHRONOUS = {"full": 2, "extra": 3}


def connect_sqlite(choice: SqliteChoice, file: Path, *, writing: bool) -> Any:
    """Open the file; each setting is read back, for SQLite does not report a refusal."""
    connection = choice.module.connect(
        file.as_posix(),
        isolation_level=None,
        check_same_thread=False,
        cached_statements=STATEMENT_CACHE,
    )
    settings: list[tuple[str, object, object]] = [
        ("busy_timeout", BUSY_MILLISECONDS, BUSY_MILLISECONDS),
        ("foreign_keys", "ON", 1),
        # Without it INSERT OR REPLACE would delete a row past the triggers.
        ("recursive_triggers", "ON", 1),
        ("trusted_schema", "OFF", 0),
        ("mmap_size", 0, 0),
    ]
    if writing:
        settings.append(("journal_mode", choice.journal_mode, choice.journal_mode))
        # A card touches some 25 pages, so SQLite's own 1000 would have every fortieth card wait
        # for a checkpoint; 4000 are 16 MiB of log.
        settings.append(("wal_autocheckpoint", 4000, 4000))
        settings.append(("synchronous", choice.synchronous, _SYNCHRONOUS[choice.synchronous]))
    else:
        settings.append(("query_only", "ON", 1))
    try:
        for name, value, expected in settings:
            connection.execute(f"PRAGMA {name} = {value}").fetchall()
            held = connection.execute(f"PRAGMA {name}").fetchone()
            if held is None or held[0] != expected:
                raise CannotOpen(
                    f"SQLite did not take the setting {name} = {value} for {file} "
                    f"(it says {held and held[0]}). Check that the folder is on a local disk "
                    "and can be written."
                )
    except BaseException:
        connection.close()
        raise
    return connection


def postgresql_url(url: str) -> str:
    """The URL as psycopg takes it, from either way to write it."""
    if not re.match(r"postgres(ql)?(\+psycopg)?://", url):
        raise CannotOpen(
            f"{_without_password(url)!r} is not a database this program knows. "
            "Write postgresql://USER@HOST/NAME, or leave --database out for SQLite."
        )
    return re.sub(r"^postgres(ql)?(\+psycopg)?://", "postgresql://", url)


def connect_postgresql(url: str, *, reading: bool) -> Any:
    """Connect; times out rather than waits for a server that is not there."""
    import psycopg

    try:
        connection = psycopg.connect(
            postgresql_url(url), autocommit=True, connect_timeout=10, application_name="keepcard"
        )
    except psycopg.OperationalError as error:
        raise CannotOpen(
            f"The database {_without_password(url)} cannot be reached: {str(error).strip()}. "
            "Check the address and that the server runs."
        ) from error
    if reading:
        connection.execute("SET default_transaction_read_only = on")
    connection.execute("SET client_min_messages = warning")
    return connection


def _without_password(url: str) -> str:
    return re.sub(r"(://[^:/@]+):[^@]*@", r"\1:***@", url)


class Pool:
    """Connections kept for the next asker; as many as threads ask at once."""

    def __init__(self, connect: Callable[[], Any], *, postgresql: bool, keep: int = 8) -> None:
        self._connect = connect
        self._postgresql = postgresql
        self._keep = keep
        self._free: list[tuple[Sql, float]] = []
        self._lock = threading.Lock()
        self._closed = False

    @contextmanager
    def use(self) -> Iterator[Sql]:
        """A connection for this block; a broken one is not kept."""
        with self._lock:
            if self._closed:
                raise CannotOpen("The record is closed. Open it again.")
            sql, since = self._free.pop() if self._free else (None, 0.0)
        if sql is not None and self._postgresql and time.monotonic() - since > IDLE_SECONDS:
            sql = _if_alive(sql)
        if sql is None:
            sql = Sql(self._connect(), postgresql=self._postgresql)
        try:
            yield sql
        except BaseException:
            sql.connection.close()
            raise
        with self._lock:
            if not self._closed and len(self._free) < self._keep:
                self._free.append((sql, time.monotonic()))
                return
        sql.connection.close()

    def close(self) -> None:
        """Close what is free now and whatever comes back later."""
        with self._lock:
            self._closed = True
            free, self._free = self._free, []
        for sql, _ in free:
            sql.connection.close()


def _if_alive(sql: Sql) -> Sql | None:
    """The connection, None when the server has ended it meanwhile."""
    try:
        sql.row("SELECT 1")
    except Exception:
        sql.connection.close()
        return None
    return sql

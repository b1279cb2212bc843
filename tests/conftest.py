"""Fixtures shared by all tests: a store, empty but for its shop, on each engine.

SQLite is always tested; PostgreSQL when KEEPCARD_TEST_POSTGRESQL holds the URL of a database on
a server where databases may be made and dropped, else its tests are reported as skipped.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from service.storage.database import FILE, Database, open_database
from service.storage.store import ShopStore

POSTGRESQL = os.environ.get("KEEPCARD_TEST_POSTGRESQL", "")


class Place:
    """Where a test keeps its record: a folder, and on PostgreSQL a database too."""

    def __init__(self, folder: Path, url: str | None) -> None:
        self.folder = folder
        self.url = url
        self._open: list[Database] = []

    def open(self, **options: Any) -> Database:
        """Open the record; it is closed after the test."""
        database = open_database(self.folder, self.url, **options)
        self._open.append(database)
        return database

    def close(self) -> None:
        """Close whatever was opened here."""
        for database in self._open:
            database.close()


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated SQLite file without a shop, to be copied."""
    folder = tmp_path_factory.mktemp("template")
    open_database(folder).close()
    return folder / FILE


class SpareDatabases:
    """Migrated PostgreSQL databases, emptied for each test; to make and drop one takes longer."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._server = POSTGRESQL.rpartition("/")[0]
        self._made: list[str] = []
        self._spare: list[str] = []

    def take(self) -> str:
        """The URL of an empty database."""
        if self._spare:
            name = self._spare.pop()
            _empty(f"{self._server}/{name}")
        else:
            name = f"keepcard_test_{uuid4().hex[:12]}"
            self._run(f"CREATE DATABASE {name} TEMPLATE template0")
            self._made.append(name)
            open_database(self._folder, f"{self._server}/{name}").close()
        return f"{self._server}/{name}"

    def give_back(self, url: str) -> None:
        """Keep a database for the next test."""
        self._spare.append(url.rpartition("/")[2])

    def drop(self) -> None:
        """Leave the server as it was."""
        for name in self._made:
            self._run(f"DROP DATABASE {name} WITH (FORCE)")

    def _run(self, statement: str) -> None:
        import psycopg

        with psycopg.connect(POSTGRESQL, autocommit=True) as connection:
            connection.execute(statement)


def _empty(url: str) -> None:
    """Take away every row, and put the guards right that a test may have tampered with."""
    import psycopg

    from service.storage import triggers
    from service.storage.migrations import HEAD
    from service.storage.tables import APPEND_ONLY, metadata

    with psycopg.connect(url) as connection:
        connection.execute("SET session_replication_role = replica")
        for table in metadata.tables:
            connection.execute(f'DELETE FROM "{table}"')
        for statements in (triggers.dropping, triggers.making):
            for statement in statements(APPEND_ONLY, postgresql=True):
                connection.execute(statement)
        connection.execute("UPDATE alembic_version SET version_num = %s", (HEAD,))


@pytest.fixture(scope="session")
def spare_databases(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SpareDatabases]:
    """PostgreSQL databases for the tests of this run."""
    databases = SpareDatabases(tmp_path_factory.mktemp("postgresql"))
    yield databases
    databases.drop()


ON_POSTGRESQL = pytest.param(
    "postgresql",
    marks=[
        pytest.mark.postgresql,
        pytest.mark.skipif(not POSTGRESQL, reason="KEEPCARD_TEST_POSTGRESQL is not set"),
    ],
)
only_sqlite = pytest.mark.parametrize("engine_name", ["sqlite"], indirect=True)
only_postgresql = pytest.mark.parametrize("engine_name", [ON_POSTGRESQL], indirect=True)


@pytest.fixture(params=["sqlite", ON_POSTGRESQL])
def engine_name(request: pytest.FixtureRequest) -> str:
    """Runs the test once for each engine."""
    return str(request.param)


@pytest.fixture
def make_place(
    engine_name: str, tmp_path: Path, request: pytest.FixtureRequest
) -> Iterator[Callable[[], Place]]:
    """Makes places for records, empty but for the schema, on the engine of the test."""
    made: list[Place] = []

    def make() -> Place:
        folder = tmp_path / f"record{len(made)}"
        folder.mkdir()
        url = None
        if engine_name == "postgresql":
            url = request.getfixturevalue("spare_databases").take()
        else:
            shutil.copy(request.getfixturevalue("sqlite_template"), folder / FILE)
        made.append(Place(folder, url))
        return made[-1]

    yield make
    for place in made:
        place.close()
        if place.url is not None:
            request.getfixturevalue("spare_databases").give_back(place.url)


@pytest.fixture
def place(make_place: Callable[[], Place]) -> Place:
    """A place for a record, empty but for the schema."""
    return make_place()


@pytest.fixture
def store(place: Place) -> ShopStore:
    """A store of a new shop with one manager, open for writing."""
    return place.open().create_shop("Test shop", manager="First Manager")

"""The migrations make what the tables say, and leave every append-only table guarded."""

from __future__ import annotations

import subprocess
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from service.storage import triggers
from service.storage.database import FILE
from service.storage.engine import (
    CannotOpen,
    choose_sqlite,
    connect_postgresql,
    connect_sqlite,
)
from service.storage.migrate import alembic_config, engine_over, stamp, upgrade
from service.storage.migrations import HEAD
from service.storage.sql import Sql
from service.storage.store import ShopStore
from service.storage.tables import APPEND_ONLY, metadata
from service.storage.verify import verify
from service.storage.verify_tables import _column_names, _said_by_default
from tests.conftest import Place
from tests.storage.samples import fill


def test_the_stamp_is_the_last_of_the_versions() -> None:
    assert ScriptDirectory.from_config(alembic_config(None)).get_current_head() == HEAD


def test_the_migrations_make_the_tables_as_they_are(store: ShopStore) -> None:
    with store.reading() as sql, engine_over(sql).connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            differences = compare_metadata(context, metadata)
    assert differences == []


def assert_guarded(store: ShopStore) -> None:
    """No row of any append-only table can be changed or removed."""
    writer = store.database.writer()
    for table in APPEND_ONLY:
        statements = [f'UPDATE "{table}" SET shop_id = shop_id', f'DELETE FROM "{table}"']
        if store.database.postgresql:
            statements.append(f'TRUNCATE "{table}" CASCADE')
        else:
            statements.append(f'INSERT OR REPLACE INTO "{table}" SELECT * FROM "{table}"')
        for statement in statements:
            with pytest.raises(Exception, match="append-only: write a correction instead"):
                writer.run(partial(Sql.run, statement=statement))


def test_no_row_of_the_record_can_be_changed_or_removed(store: ShopStore) -> None:
    fill(store)
    assert_guarded(store)
    assert verify(store).ok


def test_the_guards_are_there_again_after_a_migration(store: ShopStore, place: Place) -> None:
    fill(store)
    store.database.close()
    with connection_to(place) as sql:
        if sql.postgresql:
            sql.run("DROP TRIGGER append_only ON cards")
        else:
            sql.run("DROP TRIGGER cards_no_update")
        upgrade(sql)
    assert_guarded(place.open().store())


@contextmanager
def connection_to(place: Place) -> Iterator[Sql]:
    """A writing connection of its own."""
    if place.url is not None:
        sql = Sql(connect_postgresql(place.url, reading=False), postgresql=True)
    else:
        connection = connect_sqlite(choose_sqlite(), place.folder / FILE, writing=True)
        sql = Sql(connection, postgresql=False)
    try:
        yield sql
    finally:
        sql.connection.close()


def test_a_schema_that_is_up_to_date_costs_no_import_of_alembic(place: Place) -> None:
    place.open().create_shop("Shop", manager="A")
    place.close()
    program = (
        "import sys; from service.storage.database import open_store; "
        f"store = open_store({str(place.folder)!r}, {place.url!r}); store.shop(); "
        "store.database.close(); "
        "print([name for name in ('alembic', 'sqlalchemy', 'pydantic') if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_a_newer_schema_is_refused(place: Place) -> None:
    with connection_to(place) as sql:
        assert stamp(sql) == HEAD
        sql.run("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(CannotOpen, match="newer version"):
        place.open()


def test_reading_only_does_not_migrate(place: Place) -> None:
    with connection_to(place) as sql:
        sql.run("UPDATE alembic_version SET version_num = '0000'")
    with pytest.raises(CannotOpen, match="Start the service once"):
        place.open(read_only=True)


def test_a_migration_that_fails_leaves_the_old_schema(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> Iterator[str]:
        raise RuntimeError("power cut")

    with connection_to(place) as sql:
        monkeypatch.setattr(triggers, "making", fail)
        with pytest.raises(RuntimeError, match="power cut"):
            upgrade(sql)
        monkeypatch.undo()
    store = place.open().create_shop("Shop", manager="A")
    fill(store)
    assert_guarded(store)


def test_frames_from_before_photographed_sheets_are_kept(place: Place) -> None:
    """Rows of the first schema get what their journal entries are read as."""
    common = {"author_id": "p", "observed_at": "", "received_at": "", "revision": 1, "ordinal": 0}
    rows = {
        "shops": {"id": "s", "name": "Shop", "is_demo": False},
        "people": {"id": "p", "name": "A", "roles": "[]"},
        "jobs": {"id": "j", "job_id": "j", "work_order": "W", "title": "T", "note": ""},
        "frames": {"id": "f", "job_id": "j", "reading_ids": "[]", "covariance": "[]"},
    }
    with connection_to(place) as sql:
        if sql.postgresql:
            sql.run("DROP SCHEMA public CASCADE")
            sql.run("CREATE SCHEMA public")
        else:
            sql.run("PRAGMA foreign_keys = OFF")
            for (name,) in sql.rows("SELECT name FROM sqlite_schema WHERE type = 'table'"):
                sql.run(f'DROP TABLE "{name}"')
        upgrade(sql, "0001")
        for table, own in rows.items():
            row = {**common, **own, "shop_id": "s", "withdrawn": False, "position": 1}
            held = {name: row[name] for name in _column_names(sql, table) if name in row}
            sql.put(table, tuple(held), [list(held.values())])
        upgrade(sql)
        row = sql.row("SELECT windows, target, photo_target_id, evidence FROM frames")
        assert row == ("[]", "", None, "{}")
        for statement in ("UPDATE frames SET target = 'x'", "DELETE FROM frames"):
            with pytest.raises(Exception, match="append-only"):
                sql.run(statement)
    # What the journal's earlier entries, which name no such column, are held against.
    said = {name: _said_by_default("frames", name) for name in ("windows", "target", "evidence")}
    assert said == {"windows": [], "target": "", "evidence": "{}"}

"""The writer when things go wrong: a full disk, a broken disk, a cut connection, a bad request."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from concurrent.futures import Future
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from service.domain.records.job import Panel
from service.domain.records.shop import Person
from service.domain.refused import Invalid
from service.storage.database import FILE, open_database
from service.storage.errors import NotStored
from service.storage.heads_file import NAME as HEADS
from service.storage.heads_file import HeadsFile, recorded_heads
from service.storage.journal import Head
from service.storage.sql import Sql
from service.storage.store import ShopStore
from service.storage.verify import verify
from service.storage.writer import SqliteWriter
from service.use_cases.ports import Receipt, Unit
from tests.conftest import Place, only_postgresql, only_sqlite
from tests.storage.samples import add_panel, open_job, usual
from tests.storage.test_store import finish_of


def together(store: ShopStore, works: Sequence[Any]) -> list[Future[Receipt]]:
    """Changes that the writer finds waiting all at once, so that they share a commit."""
    gate = threading.Event()
    held = threading.Thread(
        target=lambda: store.database.writer().run(lambda sql: gate.wait(10) and None)
    )
    held.start()
    person_id = store.shop().all(Person)[0].root
    futures = [
        store.submit(
            change_id=str(uuid4()), kind="test", fingerprint="", person_id=person_id, work=work
        )
        for work in works
    ]
    gate.set()
    held.join()
    return futures


@only_sqlite
def test_changes_that_share_a_commit_see_each_other(store: ShopStore) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    seen: list[int] = []

    def work(unit: Unit) -> None:
        seen.append(len(unit.job(job_id).all(Panel)))
        unit.add(Panel(**usual(unit), job_id=job_id, finish_id=finish_id, name="Door"))

    receipts = [future.result() for future in together(store, [work] * 10)]
    assert seen == list(range(10))
    assert [receipt.position for receipt in receipts] == list(range(3, 13))
    assert verify(store).ok


@only_sqlite
def test_a_bad_change_takes_none_of_its_commit_with_it(store: ShopStore) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)

    def good(unit: Unit) -> None:
        unit.add(Panel(**usual(unit), job_id=job_id, finish_id=finish_id, name="Door"))

    def refused(unit: Unit) -> None:
        good(unit)
        raise Invalid("name", "Not this one.")

    def unknown_finish(unit: Unit) -> None:
        unit.add(Panel(**usual(unit), job_id=job_id, finish_id=str(uuid4()), name="Door"))

    def broken(unit: Unit) -> None:
        good(unit)
        raise ZeroDivisionError

    works = [good, refused, good, unknown_finish, good, broken, good]
    futures = together(store, works)
    errors = [type(future.exception()) for future in futures]
    none = type(None)
    assert errors == [none, Invalid, none, Invalid, none, ZeroDivisionError, none]
    assert len(store.job(job_id).all(Panel)) == 4
    assert verify(store).ok


@only_sqlite
def test_one_work_order_asked_for_twice_in_one_commit_is_given_once(store: ShopStore) -> None:
    from service.domain.records.job import Job
    from service.domain.refused import AlreadyThere

    def work(unit: Unit) -> None:
        if unit.job_by_work_order("W-9") is not None:
            raise AlreadyThere("taken")
        id = str(uuid4())
        every = usual(unit) | {"id": id, "job_id": id}
        unit.add(Job(**every, work_order="W-9", title="An invented van"))

    futures = together(store, [work, work])
    assert futures[0].exception() is None
    assert isinstance(futures[1].exception(), AlreadyThere)
    assert verify(store).ok


@only_sqlite
def test_a_full_disk_harms_nothing_and_is_got_over(store: ShopStore) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    writer = store.database.writer()

    def fill_up(sql: Sql) -> None:
        (pages,) = sql.row("PRAGMA page_count") or (0,)
        sql.run(f"PRAGMA max_page_count = {pages}")

    writer.run(fill_up)
    stored = 0
    with pytest.raises(NotStored, match="The disk is full.*Free some space"):
        for _ in range(1000):
            add_panel(store, job_id, finish_id, "Door")
            stored += 1
    assert len(store.job(job_id).all(Panel)) == stored
    # The connection is made anew, and with it the limit is gone, as space would be there again.
    add_panel(store, job_id, finish_id, "Wing")
    assert len(store.job(job_id).all(Panel)) == stored + 1
    assert verify(store).ok


def failing_commits(monkeypatch: pytest.MonkeyPatch, store: ShopStore, text: str) -> list[int]:
    """Let every commit of the writer fail with an error of SQLite; the list turns it off."""
    writer = store.database.writer()
    assert isinstance(writer, SqliteWriter)
    error = type(writer._sql.connection).__module__
    import importlib

    kind = importlib.import_module(error).OperationalError
    run = Sql.run
    on = [1]

    def failing(self: Sql, statement: str, values: Sequence[Any] = ()) -> int:
        if statement == "COMMIT" and on:
            raise kind(text)
        return run(self, statement, values)

    monkeypatch.setattr(Sql, "run", failing)
    return on


@only_sqlite
def test_a_commit_that_fails_is_not_acknowledged(
    store: ShopStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    on = failing_commits(monkeypatch, store, "database is locked")
    with pytest.raises(NotStored, match="did not take this entry .database is locked."):
        add_panel(store, job_id, finish_id, "Door")
    assert store.job(job_id).all(Panel) == []
    on.clear()
    assert add_panel(store, job_id, finish_id, "Door").position == 3
    assert verify(store).ok


@only_sqlite
def test_after_an_error_of_the_disk_nothing_more_is_written(
    store: ShopStore, place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    on = failing_commits(monkeypatch, store, "disk I/O error")
    with pytest.raises(NotStored):
        add_panel(store, job_id, finish_id, "Door")
    on.clear()
    with pytest.raises(NotStored, match="Check the disk, then start the service again"):
        add_panel(store, job_id, finish_id, "Door")
    assert store.job(job_id).all(Panel) == []
    store.close()
    again = place.open().store()
    assert add_panel(again, job_id, finish_id, "Door").position == 3


@only_sqlite
def test_what_is_asked_for_after_closing_is_refused(store: ShopStore) -> None:
    writer = store.database.writer()
    writer.close()
    with pytest.raises(NotStored, match="being closed"):
        writer.run(lambda sql: sql.run("SELECT 1"))


@only_sqlite
def test_what_is_asked_for_before_closing_is_done(store: ShopStore, place: Place) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)

    def work(unit: Unit) -> None:
        unit.add(Panel(**usual(unit), job_id=job_id, finish_id=finish_id, name="Door"))

    futures = together(store, [work] * 20)
    store.close()
    assert all(future.done() and future.exception() is None for future in futures)
    assert len(place.open().store().job(job_id).all(Panel)) == 20


@only_sqlite
def test_another_writer_past_the_lock_is_noticed(store: ShopStore, place: Place) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    add_panel(store, job_id, finish_id, "Door")
    copy = place.folder / "elsewhere"
    copy.mkdir()
    (copy / FILE).symlink_to(place.folder / FILE)
    with open_database(copy) as other:
        add_panel(other.store(), job_id, finish_id, "Wing")
    assert add_panel(store, job_id, finish_id, "Roof").position == 5
    assert [p.name for p in store.job(job_id).all(Panel)] == ["Door", "Wing", "Roof"]
    assert verify(store).ok


@only_postgresql
def test_a_cut_connection_is_got_over(store: ShopStore) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    with store.reading() as sql:
        sql.rows(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
    assert add_panel(store, job_id, finish_id, "Door").position == 3
    assert verify(store).ok


def test_a_checkpoint_names_the_jobs_that_went_on(store: ShopStore) -> None:
    person_id = store.shop().all(Person)[0].root
    assert store.checkpoint(person_id) is None
    one, two = open_job(store, "W-1"), open_job(store, "W-2")
    first = store.checkpoint(person_id)
    assert first is not None and first.chain == store.shop_id
    assert store.checkpoint(person_id) is None
    finish_of(store, two)
    second = store.checkpoint(person_id)
    assert second is not None
    with store.reading() as sql:
        texts = [
            sql.row(
                "SELECT payload FROM journal WHERE chain = ? AND position = ?",
                (store.shop_id, receipt.position),
            )
            for receipt in (first, second)
        ]
    assert texts[0] and one in texts[0][0] and two in texts[0][0]
    assert texts[1] and one not in texts[1][0] and two in texts[1][0]
    assert verify(store).ok


def test_heads_are_noted_on_closing(store: ShopStore, place: Place) -> None:
    open_job(store)
    heads = store.heads()
    store.close()
    noted = list(recorded_heads(place.folder))
    assert set(heads) <= set(noted)


def test_a_head_that_cannot_be_noted_is_noted_next_time(tmp_path: Path) -> None:
    file = HeadsFile(tmp_path)
    (tmp_path / HEADS).mkdir()
    file.note([Head("a", 1, "x")])
    assert file.waiting
    with pytest.raises(OSError, match="directory"):
        file.write(durable=True)
    (tmp_path / HEADS).rmdir()
    file.write()
    assert not file.waiting
    assert list(recorded_heads(tmp_path)) == [Head("a", 1, "x")]


def test_a_long_file_of_heads_is_shortened_to_the_last_of_each_chain(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.storage import heads_file

    file = HeadsFile(tmp_path, every_seconds=0)
    for position in range(1, 200):
        file.note([Head("a", position, f"h{position}"), Head("b", 1, "x")])
    assert len(list(recorded_heads(tmp_path))) == 398
    monkeypatch.setattr(heads_file, "COMPACT_ABOVE_BYTES", 1000)
    HeadsFile(tmp_path)
    assert set(recorded_heads(tmp_path)) == {Head("a", 199, "h199"), Head("b", 1, "x")}


@only_postgresql
def test_a_reader_that_lay_idle_while_the_server_restarted_is_replaced(
    store: ShopStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.storage import engine

    store.shop()
    with store.database.snapshot() as sql:
        sql.rows("SELECT 1")
    store.database.writer().run(
        lambda sql: sql.rows(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
    )
    monkeypatch.setattr(engine, "IDLE_SECONDS", 0.0)
    assert store.shop().all(Person)

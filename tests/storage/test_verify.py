"""Verification finds whatever was changed behind the program's back, and says where."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from dataclasses import replace
from uuid import uuid4

import pytest

from service.domain.records.job import Job, Panel
from service.domain.records.measuring import Frame
from service.domain.records.shop import Person
from service.storage.canonical import canonical
from service.storage.codec import SECRETS
from service.storage.database import FILE
from service.storage.heads_file import NAME as HEADS
from service.storage.journal import Head
from service.storage.photo_files import FOLDER
from service.storage.schema import CODECS, JOB_TABLES, LINE_CODECS
from service.storage.sql import Sql
from service.storage.store import ShopStore
from service.storage.verify import verify
from tests.conftest import Place, only_sqlite
from tests.storage.samples import PHOTO, add_panel, fill, usual, write
from tests.storage.tampering import Tampered, columns_of, tampering

KEPT = [*CODECS, *LINE_CODECS, "journal", "heads"]
KEYS = {"id", "shop_id", "job_id", "position", "ordinal", "chain", "change_id"}


@pytest.fixture
def full(store: ShopStore, place: Place) -> ShopStore:
    """A store with two rows of every class and a checkpoint, open for reading."""
    made = fill(store)
    finish_id = made[Panel].finish_id  # type: ignore[attr-defined]
    add_panel(store, made[Job].id, finish_id, "Door")
    store.checkpoint(store.shop().all(Person)[0].root)
    add_panel(store, made[Job].id, finish_id, "Wing")
    store.database.close()
    return place.open(read_only=True).store()


def job_of(full: ShopStore) -> str:
    """The one job's id."""
    return next(head.chain for head in full.heads() if head.chain != full.shop_id)


def problems(full: ShopStore) -> str:
    """What verification finds, in words."""
    return "\n".join(map(str, verify(full).problems))


def test_an_untouched_record_is_found_whole(full: ShopStore) -> None:
    report = verify(full)
    assert report.ok, report.problems
    assert report.first_bad is None
    assert report.counts["records"] == 2 * len(CODECS) + 4
    assert report.counts["chains"] == 2
    assert report.counts["photo files"] == 1
    assert "does not show that what people entered was true" in report.not_proved


def test_any_column_of_any_table_changed_is_found(
    full: ShopStore, place: Place, engine_name: str
) -> None:
    missed: list[str] = []
    changed = 0
    for table in KEPT:
        with tampering(place, table) as sql:
            columns = [c for c in columns_of(sql, table) if c != "checkpointed"]
        groups = [[column] for column in columns]
        if engine_name == "postgresql":
            # A verification takes longer there; one after another is done on SQLite.
            groups = [
                [c for c in columns if c in KEYS],
                *([c] for c in columns if c not in KEYS and table == "finishes"),
                [c for c in columns if c not in KEYS],
            ]
        for group in groups:
            with tampering(place, table) as sql:
                tampered = Tampered(sql, table, group)
                tampered.put()
            if verify(full).ok:
                missed.append(f"{table}: {group}")
            changed += len(group)
            with tampering(place, table) as sql:
                tampered.sql = sql
                tampered.put_back()
    assert missed == []
    assert changed > 600
    assert verify(full).ok


def test_the_place_of_a_change_is_named(full: ShopStore, place: Place) -> None:
    with tampering(place, "panels") as sql:
        (id,) = sql.row("SELECT id FROM panels WHERE name = 'Door'") or ("",)
        sql.run("UPDATE panels SET name = 'Bonnet' WHERE id = ?", (id,))
    first = verify(full).first_bad
    assert first is not None
    assert first.where == f"panels {id} (entry 3 of {job_of(full)})"
    assert first.what == "column name holds 'Bonnet', the journal says 'Door'"


def test_a_deleted_row_is_found(full: ShopStore, place: Place) -> None:
    for table in [t for t in CODECS if t not in ("shops", "people")][::3]:
        with tampering(place, table) as sql:
            names = ", ".join(f'"{name}"' for name in columns_of(sql, table))
            row = sql.row(f'SELECT {names} FROM "{table}" WHERE revision = 2')
            assert row is not None
            sql.run(f'DELETE FROM "{table}" WHERE id = ?', (row[0],))
        assert f"{table} {row[0]}" in problems(full)
        assert "the row is missing from its table" in problems(full)
        with tampering(place, table) as sql:
            marks = ", ".join("?" * len(row))
            sql.run(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', row)
    assert verify(full).ok


def test_an_added_row_is_found(full: ShopStore, place: Place) -> None:
    with tampering(place, "panels") as sql:
        copy_row(sql, "panels", "name = 'Door'", ordinal=7)
    assert "the row is in no entry of the journal" in problems(full)


def copy_row(sql: Sql, table: str, condition: str, **changes: object) -> None:
    """Insert a copy of a row under a new id, with some columns changed."""
    names = columns_of(sql, table)
    row = sql.row(f"""SELECT {", ".join(f'"{n}"' for n in names)} FROM {table} WHERE {condition}""")
    assert row is not None
    values = dict(zip(names, row, strict=True)) | {"id": str(uuid4())} | changes
    columns = ", ".join(f'"{name}"' for name in values)
    marks = ", ".join("?" * len(values))
    sql.run(f"INSERT INTO {table} ({columns}) VALUES ({marks})", list(values.values()))


@pytest.mark.parametrize("table", list(LINE_CODECS))
def test_a_line_added_or_taken_away_is_found(full: ShopStore, place: Place, table: str) -> None:
    with tampering(place) as sql:
        copy_row(sql, table, "1 = 1")
    assert f"{table}: it has 2 lines, 1 of them stand for something" in problems(full)
    with tampering(place) as sql:
        sql.run(f"DELETE FROM {table}")
    assert "the line is missing" in problems(full)


def test_two_rows_changed_about_are_found(full: ShopStore, place: Place) -> None:
    with tampering(place, "panels") as sql:
        sql.run("UPDATE panels SET position = 99 WHERE name = 'Door'")
        sql.run("UPDATE panels SET position = 3 WHERE name = 'Wing'")
        sql.run("UPDATE panels SET position = 4 WHERE name = 'Door'")
    assert "panels" in problems(full)


def test_entries_changed_about_are_found(full: ShopStore, place: Place) -> None:
    job_id = job_of(full)
    with tampering(place, "journal") as sql:
        for old, new in ((3, 99), (4, 3), (99, 4)):
            sql.run(
                "UPDATE journal SET position = ? WHERE position = ? AND chain = ?",
                (new, old, job_id),
            )
    found = problems(full)
    assert f"entry 3 of job {job_id}: position is 3, its text says 4" in found
    assert "it does not name the hash of the entry before it" in found


def cut_tail(sql: Sql, job_id: str, from_position: int, *, heads_too: bool) -> None:
    """Take the last entries of a job away, from every table, as one who knows them would."""
    for table in JOB_TABLES:
        sql.run(
            f'DELETE FROM "{table}" WHERE job_id = ? AND position >= ?', (job_id, from_position)
        )
    sql.run("DELETE FROM journal WHERE chain = ? AND position >= ?", (job_id, from_position))
    if heads_too:
        row = sql.row(
            "SELECT position, hash FROM journal WHERE chain = ? ORDER BY position DESC", (job_id,)
        )
        assert row is not None
        sql.run("UPDATE heads SET position = ?, hash = ? WHERE chain = ?", (*row, job_id))


def test_a_cut_tail_is_found_by_the_head(full: ShopStore, place: Place) -> None:
    job_id = job_of(full)
    with tampering(place) as sql:
        cut_tail(sql, job_id, 4, heads_too=False)
    (place.folder / HEADS).unlink()
    assert f"chain {job_id}: it ends at entry 3, the head written last is 4" in problems(full)


def test_a_cut_tail_with_its_head_set_right_is_found_by_the_noted_heads(
    full: ShopStore, place: Place
) -> None:
    job_id = job_of(full)
    known = full.heads()
    with tampering(place) as sql:
        cut_tail(sql, job_id, 4, heads_too=True)
    missing = f"chain {job_id}: entry 4 is missing, which was noted outside the database"
    assert missing in problems(full)

    (place.folder / HEADS).unlink()
    assert verify(full).ok, "without any noted head the cut leaves no trace"
    assert missing in "\n".join(map(str, verify(full, heads=known).problems))


def test_a_tail_cut_below_a_checkpoint_is_found_by_the_chain_of_the_shop(
    full: ShopStore, place: Place
) -> None:
    job_id = job_of(full)
    with tampering(place) as sql:
        cut_tail(sql, job_id, 3, heads_too=True)
        sql.run("UPDATE heads SET checkpointed = 0 WHERE chain = ?", (job_id,))
    (place.folder / HEADS).unlink()
    assert f"chain {job_id}: entry 3 is missing, which was named in entry" in problems(full)


def test_a_job_taken_away_whole_is_found_by_its_opening(full: ShopStore, place: Place) -> None:
    job_id = job_of(full)
    with tampering(place) as sql:
        for table in (*JOB_TABLES, *LINE_CODECS):
            sql.run(f'DELETE FROM "{table}" WHERE job_id = ?', (job_id,))
        sql.run("DELETE FROM journal WHERE chain = ?", (job_id,))
        sql.run("DELETE FROM heads WHERE chain = ?", (job_id,))
    (place.folder / HEADS).unlink()
    assert f"chain {job_id}: entry 1 is missing" in problems(full)


def test_an_entry_rewritten_with_its_hash_breaks_the_chain(full: ShopStore, place: Place) -> None:
    job_id = job_of(full)
    with tampering(place) as sql:
        (text,) = sql.row(
            "SELECT payload FROM journal WHERE chain = ? AND position = 3", (job_id,)
        ) or ("",)
        payload = json.loads(text)
        payload["rows"][0]["row"]["name"] = "Bonnet"
        text = canonical(payload)
        hash = hashlib.sha256(text.encode()).hexdigest()
        sql.run(
            "UPDATE journal SET payload = ?, hash = ? WHERE chain = ? AND position = 3",
            (text, hash, job_id),
        )
        sql.run("UPDATE panels SET name = 'Bonnet' WHERE name = 'Door'")
    found = problems(full)
    assert f"entry 4 of job {job_id}: it does not name the hash of the entry before it" in found


def test_any_byte_of_a_photo_changed_is_found(full: ShopStore, place: Place) -> None:
    (path,) = [p for p in (place.folder / FOLDER).glob("*/*") if p.is_file()]
    for number in range(len(PHOTO)):
        changed = bytearray(PHOTO)
        changed[number] ^= 1
        path.write_bytes(changed)
        assert "its bytes were changed" in problems(full), number
    path.write_bytes(PHOTO[:-1])
    assert "its bytes were changed" in problems(full)
    path.unlink()
    assert "the file is missing" in problems(full)


def test_a_photo_that_only_a_frame_names_is_looked_for(store: ShopStore) -> None:
    frame = fill(store)[Frame]
    content = b"two cards on a sheet"
    sha = hashlib.sha256(content).hexdigest()
    write(
        store,
        lambda unit: unit.add(
            replace(frame, **usual(unit), corrects=None, revision=1, photo_sha256=sha)
        ),
    )
    assert f"photo {sha}: the file is missing" in problems(store)
    store.photos.put(content)
    report = verify(store)
    assert report.ok
    assert report.counts["photo files named by no record"] == 0


def test_a_missing_trigger_is_found(full: ShopStore, place: Place, engine_name: str) -> None:
    with tampering(place, "heads") as sql:
        if engine_name == "postgresql":
            sql.run("DROP TRIGGER append_only ON cards")
        else:
            sql.run("DROP TRIGGER cards_no_update")
    assert re.search("trigger cards.*it is missing", problems(full))


def test_a_noted_head_that_cannot_be_read_is_told(full: ShopStore, place: Place) -> None:
    path = place.folder / HEADS
    whole = path.read_text()
    path.write_text(whole + '{"at": "2026-01-01T00:00:00Z", "cha')
    assert verify(full).ok, "a line cut short by a crash is passed over"
    path.write_text("nonsense\n" + whole)
    with pytest.raises(Exception, match="Line 1 of .* is not a noted head"):
        verify(full)


def test_a_head_noted_elsewhere_must_be_in_the_chain(full: ShopStore) -> None:
    job_id = job_of(full)
    report = verify(full, heads=[Head(job_id, 2, "0" * 64), Head(job_id, 77, "0" * 64)])
    assert [p.where for p in report.problems] == [
        f"chain {job_id}, entry 2",
        f"chain {job_id}",
    ]


def test_the_writer_adds_nothing_to_a_cut_journal(full: ShopStore, place: Place) -> None:
    job_id = job_of(full)
    with tampering(place) as sql:
        cut_tail(sql, job_id, 4, heads_too=False)
        (finish_id,) = sql.row("SELECT id FROM finishes WHERE revision = 1") or ("",)
    again = place.open().store()
    with pytest.raises(Exception, match=f"journal of {job_id} ends at entry 3, but entry 4"):
        add_panel(again, job_id, finish_id, "Roof")


def test_the_secrets_are_only_in_their_tables(full: ShopStore, place: Place) -> None:
    with full.reading() as sql:
        for table, column in SECRETS:
            for held, id in sql.rows(f'SELECT "{column}", id FROM "{table}"'):
                texts = sql.rows("SELECT payload FROM journal")
                assert not any(json.dumps(held) in text for (text,) in texts)
                digest = hashlib.sha256(held.encode()).hexdigest()
                assert any(id in text and digest in text for (text,) in texts)


@only_sqlite
def test_a_copy_of_the_folder_verifies_alike(full: ShopStore, place: Place) -> None:
    copy = place.folder.parent / "copy"
    shutil.copytree(place.folder, copy, ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    other = Place(copy, None)
    assert (copy / FILE).exists()
    assert verify(other.open(read_only=True).store()).counts == verify(full).counts
    other.close()

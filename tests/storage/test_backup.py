"""A backup is one file, verified before it has its name, and restored to the same heads."""

from __future__ import annotations

import json
import threading
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from uuid import uuid4

import pytest

from service.domain.records.job import Job, Panel, Repair
from service.domain.records.measuring import Frame
from service.domain.records.shop import Person
from service.domain.refused import Refused, Unknown
from service.storage.archive import JOURNAL, SECRETS, NotABackup
from service.storage.backup import backup, restore
from service.storage.database import open_database
from service.storage.photo_files import FOLDER
from service.storage.sessions import password_hash_of
from service.storage.store import ShopStore
from service.storage.verify import verify
from service.use_cases.ports import Unit
from tests.conftest import Place, only_postgresql
from tests.storage.samples import PHOTO, add_panel, fill, open_job, usual, write
from tests.storage.tampering import tampering


@pytest.fixture
def filled(store: ShopStore) -> ShopStore:
    """A store with rows of every class, and a checkpoint."""
    fill(store)
    store.checkpoint(store.shop().all(Person)[0].root)
    return store


def tables_of(store: ShopStore) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table of the record."""
    from service.storage.schema import CODECS, LINE_CODECS

    with store.reading() as sql:
        found = {}
        for table in (*CODECS, *LINE_CODECS, "journal", "heads"):
            key = {"journal": "hash", "heads": "chain"}.get(table, "id")
            found[table] = sql.rows(f"SELECT * FROM {table} ORDER BY {key}")
    return found


def test_a_restored_backup_is_the_same_to_the_last_column(
    filled: ShopStore, tmp_path: Path, engine_name: str
) -> None:
    manifest = backup(filled, tmp_path / "kept" / "monday.zip")
    assert list((tmp_path / "kept").iterdir()) == [tmp_path / "kept" / "monday.zip"]

    restored = restore(tmp_path / "kept" / "monday.zip", tmp_path / "new")
    assert restored.report.ok
    assert set(restored.heads) == set(filled.heads()) == set(manifest.heads)
    with open_database(tmp_path / "new", read_only=True) as database:
        again = database.store()
        assert verify(again, heads=manifest.heads).ok
        if engine_name == "sqlite":
            assert tables_of(again) == tables_of(filled)
        assert again.photos.get(next(again.photos.all())) == PHOTO
        person_id = filled.shop().all(Person)[-1].root
        assert password_hash_of(again, person_id) == password_hash_of(filled, person_id)


def test_the_photograph_of_a_frame_goes_along(filled: ShopStore, tmp_path: Path) -> None:
    content = b"two cards on a sheet"
    sha = filled.photos.put(content)
    (job_id,) = (head.chain for head in filled.heads() if head.chain != filled.shop_id)

    def add_frame(unit: Unit) -> None:
        frame = unit.job(job_id).all(Frame)[-1]
        unit.add(replace(frame, **usual(unit), corrects=None, revision=1, photo_sha256=sha))

    write(filled, add_frame)
    backup(filled, tmp_path / "b.zip", jobs=[job_id])
    restore(tmp_path / "b.zip", tmp_path / "new")
    with open_database(tmp_path / "new", read_only=True) as database:
        assert database.store().photos.get(sha) == content


def test_a_restored_record_goes_on(filled: ShopStore, tmp_path: Path) -> None:
    backup(filled, tmp_path / "b.zip")
    restore(tmp_path / "b.zip", tmp_path / "new")
    with open_database(tmp_path / "new") as database:
        again = database.store()
        job_id = open_job(again, "W-2")
        assert again.job(job_id).all(Job)[0].work_order == "W-2"
        assert verify(again).ok


@only_postgresql
def test_a_backup_moves_between_the_engines(
    filled: ShopStore, make_place: Callable[[], Place], tmp_path: Path
) -> None:
    backup(filled, tmp_path / "one.zip")
    restore(tmp_path / "one.zip", tmp_path / "sqlite")
    with open_database(tmp_path / "sqlite", read_only=True) as database:
        backup(database.store(), tmp_path / "two.zip")
    target = make_place()
    restored = restore(tmp_path / "two.zip", tmp_path / "postgresql", target.url)
    assert restored.report.ok
    assert set(restored.heads) == set(filled.heads())
    with open_database(tmp_path / "postgresql", target.url, read_only=True) as database:
        assert tables_of(database.store()) == tables_of(filled)
    with pytest.raises(Refused, match="already in that database"):
        restore(tmp_path / "two.zip", tmp_path / "again", target.url)
    assert not (tmp_path / "again").exists()


def test_a_backup_beside_running_writers_is_of_one_moment(store: ShopStore, tmp_path: Path) -> None:
    made = fill(store)
    job_id, finish_id = made[Job].id, made[Panel].finish_id  # type: ignore[attr-defined]
    stop = threading.Event()

    def write_on() -> None:
        while not stop.is_set():
            add_panel(store, job_id, finish_id, "Door")

    writers = [threading.Thread(target=write_on) for _ in range(2)]
    for thread in writers:
        thread.start()
    try:
        manifest = backup(store, tmp_path / "b.zip")
    finally:
        stop.set()
        for thread in writers:
            thread.join()
    assert restore(tmp_path / "b.zip", tmp_path / "new").report.ok
    assert verify(store, heads=manifest.heads).ok


def test_a_damaged_record_gives_no_backup(filled: ShopStore, place: Place, tmp_path: Path) -> None:
    with tampering(place, "journal") as sql:
        sql.run(
            "UPDATE journal SET payload = replace(payload, 'title', 'Title') WHERE position = 2"
        )
    with pytest.raises(Refused):
        backup(filled, tmp_path / "kept" / "b.zip")
    assert list((tmp_path / "kept").iterdir()) == []


def test_a_changed_photo_gives_no_backup(filled: ShopStore, place: Place, tmp_path: Path) -> None:
    (path,) = [p for p in (place.folder / FOLDER).glob("*/*")]
    path.write_bytes(PHOTO + b"!")
    with pytest.raises(Refused, match="not as it was stored"):
        backup(filled, tmp_path / "b.zip")
    assert not (tmp_path / "b.zip").exists()


def test_an_earlier_backup_is_never_overwritten(filled: ShopStore, tmp_path: Path) -> None:
    backup(filled, tmp_path / "b.zip")
    before = (tmp_path / "b.zip").read_bytes()
    with pytest.raises(Refused, match="already there"):
        backup(filled, tmp_path / "b.zip")
    assert (tmp_path / "b.zip").read_bytes() == before


def test_restoring_takes_an_empty_folder_only(filled: ShopStore, tmp_path: Path) -> None:
    backup(filled, tmp_path / "b.zip")
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "letter.txt").write_text("keep me")
    with pytest.raises(Refused, match="not empty"):
        restore(tmp_path / "b.zip", tmp_path / "used")
    (tmp_path / "empty").mkdir()
    assert restore(tmp_path / "b.zip", tmp_path / "empty").report.ok


def rewritten(file: Path, part: str, change: Callable[[bytes], bytes]) -> Path:
    """A copy of an archive with one part changed."""
    changed = file.with_name(f"changed-{uuid4()}.zip")
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(changed, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, change(content) if name.startswith(part) else content)
    return changed


@pytest.mark.parametrize(
    ("part", "change"),
    [
        (JOURNAL, lambda text: text.replace(b'"title":"t', b'"title":"T', 1)),
        (JOURNAL, lambda text: b"\n".join(text.splitlines()[:-1]) + b"\n"),
        (JOURNAL, lambda text: b"\n".join(reversed(text.splitlines())) + b"\n"),
        (JOURNAL, lambda text: text[: len(text) // 2]),
        (SECRETS, lambda text: text.replace(b"password_hash", b"password_hush", 1)),
        ("photos/", lambda content: content[:-1] + b"?"),
        ("manifest", lambda text: text.replace(b'"hash": "', b'"hash": "0', 1)),
        ("manifest", lambda text: text.replace(b'"version": 1', b'"version": 9')),
        ("manifest", lambda text: b"{}"),
    ],
    ids=["word", "tail", "order", "half", "secret", "photo", "head", "version", "manifest"],
)
def test_a_changed_backup_is_refused_and_leaves_nothing(
    filled: ShopStore, tmp_path: Path, part: str, change: Callable[[bytes], bytes]
) -> None:
    backup(filled, tmp_path / "b.zip")
    changed = rewritten(tmp_path / "b.zip", part, change)
    with pytest.raises(Refused):
        restore(changed, tmp_path / "new")
    assert not (tmp_path / "new").exists()
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


def test_what_is_no_backup_is_refused(tmp_path: Path) -> None:
    (tmp_path / "b.zip").write_bytes(b"nothing of the kind")
    with pytest.raises(NotABackup, match="cannot be read as a backup"):
        restore(tmp_path / "b.zip", tmp_path / "new")
    with pytest.raises(NotABackup):
        restore(tmp_path / "missing.zip", tmp_path / "new")


def test_a_backup_cut_short_is_refused(filled: ShopStore, tmp_path: Path) -> None:
    backup(filled, tmp_path / "b.zip")
    content = (tmp_path / "b.zip").read_bytes()
    for share in (0.1, 0.5, 0.9, 0.99):
        (tmp_path / "short.zip").write_bytes(content[: int(len(content) * share)])
        with pytest.raises(NotABackup):
            restore(tmp_path / "short.zip", tmp_path / "new")


def test_one_job_is_exported_with_the_job_it_repairs(store: ShopStore, tmp_path: Path) -> None:
    stored = fill(store)
    other = open_job(store, "W-2")
    repair = open_job(store, "W-3")

    def work(unit: Unit) -> None:
        unit.add(
            Repair(
                **usual(unit),
                job_id=repair,
                stored_job_id=stored[Job].id,
                stored_finish_id=stored[Panel].finish_id,  # type: ignore[attr-defined]
                damage="A stone chip",
            )
        )

    write(store, work)
    store.checkpoint(store.shop().all(Person)[0].root)
    manifest = backup(store, tmp_path / "job.zip", jobs=[repair])
    assert manifest.left_out == (other,)

    restored = restore(tmp_path / "job.zip", tmp_path / "new")
    assert restored.report.ok
    assert restored.report.counts["jobs left out of the export"] == 1
    known = {head.chain: head for head in store.heads()}
    assert {head.chain for head in restored.heads} == known.keys() - {other}
    assert all(known[head.chain] == head for head in restored.heads)
    with open_database(tmp_path / "new", read_only=True) as database:
        again = database.store()
        assert again.job(repair).all(Repair)[0].damage == "A stone chip"
        with pytest.raises(Unknown):
            again.job(other)
    with zipfile.ZipFile(tmp_path / "job.zip") as archive:
        assert archive.read(SECRETS) == b""
    with pytest.raises(Unknown):
        backup(store, tmp_path / "none.zip", jobs=[str(uuid4())])


def test_the_journal_in_a_backup_is_readable_without_this_program(
    filled: ShopStore, tmp_path: Path
) -> None:
    import hashlib

    backup(filled, tmp_path / "b.zip")
    with zipfile.ZipFile(tmp_path / "b.zip") as archive:
        lines = archive.read(JOURNAL).splitlines()
    known = {head.hash for head in filled.heads()}
    hashes = set()
    previous: dict[str, str] = {}
    for line in lines:
        entry = json.loads(line)
        assert entry["previous"] == previous.get(entry["chain"], "")
        previous[entry["chain"]] = hashlib.sha256(line).hexdigest()
        hashes.add(previous[entry["chain"]])
    assert known <= hashes

"""Backup and restore: the whole record of a shop, or some of its jobs, in one file."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from service.domain.moment import as_text
from service.domain.refused import Refused, Unknown
from service.storage.archive import (
    JOURNAL,
    SECRETS,
    Archive,
    ArchiveWriter,
    Manifest,
    NotABackup,
)
from service.storage.codec import SECRETS as SECRET_FIELDS
from service.storage.database import Database, open_database
from service.storage.folder import NAME as LOCK
from service.storage.journal import Head
from service.storage.left_out import LeftOut, note_left_out
from service.storage.migrations import HEAD as SCHEMA
from service.storage.photo_files import sync_folder
from service.storage.replay import Replay
from service.storage.report import Report
from service.storage.sql import Sql
from service.storage.store import ShopStore
from service.storage.verify import verify


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """What was restored, and that it was verified."""

    shop_id: str
    heads: tuple[Head, ...]
    report: Report


def backup(store: ShopStore, file: Path, *, jobs: Sequence[str] | None = None) -> Manifest:
    """Write the record into one new file, verify what was written, then give it its name.

    Works while the service runs. With ``jobs`` it is an export of those jobs, with the jobs
    they repair, the shop's own chain, and without secrets.

    Raises
    ------
    NotABackup
        When what was written does not verify; the file is not left behind then.
    """
    if file.exists():
        raise Refused(f"{file} is already there. Name a new file; an old backup is worth keeping.")
    store.database.note_heads()
    file.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=f".{file.name}.", suffix=".part", dir=file.parent)
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as out:
            with closing(ArchiveWriter(out)) as writer:
                manifest = _write(store, writer, jobs)
            out.flush()
            os.fsync(out.fileno())
        _check(part)
        part.chmod(0o600)
        os.link(part, file)
    finally:
        part.unlink()
    sync_folder(file.parent)
    return manifest


def restore(file: Path, data_dir: Path, database_url: str | None = None) -> Restored:
    """Restore a backup into an empty folder (and, with a URL, a database) and verify it.

    Raises
    ------
    Refused
        When the folder is not empty or the file is no whole backup; the folder stays empty.
    """
    if data_dir.exists() and any(data_dir.iterdir()):
        raise Refused(f"The folder {data_dir} is not empty. Name an empty or a new one.")
    with closing(Archive(file)) as archive:
        data_dir.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix=f".{data_dir.name}.", dir=data_dir.parent))
        try:
            restored = _fill(archive, part, database_url)
            if not restored.report.ok:
                raise _does_not_verify(file, restored.report)
            if data_dir.exists():
                data_dir.rmdir()
            part.rename(data_dir)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    sync_folder(data_dir.parent)
    return restored


def _write(store: ShopStore, writer: ArchiveWriter, jobs: Sequence[str] | None) -> Manifest:
    with store.database.snapshot() as sql:
        heads = [
            Head(*row)
            for row in sql.rows(
                "SELECT chain, position, hash FROM heads WHERE shop_id = ? ORDER BY chain",
                (store.shop_id,),
            )
        ]
        every = {head.chain for head in heads}
        chosen = every if jobs is None else {store.shop_id} | _with_repaired(sql, store, jobs)
        kept = sorted(
            (head for head in heads if head.chain in chosen),
            key=lambda head: (head.chain != store.shop_id, head.chain),
        )
        writer.lines(JOURNAL, _entries(sql, kept))
        writer.lines(SECRETS, _secrets(sql, store.shop_id) if jobs is None else iter(()))
        photos = {
            str(row[1])
            for row in sql.rows(
                "SELECT job_id, sha256 FROM photos WHERE shop_id = ? UNION "
                "SELECT job_id, photo_sha256 FROM frames "
                "WHERE shop_id = ? AND photo_sha256 IS NOT NULL",
                (store.shop_id, store.shop_id),
            )
            if row[0] in chosen
        }
    for sha in sorted(photos):
        writer.photo(sha, store.photos.get(sha))
    manifest = Manifest(
        shop_id=store.shop_id,
        made_at=as_text(store.database.clock()),
        schema=SCHEMA,
        heads=tuple(kept),
        left_out=tuple(sorted(every - chosen)),
        has_secrets=jobs is None,
    )
    writer.finish(manifest)
    return manifest


def _with_repaired(sql: Sql, store: ShopStore, jobs: Sequence[str]) -> set[str]:
    """The jobs asked for and those whose finishes they repair."""
    chosen: set[str] = set()
    waiting = list(jobs)
    while waiting:
        job_id = waiting.pop()
        if job_id in chosen:
            continue
        if (
            sql.row("SELECT 1 FROM jobs WHERE id = ? AND shop_id = ?", (job_id, store.shop_id))
            is None
        ):
            raise Unknown("job", job_id)
        chosen.add(job_id)
        waiting += [
            str(row[0])
            for row in sql.rows("SELECT stored_job_id FROM repairs WHERE job_id = ?", (job_id,))
        ]
    return chosen


def _entries(sql: Sql, heads: Sequence[Head]) -> Iterator[str]:
    for head in heads:
        for (text,) in sql.each(
            "SELECT payload FROM journal WHERE chain = ? ORDER BY position", (head.chain,)
        ):
            yield text


def _secrets(sql: Sql, shop_id: str) -> Iterator[str]:
    for table, field in sorted(SECRET_FIELDS):
        for id, value in sql.rows(
            f'SELECT id, "{field}" FROM "{table}" WHERE shop_id = ? ORDER BY id', (shop_id,)
        ):
            yield json.dumps({"table": table, "id": id, "value": value})


def _check(file: Path) -> None:
    """Restore what was written into a folder of its own and verify that."""
    with (
        closing(Archive(file)) as archive,
        tempfile.TemporaryDirectory(prefix=".backup-check.", dir=file.parent) as folder,
    ):
        report = _fill(archive, Path(folder), None, copy_photos=False).report
    if not report.ok:
        raise _does_not_verify(file, report)


def _fill(
    archive: Archive, folder: Path, database_url: str | None, *, copy_photos: bool = True
) -> Restored:
    manifest = archive.manifest
    with open_database(folder, database_url) as database:
        if any(id == manifest.shop_id for id, _ in database.shops()):
            raise Refused("The shop of this backup is already in that database. Name an empty one.")
        if copy_photos:
            for sha in archive.all():
                if database.photos.put(archive.raw(sha)) != sha:
                    raise NotABackup(
                        f"The photo {sha} in {archive.file} was changed. Take another backup."
                    )
        note_left_out(
            folder, LeftOut(jobs=frozenset(manifest.left_out), secrets=not manifest.has_secrets)
        )
        heads = _replay(database, archive)
        report = verify(
            ShopStore(database, manifest.shop_id),
            heads=manifest.heads,
            photos=None if copy_photos else archive,
        )
    (folder / LOCK).unlink(missing_ok=True)
    if sorted(heads) != sorted(manifest.heads):
        report.found(str(archive.file), "its heads are not those its manifest names")
    return Restored(shop_id=manifest.shop_id, heads=tuple(heads), report=report)


def _replay(database: Database, archive: Archive) -> list[Head]:
    secrets = archive.secrets()

    def work(sql: Sql) -> list[Head]:
        try:
            return Replay(sql, archive.manifest.shop_id, secrets).run(archive.entries())
        except (ValueError, KeyError, TypeError) as error:
            raise NotABackup(
                f"{archive.file} is damaged in its journal ({error!r}). Take another backup."
            ) from error

    heads = database.writer().run(work)
    database.recorded(heads)
    return heads


def _does_not_verify(file: Path, report: Report) -> NotABackup:
    return NotABackup(
        f"The backup {file.name} does not verify: {report.first_bad}. "
        "Nothing was kept of it. Run keepcard verify on the record it comes from."
    )

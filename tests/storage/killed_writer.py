"""A process that writes until it is killed; run by ``test_kill.py``.

It starts once, imports everything, and forks a writer for each line ``FOLDER ACKNOWLEDGED`` on
standard input, answering with the writer's process number. The writer notes each receipt in the
second file, outside the record, as soon as it has it.
"""

from __future__ import annotations

import os
import sys
import threading
from pathlib import Path
from uuid import uuid4

from service.domain.records.cards import Card, Photo
from service.domain.records.job import Finish, Job, Panel
from service.domain.records.shop import Person
from service.storage.database import open_database
from service.storage.store import ShopStore
from service.use_cases.ports import Unit
from tests.storage.samples import usual


def write_on(store: ShopStore, job_id: str, acknowledged: int, photos: bool) -> None:
    """Write one small change after another, for ever."""
    person_id = store.shop().all(Person)[0].root
    while True:
        sha = store.photos.put(os.urandom(200)) if photos else ""

        def work(unit: Unit, sha: str = sha) -> None:
            file = unit.job(job_id)
            if sha:
                unit.add(
                    Photo(
                        **usual(unit),
                        job_id=job_id,
                        card_id=file.all(Card)[0].root,
                        sha256=sha,
                        media_type="image/jpeg",
                        size_bytes=200,
                        width=10,
                        height=10,
                    )
                )
            else:
                finish_id = file.all(Finish)[0].root
                unit.add(Panel(**usual(unit), job_id=job_id, finish_id=finish_id, name="Door"))

        key = str(uuid4())
        receipt = store.write(
            change_id=key, kind="killed", fingerprint="", person_id=person_id, work=work
        )
        line = f"{key} {receipt.chain} {receipt.position} {receipt.hash}\n"
        os.write(acknowledged, line.encode())


def writer(folder: Path, noted: Path) -> None:
    """Open the record, be it new or what the last kill left, and write from three threads."""
    acknowledged = os.open(noted, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    database = open_database(folder)
    if not database.shops():
        database.create_shop("Shop", manager="A")
        os.write(acknowledged, b"")
    store = database.store()
    with store.reading() as sql:
        row = sql.row("SELECT id FROM jobs WHERE revision = 1")
    if row is None:
        job_id = str(uuid4())

        def open_job(unit: Unit) -> None:
            every = usual(unit) | {"id": job_id, "job_id": job_id}
            unit.add(Job(**every, work_order="W-1", title="An invented van"))
            unit.add(Finish(**usual(unit), job_id=job_id, name="Body", kind="solid"))  # type: ignore[arg-type]

        store.write(
            change_id=str(uuid4()),
            kind="open_job",
            fingerprint="",
            person_id=store.shop().all(Person)[0].root,
            work=open_job,
        )
    else:
        job_id = str(row[0])
    has_card = bool(store.job(job_id).all(Card))
    for number in range(3):
        threading.Thread(
            target=write_on,
            args=(store, job_id, acknowledged, has_card and number == 0),
            daemon=True,
        ).start()
    threading.Event().wait()


def main() -> None:
    """Fork a writer for each line."""
    for line in sys.stdin:
        folder, noted = line.split()
        pid = os.fork()
        if pid == 0:
            try:
                writer(Path(folder), Path(noted))
            finally:
                os._exit(1)
        print(pid, flush=True)
        os.waitpid(pid, 0)
        print("dead", flush=True)


if __name__ == "__main__":
    # Alembic is needed for a new folder; imported here, it is not imported by each writer.
    import alembic.command  # noqa: F401

    main()

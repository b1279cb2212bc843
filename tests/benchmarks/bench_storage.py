"""Durable card logging through the store against the same rows by a plain ORM; and load times.

Run ``python -m tests.benchmarks.bench_storage [--cards N] [--database URL]``. Both sides write
the same rows to the same schema on the same disk: a card with its coats and zones, the journal
entry with its hash, the head, the lines. The plain side is what one writes first: a session a
request, one commit a request, objects in, objects out.
"""

from __future__ import annotations

import argparse
import cProfile
import hashlib
import json
import pstats
import statistics
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import uuid4

from service.domain.card_code import new_card_code
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Finish, Job
from service.domain.records.measuring import AngleReading, Reading
from service.domain.records.shop import Person
from service.domain.records.spraying import Batch, Coat, Component
from service.domain.terms import (
    CardKind,
    CoatRole,
    ComponentRole,
    FinishKind,
    Stage,
    ZoneState,
)
from service.storage.database import FILE, Database, open_database
from service.storage.engine import choose_sqlite, connect_sqlite
from service.storage.store import ShopStore
from service.use_cases.cards import CardCoats, CardZone, LogCard
from service.use_cases.command import change_for
from service.use_cases.ports import Unit
from tests.storage.samples import usual, write

JOBS, BATCHES = 400, 5
Card_ = Callable[[int], None]


def prepare(store: ShopStore) -> list[tuple[str, str]]:
    """Some jobs with batches; job and batch of each place a card can go to."""
    places = []
    for number in range(JOBS):
        job_id, finish_id = str(uuid4()), str(uuid4())
        batches = [str(uuid4()) for _ in range(BATCHES)]

        def work(
            unit: Unit,
            job_id: str = job_id,
            finish_id: str = finish_id,
            batches: list[str] = batches,
            number: int = number,
        ) -> None:
            every = usual(unit)
            unit.add(
                Job(
                    **every | {"id": job_id},
                    job_id=job_id,
                    work_order=f"W-{number}",
                    title="An invented van",
                )
            )
            unit.add(
                Finish(
                    **every | {"id": finish_id},
                    job_id=job_id,
                    name="Body",
                    kind=FinishKind.SOLID,
                )
            )
            for index, batch_id in enumerate(batches, 1):
                unit.add(
                    Batch(
                        **every | {"id": batch_id},
                        job_id=job_id,
                        finish_id=finish_id,
                        number=index,
                        role=CoatRole.BASE,
                    )
                )

        write(store, work)
        places += [(job_id, batch_id) for batch_id in batches]
    return places


def by_the_store(store: ShopStore, places: list[tuple[str, str]]) -> Card_:
    """Log a card by the use case, through the store."""
    person_id = store.shop().all(Person)[0].root

    def log(number: int) -> None:
        job_id, batch_id = places[number % len(places)]
        command = LogCard(
            id=str(uuid4()),
            job_id=job_id,
            batch_id=batch_id,
            code=new_card_code(),
            slot=f"A-{number}",
            coats=(CardCoats(batch_id=batch_id, coats=2),),
            zones=(
                CardZone(name="bare", state=ZoneState.BARE_BASE, cleared=False),
                CardZone(name="cleared", state=ZoneState.CLEARED, cleared=True),
            ),
        )
        store.write(**change_for(store, person_id, command))

    return log


def by_plain_orm(
    folder: Path, shop_id: str, person_id: str, places: list[tuple[str, str]]
) -> Card_:
    """Log a card by objects mapped to the same tables, a session and a commit a card."""
    from sqlalchemy import create_engine, event, select
    from sqlalchemy.orm import Session, registry
    from sqlalchemy.pool import QueuePool

    from service.storage.tables import metadata

    mapper = registry()

    def mapped(table: str) -> Any:
        kind = type(f"Row_{table}", (), {})
        mapper.map_imperatively(kind, metadata.tables[table])

        def make(**values: Any) -> Any:
            row = kind()
            for name, value in values.items():
                setattr(row, name, value)
            return row

        make.kind = kind  # type: ignore[attr-defined]
        return make

    names = ("cards", "coats", "zones", "batches", "journal", "heads", "card_lines", "batch_lines")
    rows = {name: mapped(name) for name in names}
    engine = create_engine(
        "sqlite://",
        creator=lambda: connect_sqlite(choose_sqlite(), folder / FILE, writing=True),
        poolclass=QueuePool,
        pool_size=16,
    )
    event.listen(engine, "begin", lambda c: c.exec_driver_sql("BEGIN IMMEDIATE"))
    heads, journal, cards = rows["heads"].kind, rows["journal"].kind, rows["cards"].kind
    batches, lines = rows["batches"].kind, rows["batch_lines"].kind

    def log(number: int) -> None:
        job_id, batch_id = places[number % len(places)]
        code, change_id, now = new_card_code(), str(uuid4()), "2026-03-04T05:06:07.000000Z"
        with Session(engine) as session:
            known = session.scalars(select(journal).where(journal.change_id == change_id))
            if known.first() is not None:
                raise ValueError("sent twice")
            batch = session.get(batches, batch_id)
            head = session.scalars(select(heads).where(heads.chain == job_id)).one()
            if session.scalars(select(cards).where(cards.code == code)).first() is not None:
                raise ValueError("taken")
            position = head.position + 1
            every = {
                "shop_id": shop_id,
                "author_id": person_id,
                "observed_at": now,
                "received_at": now,
                "revision": 1,
                "withdrawn": False,
                "job_id": job_id,
                "position": position,
            }
            card_id = change_id
            added = [
                (
                    "cards",
                    {
                        **every, "id": card_id, "ordinal": 0, "batch_id": batch_id,
                        "finish_id": batch.finish_id, "code": code, "kind": "retention",
                        "slot": f"A-{number}", "substrate": "", "hung": "upright",
                        "hiding_mark": "none", "ground_shade": "", "note": "",
                    },
                )
            ]  # fmt: skip
            for index in (1, 2):
                added.append((
                    "coats",
                    {
                        **every, "id": str(uuid4()), "ordinal": index, "batch_id": batch_id,
                        "role": "base", "number": index, "card_id": card_id, "booth": "",
                        "gun": "",
                    },
                ))  # fmt: skip
            for index, name in ((3, "bare"), (4, "cleared")):
                added.append((
                    "zones",
                    {
                        **every, "id": str(uuid4()), "ordinal": index, "card_id": card_id,
                        "name": name, "state": name, "cleared": index == 4,
                    },
                ))  # fmt: skip
            payload = json.dumps(
                {
                    "chain": job_id, "position": position, "previous": head.hash,
                    "shop_id": shop_id, "change_id": change_id, "kind": "log_card",
                    "fingerprint": "", "person_id": person_id, "received_at": now, "heads": [],
                    "rows": [{"table": table, "row": row} for table, row in added],
                },
                sort_keys=True,
            )  # fmt: skip
            digest = hashlib.sha256(payload.encode()).hexdigest()
            session.add_all(rows[table](**row) for table, row in added)
            session.add(
                rows["journal"](
                    chain=job_id, position=position, shop_id=shop_id, change_id=change_id,
                    kind="log_card", fingerprint="", person_id=person_id, received_at=now,
                    payload=payload, hash=digest,
                )
            )  # fmt: skip
            head.position, head.hash = position, digest
            session.add(
                rows["card_lines"](
                    id=card_id, shop_id=shop_id, job_id=job_id, finish_id=batch.finish_id,
                    batch_id=batch_id, code=code, kind="retention", slot=f"A-{number}",
                    sprayed_at=now, painter_id=person_id, batch_number=1, work_order="W",
                    job_title="An invented van", finish_name="Body", finish_kind="solid",
                    colour_code="", colour_name="", panels="", whereabouts="rack",
                    is_master=False, conditions="", search=f"{code} body {number}".casefold(),
                )
            )  # fmt: skip
            line = session.get(lines, batch_id)
            line.gap = "no_reading"
            session.commit()

    return log


def measured(log: Card_, count: int, threads: int) -> dict[str, float]:
    """Cards a second and the time of each, with so many clients that each wait for an answer."""
    times: list[float] = []
    numbers = iter(range(count))
    lock = threading.Lock()
    failed: list[Exception] = []
    locked: list[Exception] = []

    def client() -> None:
        while True:
            with lock:
                number = next(numbers, None)
            if number is None or failed:
                return
            start = time.perf_counter()
            try:
                log(number)
            except Exception as error:
                # A busy machine lets a plain writer wait past SQLite's patience; that is a
                # result too.
                if "database is locked" in str(error):
                    locked.append(error)
                    continue
                failed.append(error)
                return
            times.append(time.perf_counter() - start)

    clients = [threading.Thread(target=client) for _ in range(threads)]
    start, worked = time.perf_counter(), time.process_time()
    for thread in clients:
        thread.start()
    for thread in clients:
        thread.join()
    took, worked = time.perf_counter() - start, time.process_time() - worked
    if failed:
        raise failed[0]
    ordered = sorted(times)
    return {
        "per_second": len(times) / took,
        "locked": len(locked),
        "cpu_ms": 1000 * worked / count,
        "p50_ms": 1000 * statistics.median(ordered),
        "p99_ms": 1000 * ordered[int(0.99 * len(ordered))],
    }


def fresh(url: str | None) -> tuple[Path, Database, ShopStore, list[tuple[str, str]]]:
    """An empty record with jobs to log cards in."""
    folder = Path(tempfile.mkdtemp(prefix="bench-"))
    database = open_database(folder, url)
    store = database.create_shop("Bench", manager="A")
    return folder, database, store, prepare(store)


def bench_logging(count: int, url: str | None) -> None:
    """Print cards a second by the store and by the plain ORM."""
    for threads in (1, 16):
        _, database, store, places = fresh(url)
        log = by_the_store(store, places)
        measured(log, 200, threads)
        ours = measured(log, count, threads)
        database.close()
        print(_line("store", threads, ours))
        if url is not None:
            continue
        folder, database, store, places = fresh(None)
        person_id = store.shop().all(Person)[0].root
        database.close()
        plain = by_plain_orm(folder, store.shop_id, person_id, places)
        measured(plain, 50, threads)
        theirs = measured(plain, max(200, count // 4), threads)
        print(_line("plain ORM", threads, theirs))
        print(f"    store / plain ORM: {ours['per_second'] / theirs['per_second']:.1f} x")


def _line(name: str, threads: int, figures: dict[str, float]) -> str:
    return (
        f"{name:10} {threads:2} clients: {figures['per_second']:7.0f} cards/s, "
        f"p50 {figures['p50_ms']:.2f} ms, p99 {figures['p99_ms']:.2f} ms, "
        f"{figures['cpu_ms']:.2f} ms of processor a card"
        + (f", {figures['locked']:.0f} refused as locked" if figures["locked"] else "")
    )


def bench_load(url: str | None, batches: int = 200) -> None:
    """Print how long the file of a large job takes to read, from nothing and again."""
    folder = Path(tempfile.mkdtemp(prefix="bench-"))
    database = open_database(folder, url)
    store = database.create_shop("Bench", manager="A")
    job_id, finish_id = str(uuid4()), str(uuid4())

    def open_job(unit: Unit) -> None:
        every = usual(unit)
        unit.add(
            Job(**every | {"id": job_id}, job_id=job_id, work_order="W-200", title="A long van"),
            Finish(
                **every | {"id": finish_id}, job_id=job_id, name="Body", kind=FinishKind.METALLIC
            ),
        )

    write(store, open_job)
    for number in range(1, batches + 1):

        def log_batch(unit: Unit, number: int = number) -> None:
            batch_id, card_id, zone_id = (str(uuid4()) for _ in range(3))

            def fields(id: str | None = None) -> dict[str, Any]:
                return {**usual(unit), "job_id": job_id} | ({"id": id} if id else {})

            unit.add(
                Batch(**fields(batch_id), finish_id=finish_id, number=number, role=CoatRole.BASE),
                *(
                    Component(**fields(), batch_id=batch_id, product=name, role=role, amount=100.0)
                    for name, role in (
                        ("base", ComponentRole.BASE),
                        ("thinner", ComponentRole.REDUCER),
                        ("hardener", ComponentRole.HARDENER),
                    )
                ),
                Card(
                    **fields(card_id),
                    batch_id=batch_id,
                    finish_id=finish_id,
                    code=new_card_code(),
                    kind=CardKind.RETENTION,
                ),
                Zone(
                    **fields(zone_id),
                    card_id=card_id,
                    name="all",
                    state=ZoneState.CLEARED,
                    cleared=True,
                ),
                *(
                    Coat(
                        **fields(),
                        batch_id=batch_id,
                        role=CoatRole.BASE,
                        number=n,
                        card_id=card_id,
                    )
                    for n in (1, 2, 3)
                ),
                Reading(
                    **fields(),
                    stage=Stage.CLEARED,
                    illuminant="D65",
                    observer=10,
                    geometry="multi-angle",
                    card_id=card_id,
                    zone_id=zone_id,
                    angles=tuple(
                        AngleReading(
                            repeats=((50.1, -1.2, 3.4), (50.2, -1.1, 3.5), (50.0, -1.3, 3.3)),
                            angle=angle,
                        )
                        for angle in (15, 45, 110)
                    ),
                ),
            )

        write(store, log_batch)
    database.close()
    with open_database(folder, url, read_only=True) as database:
        store = database.store(store.shop_id)
        start = time.perf_counter()
        file = store.job(job_id)
        first = time.perf_counter() - start
        records = sum(len(file.all(kind)) for kind in (Batch, Component, Card, Zone, Coat, Reading))
        start = time.perf_counter()
        for _ in range(200):
            store.job(job_id)
        again = (time.perf_counter() - start) / 200
    print(
        f"file of a job with {batches} batches ({records} records): "
        f"{1000 * first:.1f} ms from the journal, {1000 * again:.3f} ms when known"
    )


def main() -> None:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cards", type=int, default=4000)
    parser.add_argument("--database", help="a PostgreSQL URL, for an empty database")
    parser.add_argument("--profile", action="store_true", help="where one client's time goes")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        tempfile.tempdir = folder
        run(options)


def run(options: argparse.Namespace) -> None:
    """Run it; the folders go away afterwards."""
    if options.profile:
        _, database, store, places = fresh(options.database)
        from service.storage import writer

        profile = cProfile.Profile()
        original = writer.SqliteWriter._write
        writer.SqliteWriter._write = lambda self, group: profile.runcall(original, self, group)  # type: ignore[method-assign]
        measured(by_the_store(store, places), options.cards, 1)
        database.close()
        pstats.Stats(profile).sort_stats("tottime").print_stats(35)
        return
    bench_logging(options.cards, options.database)
    bench_load(options.database)


if __name__ == "__main__":
    main()

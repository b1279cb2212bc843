"""Server time of the manager's pages: the audit over 100,000 cards, and a job of 200 batches.

Run it by itself: python -m tests.benchmarks.bench_audit_page [cards] [rounds]
Goals: the audit over 100,000 cards at most 300 ms; finish, joint and verdict of a 200-batch job
p99 at most 30 ms. The lines of the cards are those of bench_queries, each job with an entry of
its own in the journal, all released; on top come a job of 200 batches and ten smaller open ones,
logged as any other. Pages are asked for in turn, straight at the application, signed in; the
ratio is to one's own page, which reads nothing of a job.
"""

from __future__ import annotations

import asyncio
import statistics
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from service.app import create_app
from service.domain.records.job import Finish, Job, Joint
from service.domain.records.measuring import Verdict
from service.domain.terms import FinishKind
from service.settings import Settings
from service.storage.database import open_database
from service.storage.journal import BEFORE_FIRST, INSERT_ENTRY, Head, make_entry
from service.storage.schema import CODECS, PLACE
from service.storage.sql import Sql, insert_into
from service.storage.store import ShopStore
from service.use_cases.closing import Accept
from tests.benchmarks.bench_pages import Took, Visitor, build, line
from tests.benchmarks.bench_queries import START, Maker, fill, stamp
from tests.shop_hand import ShopHand

OPEN_JOBS, BATCHES_OF_EACH = 10, 12
FIRST = START.replace(tzinfo=UTC)


class ReleasedMaker(Maker):
    """Lines of jobs that have all left, and the finish of each for its entry in the journal."""

    def __init__(self, shop_id: str, cards: int, seed: int) -> None:
        super().__init__(shop_id, cards, seed)
        self.finishes: list[str] = []

    def job(self, rows: dict[str, list[tuple[Any, ...]]], first: int, step: timedelta) -> None:
        """As the maker it comes from has it, but released."""
        super().job(rows, first, step)
        *start, released, repairs, search = rows["job_lines"][-1]
        rows["job_lines"][-1] = (*start, released or stamp(datetime(2026, 1, 1)), repairs, search)
        self.finishes.append(rows["batch_lines"][-1][3])


def journal_of(store: ShopStore, maker: ReleasedMaker, person_id: str) -> None:
    """The first entry of each job: the job and its finish, so that its file can be read."""
    sql = Sql(store.database._connect(True), postgresql=False)
    every = {"shop_id": store.shop_id, "author_id": person_id}
    every |= {"observed_at": FIRST, "received_at": FIRST}
    rows: dict[str, list[list[Any]]] = {"jobs": [], "finishes": []}
    entries, heads = [], []
    for (job_id, work_order), finish_id in zip(maker.jobs, maker.finishes, strict=True):
        records = (
            Job(id=job_id, job_id=job_id, work_order=work_order, title="Invented van", **every),
            Finish(id=finish_id, job_id=job_id, name="Body", kind=FinishKind.SOLID, **every),
        )
        told = []
        for ordinal, record in enumerate(records):
            values, plain, _ = CODECS[record.table].encode(record)
            rows[record.table].append([*values, 1, ordinal])
            told.append({"table": record.table, "row": plain})
        entry = make_entry(
            Head(job_id, 0, BEFORE_FIRST),
            shop_id=store.shop_id,
            change_id=maker.id(),
            kind="open_job",
            fingerprint="",
            person_id=person_id,
            received_at=stamp(START),
            rows=told,
        )
        entries.append(entry)
        heads.append((job_id, store.shop_id, 1, entry.hash))
    sql.run("BEGIN")
    for table, lines in rows.items():
        sql.many(insert_into(table, (*CODECS[table].names, *PLACE)), lines)
    sql.many(INSERT_ENTRY, entries)
    sql.many(insert_into("heads", ("chain", "shop_id", "position", "hash")), heads)
    sql.run("COMMIT")
    sql.connection.close()


def pages_of(hand: ShopHand, maker: ReleasedMaker) -> dict[str, str]:
    """Every page that is asked for, by its name in the table."""
    file, job_path = hand.file, f"/jobs/{hand.job_id}"
    finish = f"{job_path}/finishes/{hand.finish}"
    shows = [v for v in file.all(Verdict) if v.joint_id]
    joint = file.get(Joint, shows[len(shows) // 2].joint_id or "")
    of_batch = [v for v in file.all(Verdict) if v.batch_id][-1]
    return {
        "one's own page (floor)": "/person",
        "audit": "/audit",
        "audit of a product": "/audit?product=Base+7",
        "audit of a painter": f"/audit?painter_id={maker.painters[3]}",
        "audit of a booth": "/audit?booth=Booth+2",
        "audit of a year": "/audit?sprayed_from=2018-01-01&sprayed_to=2018-12-31",
        "audit of a lot": "/audit?lot=120-1",
        "audit, what shows": "/audit?word=shows",
        "finish": finish,
        "finish, nothing folded": f"{finish}?show=all",
        "joint": f"{job_path}/joints/{joint.root}",
        "verdict": f"{job_path}/verdicts/{of_batch.root}",
        "release": f"{job_path}/release",
        "journal": f"{job_path}/journal",
        "correct": f"{job_path}/correct/batches/{of_batch.batch_id}",
        "history": f"{job_path}/history/batches/{of_batch.batch_id}",
        "shop's book": "/shop",
    }


async def measure(app: Any, hand: ShopHand, maker: ReleasedMaker, rounds: int) -> None:
    """Ask for every page in turn, then for the two that change most after changes."""
    here, pages = Visitor(app, hand.manager), pages_of(hand, maker)
    times: dict[str, list[Took]] = {name: [] for name in pages}
    sizes: dict[str, int] = {}
    first: dict[str, Took] = {}
    for turn in range(rounds + 3):
        for name, path in pages.items():
            took, sizes[name] = await here.ask(path)
            first.setdefault(name, took)
            if turn >= 3:
                times[name].append(took)
    for name in ("audit", "finish"):
        times[f"{name}, after a change"] = []
        sizes[f"{name}, after a change"] = sizes[name]
        batches = [v.batch_id for v in hand.file.all(Verdict) if v.batch_id]
        for turn in range(min(rounds, 100)):
            hand.on_job(Accept, batch_id=batches[turn % len(batches)], why="Seen in daylight.")
            times[f"{name}, after a change"].append((await here.ask(pages[name]))[0])
    floor = statistics.median(took.work for took in times["one's own page (floor)"])
    print(f"{'':26}{'by the clock, ms':>18}{'work, ms':>18}{'x floor':>9}{'KiB':>7}")
    print(f"{'page':26}{'p50':>9}{'p99':>9}{'p50':>9}{'p99':>9}")
    for name, taken in times.items():
        print(line(name, taken, sizes[name], floor))
    print(f"the very first audit took {first['audit'].clock:.0f} ms by the clock")


def main(cards: int, rounds: int) -> None:
    """Make the shop, then measure."""
    with tempfile.TemporaryDirectory(prefix="bench-audit-") as made:
        make_and_measure(Path(made), cards, rounds)


def make_and_measure(folder: Path, cards: int, rounds: int) -> None:
    """The same in a given folder."""
    began = time.perf_counter()
    with open_database(folder) as database:
        store = database.create_shop("Bench shop", manager="First Manager")
        maker = ReleasedMaker(store.shop_id, cards, 7)
        fill(store, maker)
        hand = ShopHand(store)
        journal_of(store, maker, hand.manager)
        for _ in range(OPEN_JOBS):
            build(hand, BATCHES_OF_EACH)
            hand.clock += timedelta(days=60)
        build(hand, 200)
    print(f"{cards:,} cards and {OPEN_JOBS + 1} open jobs in {time.perf_counter() - began:.0f} s")
    app = create_app(Settings(data_dir=folder, zone="Europe/Lisbon"))
    hand.store = app.state.services.shop.store

    async def run() -> None:
        async with app.router.lifespan_context(app):
            await measure(app, hand, maker, rounds)

    asyncio.run(run())
    app.state.database.close()


if __name__ == "__main__":
    given = [int(argument) for argument in sys.argv[1:3]]
    main(*given, *(100_000, 200)[len(given) :])

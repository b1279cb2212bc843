"""Reads over many jobs, from 1,000 to 1,000,000 cards: medians, and their ratio in one run.

    python tests/benchmarks/bench_queries.py [--cards 1000,100000,1000000] [--database URL]

Lines are made up and written straight into their tables: ten cards to a job of one or two
finishes, over ten years, their colours clustered around two thousand standards. Two shops share
each database, so that one shop's lists are never simply the whole table. With ``--database`` the
same is done on PostgreSQL, in a database of its own for each size.
"""

from __future__ import annotations

import argparse
import gc
import random
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
from skimage.color import deltaE_ciede2000

from colour.difference import delta_e_2000
from service.domain.card_code import CARD_ALPHABET, check_character, grouped
from service.storage.database import open_database
from service.storage.queries.sql_queries import SqlQueries
from service.storage.schema import LINE_CODECS
from service.storage.sql import Sql, insert_into
from service.storage.store import ShopStore
from service.use_cases.queries import BatchFilter, CardSearch, DueOrder

PER_JOB = 10
STANDARDS = 2_000
CHUNK = 20_000
YEARS = 10.0
START = datetime(2016, 1, 1)
END = START + timedelta(days=365.25 * YEARS)
TWO_YEARS = timedelta(days=730)
SHADES = "silver blue red grey green black white pearl deep light dark frost ember storm".split()
THINGS = "mist stone wave leaf dust smoke flame cloud river lake hill moss slate chalk".split()
VEHICLES = "van coach estate tractor hull motorcycle caravan cab tram locomotive".split()
PANELS = ("left front door", "right front door", "bonnet", "roof", "tailgate", "left wing", "sill")
LIKE: dict[str, Any] = {"illuminant": "D65", "observer": 10, "geometry": "d:8"}
CONDITIONS = "D65/10°, d:8, specular included"


class Maker:
    """Makes up the lines of one shop, a chunk of jobs at a time."""

    def __init__(self, shop_id: str, cards: int, seed: int) -> None:
        self.shop_id = shop_id
        self.cards = cards
        self.numbers = np.random.default_rng(seed)
        # The same standards for every shop and size, or the nearest cards could not be compared.
        fixed = np.random.default_rng(1)
        low, high = (5, -60, -60), (98, 70, 80)
        self.standards = fixed.uniform(low, high, size=(STANDARDS, 3))
        self.painters = [self.id() for _ in range(12)]
        self.labs: list[Any] = []
        self.jobs: list[tuple[str, str]] = []
        self._bytes = b""

    def id(self) -> str:
        """A UUID, some ten times as fast as uuid4."""
        if not getattr(self, "_bytes", b""):
            self._bytes = self.numbers.bytes(16 * 8192)
        h = self._bytes[:16].hex()
        self._bytes = self._bytes[16:]
        return f"{h[:8]}-{h[8:12]}-4{h[13:16]}-8{h[17:20]}-{h[20:]}"

    def code(self) -> str:
        """A card code; two in a million cards may be alike."""
        while True:
            body = "".join(CARD_ALPHABET[i] for i in self.numbers.integers(0, 32, size=8))
            if check_character(body) in CARD_ALPHABET:
                return body + check_character(body)

    def chunks(self) -> Iterator[dict[str, list[tuple[Any, ...]]]]:
        """Rows for each table of lines."""
        rows: dict[str, list[tuple[Any, ...]]] = {table: [] for table in LINE_CODECS}
        step = timedelta(days=365.25 * YEARS) / self.cards
        for first in range(0, self.cards, PER_JOB):
            self.job(rows, first, step)
            if len(rows["card_lines"]) >= CHUNK:
                yield rows
                rows = {table: [] for table in LINE_CODECS}
        yield rows

    def job(self, rows: dict[str, list[tuple[Any, ...]]], first: int, step: timedelta) -> None:
        """One job with its cards, batches and joints."""
        number = first // PER_JOB
        job_id, finish_id = self.id(), self.id()
        drawn = self.numbers.integers(0, 1 << 30, size=8).tolist()
        work_order = f"{24_000_000 + 7 * number}"
        title = f"{VEHICLES[drawn[0] % 10]} {THINGS[drawn[1] % 14]}{drawn[2] % 9000 + 1000}"
        shade = drawn[3] % STANDARDS
        colour_code = f"{SHADES[shade % 14][0].upper()}{shade:04d}"
        colour_name = f"{SHADES[shade % 14]} {THINGS[shade // 14 % 14]}"
        self.jobs.append((job_id, work_order))
        opened = START + step * first
        released = None if first > self.cards - 40 * PER_JOB else stamp(opened + timedelta(days=9))
        rows["job_lines"].append(
            (job_id, self.shop_id, job_id, work_order, title, stamp(opened), released, None)
            + (f"{work_order} {title}".casefold(),)
        )
        count = min(PER_JOB, self.cards - first)
        labs = self.standards[shade] + self.numbers.normal(0, (0.4, 0.3, 0.4), size=(count, 3))
        chances = self.numbers.random(size=count).tolist()
        for place, (lab, chance) in enumerate(zip(labs.tolist(), chances, strict=True)):
            self.labs.append(lab)
            batch_id, painter = self.id(), self.painters[(first + place) % 12]
            sprayed = stamp(START + step * (first + place))
            word = ("blends", "blends", "blends", "shows", "cannot_tell", None)[int(6 * chance)]
            gap = "no_reading" if word is None and first > self.cards - 1000 else ""
            difference = 2 * chance if word else None
            deltas = (lab[0] / 90, lab[1] / 90, lab[2] / 90) if word else (None,) * 3
            lots = f"{number // 30}-{place % 3}, H{number // 90}"
            product, booth = f"Base {shade % 40}", f"Booth {(first + place) % 4 + 1}"
            rows["batch_lines"].append(
                (batch_id, self.shop_id, job_id, finish_id, place + 1, "base", product, lots)
                + (painter, booth, f"Gun {place % 5}", sprayed, sprayed[:7], gap)
                + ((self.id() if word else None), word, "baked" if word else None, difference)
                + ((0.8 if word else None), *deltas, False)
            )
            code = self.code()
            slot = f"{chr(65 + number % 26)}{(first + place) % 400}"
            panels = ", ".join(PANELS[(number + i) % 7] for i in range(1 + place % 3))
            where = "in" if chance < 0.995 else "out" if chance < 0.999 else "missing"
            search = " ".join(
                (code, grouped(code), work_order, title, "Body", colour_code, colour_name)
                + (panels, f"batch {place + 1}", slot)
            )
            # Half the cards were read once, the others again within the last two years.
            read = sprayed if chance < 0.5 else stamp(END - (1 - chance) * 2 * TWO_YEARS)
            moved = 3 * chance**4 if chance >= 0.5 else None
            held = "master" if place == 0 else "last" if place % 2 else ""
            rows["card_lines"].append(
                (self.id(), self.shop_id, job_id, finish_id, batch_id, code, "retention", slot)
                + (sprayed, painter, place + 1, work_order, title, "Body", "solid", colour_code)
                + (colour_name, panels, where, None, place == 0, "baked", CONDITIONS, None)
                + (*lab, 0.05, word, difference, search.casefold())
                + (read, moved, held)
            )
        for place in range(2):
            word = ("blends", "shows", None)[drawn[4 + place] % 3]
            gap = "" if word else "one_stack"
            rows["joint_lines"].append(
                (self.id(), self.shop_id, job_id, "gap", gap, None, word, None, None, False)
            )


def stamp(moment: datetime) -> str:
    """A time as the lines have it."""
    return moment.isoformat(timespec="microseconds") + "Z"


def fill(store: ShopStore, maker: Maker) -> None:
    """Write the lines without their indexes, then make the indexes again."""
    sql = Sql(store.database._connect(True), postgresql=store.database.postgresql)
    tables = ", ".join(f"'{table}'" for table in LINE_CODECS)
    if sql.postgresql:
        found = sql.rows(
            f"SELECT indexname, indexdef FROM pg_indexes WHERE tablename IN ({tables}) "
            "AND indexname NOT LIKE 'pk_%'"
        )
    else:
        sql.run("PRAGMA cache_size = -1000000")
        found = sql.rows(
            f"SELECT name, sql FROM sqlite_schema WHERE tbl_name IN ({tables}) "
            "AND type = 'index' AND sql IS NOT NULL"
        )
    sql.run("BEGIN")
    for name, _ in found:
        sql.run(f'DROP INDEX "{name}"')
    for rows in maker.chunks():
        for table, lines in rows.items():
            names = LINE_CODECS[table].names
            if sql.postgresql:
                with sql.connection.cursor() as cursor:
                    with cursor.copy(f"COPY {table} FROM STDIN") as copy:
                        for line in lines:
                            copy.write_row(line)
            else:
                sql.many(insert_into(table, names), lines)
    for _, statement in found:
        sql.run(statement)
    sql.run("COMMIT")
    if sql.postgresql:
        sql.run("VACUUM ANALYZE")
    sql.connection.close()


class Place:
    """One database of one size, with two shops in it."""

    def __init__(self, cards: int, folder: Path, server: str | None) -> None:
        self.name = f"keepcard_bench_{uuid4().hex[:8]}"
        self.server = server
        url = None
        if server is not None:
            self.on_server(f"CREATE DATABASE {self.name} TEMPLATE template0")
            url = f"{server.rpartition('/')[0]}/{self.name}"
        self.database = open_database(folder, url)
        self.store = self.database.create_shop("Bench", manager="Manager")
        other = self.database.create_shop("Other", manager="Manager")
        self.maker = Maker(self.store.shop_id, cards, 7)
        began = time.perf_counter()
        fill(self.store, self.maker)
        fill(other, Maker(other.shop_id, min(cards // 10, 20_000), 8))
        self.queries = SqlQueries(self.store)
        print(f"{cards:>9,} cards written in {time.perf_counter() - began:.0f} s", flush=True)

    def on_server(self, statement: str) -> None:
        import psycopg

        assert self.server is not None
        with psycopg.connect(self.server, autocommit=True) as connection:
            connection.execute(statement)

    def close(self) -> None:
        self.database.close()
        if self.server is not None:
            self.on_server(f"DROP DATABASE {self.name} WITH (FORCE)")


Ask = Callable[[Place], Callable[[], Any]]


def of_cards(**given: Any) -> Ask:
    """The first page of a search for cards; a function of the place stands for its value."""

    def prepare(place: Place) -> Callable[[], Any]:
        values = {n: v(place) if callable(v) else v for n, v in given.items()}
        return lambda: place.queries.cards(CardSearch(**values))

    return prepare


def of_batches(**given: Any) -> Ask:
    """The first page of a list of batches."""
    return lambda place: lambda: place.queries.batches(BatchFilter(**given))


def audited(**given: Any) -> Ask:
    """An audit."""

    def prepare(place: Place) -> Callable[[], Any]:
        values = {n: v(place) if callable(v) else v for n, v in given.items()}
        return lambda: place.queries.audit(BatchFilter(**values))

    return prepare


def from_the_middle(place: Place) -> Callable[[], Any]:
    """A page in the middle of the list of all cards."""
    mark = place.queries.cards(CardSearch(sprayed_to="2020-12-31"), limit=1).after
    return lambda: place.queries.cards(CardSearch(), after=mark)


def a_painter(place: Place) -> str:
    return place.maker.painters[3]


def an_old_job(place: Place) -> tuple[str, str]:
    return place.maker.jobs[len(place.maker.jobs) // 3]


def due(**given: Any) -> Ask:
    """The first page of the cards that are due to be read again."""
    return lambda place: lambda: place.queries.due_cards(**{"read_before": DUE, **given})


DUE = (END - timedelta(days=365)).replace(tzinfo=UTC)
LONG_DUE = (START + timedelta(days=20)).replace(tzinfo=UTC)
YEAR = {"sprayed_from": "2018-01-01", "sprayed_to": "2018-12-31"}
ASKS: dict[str, Ask] = {
    "page: cards, first": of_cards(),
    "page: cards, from the middle": from_the_middle,
    "page: cards of a painter": of_cards(painter_id=a_painter),
    "page: cards of a job": of_cards(job_id=lambda place: an_old_job(place)[0]),
    "page: cards of a year": of_cards(**YEAR),
    "page: batches, first": of_batches(),
    "page: batches without a reading": of_batches(gap="no_reading"),
    "page: jobs with their counts": lambda place: place.queries.jobs,
    "page: open jobs": lambda place: lambda: place.queries.jobs(open_only=True),
    "search: one card in 14": of_cards(text="silver"),
    "search: one card in 200": of_cards(text="silver river"),
    "search: batches that show": of_batches(word="shows"),
    "search: cards out": of_cards(whereabouts="out"),
    "search: slot": of_cards(slot="C40"),
    "search: an old work order": of_cards(text=lambda place: an_old_job(place)[1]),
    "search: a word nobody wrote": of_cards(text="nowhere"),
    "search: a panel nobody has": of_cards(panel="nowhere"),
    "search: jobs, a word nobody wrote": lambda p: lambda: p.queries.jobs(text="nowhere"),
    "search: batches of the first lot": of_batches(lot="0-1"),
    "audit: everything": audited(),
    "audit: one product": audited(product="Base 7"),
    "audit: one painter": audited(painter_id=a_painter),
    "audit: one year": audited(**YEAR),
    "due: how many": lambda p: lambda: p.queries.due_counts(read_before=DUE),
    "due: by need, first page": due(),
    "due: by slot, first page": due(order=DueOrder.SLOT),
    "due: by slot, long ago only": due(order=DueOrder.SLOT, read_before=LONG_DUE),
    "moved: worst first": lambda p: lambda: p.queries.moved_cards(at_least=0.1),
    "values: booths": lambda place: lambda: place.queries.values("booth"),
    "values: lots": lambda place: lambda: place.queries.values("lot"),
    "values: slots": lambda place: lambda: place.queries.values("slot"),
}


def median(call: Callable[[], Any], seconds: float = 1.0) -> float:
    """Median time of a call in milliseconds, after a first one that does not count."""
    call()
    times: list[float] = []
    until = time.perf_counter() + seconds
    while len(times) < 5 or (time.perf_counter() < until and len(times) < 300):
        began = time.perf_counter()
        call()
        times.append(time.perf_counter() - began)
    return 1000 * statistics.median(times)


def measure(places: dict[int, Place], only: str) -> None:
    """Print each median, and the largest place's over the smallest's."""
    sizes = sorted(places)
    print(f"{'median, ms':36}" + "".join(f"{size:>12,}" for size in sizes) + "       ratio")
    for name, ask in ASKS.items():
        if only not in name:
            continue
        # The sizes take turns, so that a busy moment of the machine hits them alike.
        calls = {size: ask(places[size]) for size in sizes}
        rounds = [{size: median(call, 0.3) for size, call in calls.items()} for _ in range(3)]
        found = [statistics.median(r[size] for r in rounds) for size in sizes]
        ratio = statistics.median(r[sizes[-1]] / r[sizes[0]] for r in rounds)
        print(f"{name:36}" + "".join(f"{ms:12.2f}" for ms in found) + f"{ratio:12.2f}", flush=True)


def nearest(place: Place, count: int = 300) -> None:
    """Nearest cards against comparing every card: mismatches, median, p99, times faster."""
    labs = np.array(place.maker.labs)
    drawn = random.Random(3)
    low, high = place.maker.standards.min(axis=0), place.maker.standards.max(axis=0)
    kinds: dict[str, list[Sequence[float]]] = {
        "like a stored card": [
            (np.array(drawn.choice(place.maker.labs)) + np.random.default_rng(i).normal(0, 0.3, 3))
            .round(2)
            .tolist()
            for i in range(count)
        ],
        "any colour": [
            [drawn.uniform(x, y) for x, y in zip(low, high, strict=True)] for _ in range(count)
        ],
    }
    brute = median(lambda: deltaE_ciede2000(np.tile(kinds["any colour"][0], (len(labs), 1)), labs))
    for kind, queries in kinds.items():
        times, wrong = [], 0
        for number, query in enumerate(queries):
            colour = (query[0], query[1], query[2])
            began = time.perf_counter()
            found = place.queries.nearest_cards(colour, **LIKE, count=8)
            times.append(1000 * (time.perf_counter() - began))
            if number % 10 == 0:
                every = np.sort(np.asarray(delta_e_2000(np.array(query), labs)))[:8]
                wrong += not np.allclose([n.delta_e_2000 for n in found], every, rtol=0, atol=1e-9)
        print(
            f"nearest 8 of {len(labs):,}, {kind}: median {statistics.median(times):.2f} ms, "
            f"p99 {np.quantile(times, 0.99):.1f} ms, {wrong} mismatches in {len(queries) // 10}; "
            f"comparing all by scikit-image {brute:.0f} ms, "
            f"{brute / statistics.median(times):.0f} times as long",
            flush=True,
        )


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--cards", default="1000,100000,1000000")
    parser.add_argument("--database", help="a PostgreSQL server where databases may be made")
    parser.add_argument("--only", default="", help="a word in the names of what is measured")
    given = parser.parse_args(arguments)
    root = Path(tempfile.mkdtemp(prefix="keepcard-bench-"))
    places: dict[int, Place] = {}
    try:
        for size in map(int, given.cards.split(",")):
            places[size] = Place(size, root / str(size), given.database)
        gc.freeze()
        measure(places, given.only)
        for size in sorted(places)[1:]:
            if given.only in "nearest":
                nearest(places[size])
    finally:
        for place in places.values():
            place.close()
        shutil.rmtree(root)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))

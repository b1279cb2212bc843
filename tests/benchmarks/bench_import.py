"""Taking a readings file in: reading it, matching it to cards, storing it; beside one by one.

Run ``python -m tests.benchmarks.bench_import``. The file holds three spectra of each card. Beside
the whole import stands what the same readings cost when each is logged by itself, in the same run.
"""

from __future__ import annotations

import random
import tempfile
import time
from pathlib import Path
from uuid import uuid4

from service.domain.card_code import grouped
from service.domain.records.cards import Card
from service.exchange.reading_files import read_readings
from service.storage.database import open_database
from service.use_cases.command import perform
from service.use_cases.import_plan import plan_import
from service.use_cases.importing import Stated, store_import
from service.use_cases.measuring import LogReading
from tests.shop_hand import ShopHand

CARDS = 100
BANDS = range(400, 710, 10)
STATED = Stated(stage="baked", illuminant="D65", observer=10, geometry="d:8", specular="included")


def shop_with_cards(folder: str) -> tuple[ShopHand, list[str]]:
    """A job with a master and cards that were never read, and their codes."""
    hand = ShopHand(open_database(Path(folder)).create_shop("Bench", manager="Manager"))
    hand.open()
    master = hand.card(hand.batch())
    hand.bake(master)
    hand.master(master, hand.read(master, (52.0, 0.0, 0.0)))
    cards = [hand.card(hand.batch()) for _ in range(CARDS)]
    return hand, [grouped(hand.file.get(Card, card).code) for card in cards]


def file_of(codes: list[str]) -> bytes:
    """Three spectra of each."""
    chance = random.Random(1)
    rows = [
        f"{code},{','.join(f'{0.2 + chance.random() / 1000:.5f}' for _ in BANDS)}"
        for code in codes
        for _ in range(3)
    ]
    return "\n".join(["name," + ",".join(f"{nm} nm" for nm in BANDS), *rows, ""]).encode()


def main() -> None:
    """Print seconds, and the import as a share of logging one by one."""
    seconds: dict[str, float] = {}

    def timed(name: str, start: float) -> None:
        seconds[name] = time.perf_counter() - start

    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as other:
        hand, codes = shop_with_cards(folder)
        store = hand.store
        content = file_of(codes)
        start = time.perf_counter()
        read = read_readings(content)
        timed("read the file", start)
        start = time.perf_counter()
        plan = plan_import(
            read, STATED, store=store, place_of_code=store.card_by_code, source="bench.csv"
        )
        timed("match it", start)
        assert not plan.problems
        start = time.perf_counter()
        store_import(store, hand.manager, plan)
        timed("store and judge it", start)
        singly, its_codes = shop_with_cards(other)
        plan = plan_import(
            read_readings(file_of(its_codes)),
            STATED,
            store=singly.store,
            place_of_code=singly.store.card_by_code,
            source="bench.csv",
        )
        start = time.perf_counter()
        for one in plan.readings:
            command = LogReading(
                id=str(uuid4()), job_id=one.reading.job_id, reading=one.reading.reading
            )
            perform(singly.store, singly.manager, command)
        timed("log one by one", start)
        hand.store.database.close()
        singly.store.database.close()
    for name, spent in seconds.items():
        print(f"{name:20}{spent:7.2f} s")
    whole = seconds["read the file"] + seconds["match it"] + seconds["store and judge it"]
    print(f"the whole import takes {whole / seconds['log one by one']:.2f} of logging one by one")


if __name__ == "__main__":
    main()

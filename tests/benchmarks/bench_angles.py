"""The nearest cards at six angles against at one, in one run; a shop of pearls, all much alike.

Run it by itself: python -m tests.benchmarks.bench_angles [cards]
"""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from service.domain.nearness import AtAngle
from service.domain.terms import FinishKind
from service.storage.database import open_database
from service.storage.queries.sql_queries import SqlQueries
from service.use_cases.angles_side_by_side import lay_at_angles
from service.use_cases.nearest import ReadLike, nearest_at_angles
from tests.shop_hand import ShopHand

PEARL = {
    -15: (118.0, 3.0, -12.0),
    15: (112.0, 2.0, -10.0),
    25: (92.0, 1.0, -9.0),
    45: (64.0, 0.0, -7.0),
    75: (47.0, -0.5, -5.0),
    110: (40.0, -1.0, -4.0),
}


def milliseconds(work: Callable[[], object], times: int = 15) -> float:
    """The median of some runs."""
    work()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return 1000 * statistics.median(taken)


def main(cards: int) -> None:
    """Fill a shop, then ask it."""
    dice = random.Random(3)
    with tempfile.TemporaryDirectory() as folder:
        database = open_database(Path(folder))
        hand = ShopHand(database.create_shop("Bench", manager="Manager"))
        ids = []
        for n in range(cards):
            if n % 25 == 0:
                hand.open(FinishKind.PEARL)
                batch = hand.batch()
            ids.append(hand.card(batch, coats=0))
            labs = {a: tuple(v + dice.gauss(0, 1.2) for v in lab) for a, lab in PEARL.items()}
            hand.read(ids[-1], labs, geometry="multi-angle", specular=None)
        queries = SqlQueries(hand.store)
        read = [AtAngle(angle, lab, 0.03) for angle, lab in PEARL.items()]
        like = ReadLike(illuminant="D65", observer=10, geometry="multi-angle")
        one = milliseconds(lambda: nearest_at_angles(queries, [read[3]], like, 8))
        six = milliseconds(lambda: nearest_at_angles(queries, read, like, 8))
        lines = queries.cards_by_id(ids[:8])
        beside = milliseconds(lambda: lay_at_angles(hand.store, lines))
        print(f"{cards} cards: nearest at one angle {one:.1f} ms, at six {six:.1f} ms")
        print(f"  {six / one:.1f} times as long; eight cards side by side {beside:.1f} ms")
        database.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300)

"""Server time of the refinisher's pages over 100,000 cards, and of a repair with trial cards.

Run it by itself: python -m tests.benchmarks.bench_rack_pages [cards] [rounds]
Goal: p99 at most 30 ms. The lines of the cards are those of bench_queries; on top come a job of
200 batches and a repair of it with five trial cards, logged as any other. Pages are asked for in
turn, straight at the application, signed in; the ratio is to one's own page, which reads nothing
of a job. "After a change" asks for the page right after each of as many changes to its job: then
every card of the repair is judged against the car anew.
"""

from __future__ import annotations

import asyncio
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from service.app import create_app
from service.domain.records.cards import Card
from service.domain.records.job import Finish, Panel
from service.domain.terms import EyeWord, Look, Stage
from service.settings import Settings
from service.storage.database import open_database
from service.use_cases import job
from service.use_cases.measuring import LogEyeCheck
from service.use_cases.queries import CardSearch
from tests.benchmarks.bench_pages import Took, Visitor, build, line
from tests.benchmarks.bench_queries import Maker, fill
from tests.shop_hand import ShopHand

TRIALS = 5
CAR = (40.3, 3.1, 5.2)


def repair(hand: ShopHand) -> None:
    """A repair of the hand's job, its car read and its trial cards too."""
    stored, finish = hand.job_id, hand.finish
    panel = hand.file.all(Panel)[3].name
    hand.job_id = hand.do(
        job.OpenJob,
        work_order="R-1",
        title="Invented van",
        repairs_job_id=stored,
        repairs_finish_id=finish,
        damage="Stone chip",
    )
    hand.finish = hand.file.all(Finish)[0].root
    hand.read(None, CAR, panel_id=hand.panel(panel), stage=Stage.BAKED)
    for number in range(TRIALS):
        card = hand.card(hand.batch(), slot=f"T-{number}")
        hand.bake(card)
        hand.read(card, (CAR[0] + 2 - 0.4 * number, CAR[1], CAR[2]))


def pages_of(app: Any, hand: ShopHand, stored: str) -> dict[str, str]:
    """Every page that is asked for, by its name in the table."""
    queries = app.state.services.shop.queries
    file = hand.store.job(stored)
    cards = file.all(Card)
    card, repaired = cards[len(cards) // 2], f"/jobs/{hand.job_id}"
    some = queries.cards(CardSearch(text="van"), limit=24).lines
    middle = queries.cards(CardSearch(), limit=1).lines[0]
    near = {
        **dict(zip("lab", CAR, strict=True)),
        "illuminant": "D65",
        "observer": 10,
        "geometry": "d:8",
        "uncertainty": 0.05,
    }
    compared = urlencode([("codes", one.code) for one in some])
    return {
        "one's own page (floor)": "/person",
        "rack": "/rack",
        "rack, two words": "/rack?text=body+van",
        "rack, a rare word": f"/rack?text={middle.work_order}",
        "rack, no such word": "/rack?text=qqqzz",
        "rack, a slot": "/rack?slot=A17",
        "rack, a panel and a year": "/rack?panel=roof&sprayed_from=2018-01-01"
        "&sprayed_to=2018-12-31",
        "rack, what is out": "/rack?whereabouts=out",
        "rack, a slip in a code": f"/rack?text={card.code[1]}{card.code[0]}{card.code[2:]}",
        "nearest": f"/rack/nearest?{urlencode(near)}",
        "compare 24 cards": f"/rack/compare?{compared}",
        "card": f"/c/{card.code}",
        "form of an eye check": f"/c/{card.code}/eye-checks/new",
        "form of a master": f"/c/{card.code}/master",
        "form of a repair": f"/c/{card.code}/repair",
        "form of a car's reading": f"{repaired}/car-readings/new",
        "repair": f"{repaired}/repair",
    }


async def measure(app: Any, hand: ShopHand, stored: str, rounds: int) -> None:
    """Ask for every page in turn, then for card and repair after changes."""
    here, pages = Visitor(app, hand.manager), pages_of(app, hand, stored)
    times: dict[str, list[Took]] = {name: [] for name in pages}
    sizes: dict[str, int] = {}
    for turn in range(rounds + 3):
        for name, path in pages.items():
            took, sizes[name] = await here.ask(path)
            if turn >= 3:
                times[name].append(took)
    for name, of_job in (("card", stored), ("repair", hand.job_id)):
        times[f"{name}, after a change"] = []
        sizes[f"{name}, after a change"] = sizes[name]
        one, other = (card.root for card in hand.store.job(of_job).all(Card)[:2])
        for _ in range(min(rounds, 50)):
            hand.do(
                LogEyeCheck,
                job_id=of_job,
                card_id=one,
                look=Look.FACE,
                light="D65",
                word=EyeWord.JUST_SEEN,
                against_card_id=other,
            )
            times[f"{name}, after a change"].append((await here.ask(pages[name]))[0])
    floor = statistics.median(took.work for took in times["one's own page (floor)"])
    print(f"{'':26}{'by the clock, ms':>18}{'work, ms':>18}{'x floor':>9}{'KiB':>7}")
    print(f"{'page':26}{'p50':>9}{'p99':>9}{'p50':>9}{'p99':>9}")
    for name, taken in times.items():
        print(line(name, taken, sizes[name], floor))


def make_and_measure(folder: Path, cards: int, rounds: int) -> None:
    """Make the shop in a folder, then measure."""
    began = time.perf_counter()
    with open_database(folder) as database:
        store = database.create_shop("Bench shop", manager="First Manager")
        fill(store, Maker(store.shop_id, cards, 7))
        hand = ShopHand(store)
        build(hand, 200)
        stored = hand.job_id
        repair(hand)
    print(f"{cards:,} cards, a job of 200 and a repair in {time.perf_counter() - began:.0f} s")
    app = create_app(Settings(data_dir=folder, zone="Europe/Lisbon"))
    hand.store = app.state.services.shop.store

    async def run() -> None:
        async with app.router.lifespan_context(app):
            await measure(app, hand, stored, rounds)

    asyncio.run(run())
    app.state.database.close()


def main(cards: int, rounds: int) -> None:
    """The same in a folder of its own."""
    with tempfile.TemporaryDirectory(prefix="bench-rack-") as made:
        make_and_measure(Path(made), cards, rounds)


if __name__ == "__main__":
    given = [int(argument) for argument in sys.argv[1:3]]
    main(*given, *(100_000, 200)[len(given) :])

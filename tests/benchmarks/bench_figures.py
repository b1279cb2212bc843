"""Server time of a verdict's page with its drawings, beside the same page without them.

Run it by itself: python -m tests.benchmarks.bench_figures [rounds]
Goal: p99 at most 60 ms. Pages are asked for in turn, straight at the application and signed in.
"Seen first" is a verdict whose drawings nobody asked for before: what is kept of them is thrown
away before each request. The ratio is to the same page with its drawings left out.
"""

from __future__ import annotations

import asyncio
import statistics
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from service.domain.records.cards import Card
from service.web import charts_place
from service.web.pages import card, figures, figures_rows, joint, verdict
from tests.benchmarks.bench_pages import Took, Visitor
from tests.web.pages.figure_shop import FigureShop

MODULES = ((verdict, "figures_of"), (joint, "figures_on_record"), (card, "figures_on_record"))


def forget() -> None:
    """Throw away every drawing that was laid out."""
    for kept in (charts_place.cuts, figures._laid_out, figures_rows._ranges):
        kept.cache_clear()


def without(*_: Any) -> None:
    """No drawings."""


def left_out() -> Callable[[], None]:
    """Leave the drawings out of every page; gives back how to put them in again."""
    before = [getattr(module, name) for module, name in MODULES]
    for module, name in MODULES:
        setattr(module, name, without)

    def put_back() -> None:
        for (module, name), was in zip(MODULES, before, strict=True):
            setattr(module, name, was)

    return put_back


async def measure(shop: FigureShop, pages: dict[str, str], rounds: int) -> None:
    """Ask for every page each way in turn."""
    here = Visitor(shop.app, shop.manager)
    times: dict[str, list[Took]] = {}
    sizes: dict[str, int] = {}
    for turn in range(rounds + 3):
        for name, path in pages.items():
            put_back = left_out()
            plain, sizes[f"{name}, no drawings"] = await here.ask(path)
            put_back()
            forget()
            first, sizes[f"{name}, seen first"] = await here.ask(path)
            again, sizes[f"{name}, seen again"] = await here.ask(path)
            if turn >= 3:
                for way, took in (
                    ("no drawings", plain),
                    ("seen first", first),
                    ("seen again", again),
                ):
                    times.setdefault(f"{name}, {way}", []).append(took)
    base = ""
    for name, taken in times.items():
        base = name if name.endswith("no drawings") else base
        figures = ""
        for column in ([took.clock for took in taken], [took.work for took in taken]):
            ordered = sorted(column)
            p99 = ordered[round(0.99 * len(ordered)) - 1]
            figures += f"{statistics.median(ordered):8.1f}{p99:8.1f}"
        work = statistics.median(took.work for took in taken)
        ratio = work / statistics.median(took.work for took in times[base])
        print(f"{name:34}{figures}{ratio:7.2f}{sizes[name] / 1024:8.1f}")


def main(rounds: int) -> None:
    """Tell both stories, then measure."""
    print(f"{'':34}{'by the clock, ms':>16}{'work, ms':>16}{'work':>7}")
    print(f"{'page':34}{'p50':>8}{'p99':>8}{'p50':>8}{'p99':>8}{'ratio':>7}{'KiB':>8}")
    for story in ("flake", "solid_with_spectra"):
        with tempfile.TemporaryDirectory(prefix="bench-figures-") as folder:
            shop = FigureShop(Path(folder))
            getattr(shop, story)()
            found = shop.verdict(batch_id=shop.told.batches[2])
            code = shop.hand.file.get(Card, shop.told.cards[2]).code
            pages = {
                f"{story[:5]} verdict": f"/jobs/{found.job_id}/verdicts/{found.root}",
                f"{story[:5]} card": f"/c/{code}",
            }

            async def run(shop: FigureShop = shop, pages: dict[str, str] = pages) -> None:
                async with shop.app.router.lifespan_context(shop.app):
                    await measure(shop, pages, rounds)

            asyncio.run(run())
            shop.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)

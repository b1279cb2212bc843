"""How long papers take to set, each time with other words, as ratios to an empty page.

Run it by itself: python -m tests.benchmarks.bench_papers [runs]
Goal: p99 at most 60 ms at normal size, on a machine that does nothing else.
"CPU" is the processor's time, which other work on the machine leaves alone.
The typesetter remembers what it laid out before, so every run gets words it has not seen: each
text of the paper is changed. The unit is a page with one word, set the same way in the same run.
Last come 500 labels at once, and what stays in memory after them.
"""

from __future__ import annotations

import resource
import statistics
import sys
import time
from collections.abc import Callable, Mapping
from typing import Any

from service.paper import blocks, labels, typesetting
from service.paper.card_sheet import card_pdf
from service.paper.job_report import job_pdf
from service.paper.repair_sheet import repair_pdf
from service.use_cases.label_papers import fresh_labels
from service.use_cases.label_stock import MOST_LABELS, stock_named
from tests.paper.paper_story import PaperStory

RUNS = int(sys.argv[1]) if len(sys.argv) > 1 else 100


def other_words(value: Any, run: int, key: str = "") -> Any:
    """The values with every text changed; what steers the template stays."""
    if isinstance(value, str):
        fixed = key in ("k", "svg", "word", "mark") or value == ""
        return value if fixed else f"{value[:-1]}{chr(0x61 + run % 26)}{run // 26}"
    if isinstance(value, Mapping):
        return {name: other_words(inner, run, name) for name, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [other_words(inner, run, key) for inner in value]
    return value


def taken(make: Callable[[int], object], runs: int = RUNS) -> list[tuple[float, float]]:
    """Milliseconds of each run, by the clock and of the processor."""
    found = []
    for run in range(runs):
        start, used = time.perf_counter(), time.process_time()
        make(run)
        clock = time.perf_counter() - start
        found.append((clock * 1e3, (time.process_time() - used) * 1e3))
    return found


def main() -> None:
    story = PaperStory()
    repair = PaperStory()
    repair.start_repair()
    repair.read_car()
    card, job, sheet = story.card(), story.job(), repair.repair()
    run_now = 0
    plain = typesetting.typeset

    def varied(template: Any, values: Mapping[str, Any]) -> bytes:
        return plain(template, other_words(values, run_now))

    blocks.typeset = varied  # type: ignore[assignment]
    empty = {**_empty_page(), "kind": "x"}

    def each(make: Callable[[], object]) -> Callable[[int], object]:
        def one(run: int) -> object:
            nonlocal run_now
            run_now = run
            return make()

        return one

    def labelled(count: int, stock: str) -> Callable[[int], object]:
        return lambda run: labels.labels_pdf(
            fresh_labels(count, public_address="https://cards.example", is_demo=False),
            stock_named(stock),
        )

    start = time.perf_counter()
    plain("document", empty)
    print(f"first page of the process, fonts read: {(time.perf_counter() - start) * 1e3:.0f} ms")
    papers: dict[str, Callable[[int], object]] = {
        "a page of one word": lambda run: plain("document", other_words(empty, run)),
        "one label": labelled(1, "roll-62x29"),
        "a sheet of 21 labels": labelled(21, "a4-21"),
        "a card sheet, 2 pages": each(lambda: card_pdf(card)),
        "a repair sheet, 2 pages": each(lambda: repair_pdf(sheet)),
        "a job report, 2 pages": each(lambda: job_pdf(job)),
    }
    unit = 0.0
    print(f"{'':26}{'median':>9}{'p99':>9}{'CPU':>9}{'CPU p99':>9}{'ratio':>7}")
    for name, make in papers.items():
        clock, processor = (sorted(times) for times in zip(*taken(make)[5:], strict=True))
        last = int(len(clock) * 0.99)
        used = statistics.median(processor)
        unit = unit or used
        print(
            f"{name:26}{statistics.median(clock):7.1f}ms{clock[last]:7.1f}ms{used:7.1f}ms"
            f"{processor[last]:7.1f}ms{used / unit:7.1f}"
        )
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    ((_, many),) = taken(labelled(MOST_LABELS, "a4-65"), 1)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(
        f"{MOST_LABELS} labels at once: {many:.0f} ms of CPU, {many / unit:.0f} pages of one word"
    )
    print(f"most memory: {before / 1024:.0f} MiB before them, {after / 1024:.0f} MiB after")


def _empty_page() -> dict[str, Any]:
    return {
        "width_mm": 210,
        "height_mm": 297,
        "shop": "s",
        "work_order": "w",
        "title": "t",
        "lede": "l",
        "mark": "",
        "demo": False,
        "printed": "p",
        "letters_note": "n",
        "blocks": [],
    }


if __name__ == "__main__":
    main()

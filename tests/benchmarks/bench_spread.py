"""The nearest of a million cards, beside comparing every one with scikit-image.

Run it by itself: python tests/benchmarks/bench_spread.py [queries] [checked]
Goals: exact; median at least 500 × brute force; 99th percentile at most 5 ms; for cards that lie
evenly and for cards in clusters. Processor time of a query is shown beside the time on the clock:
where they differ, something else had the processor.
"""

from __future__ import annotations

import resource
import statistics
import sys
import time

import numpy as np
from skimage.color import deltaE_ciede2000

from colour.difference import delta_e_2000
from colour.spread import NearestCards

CARDS = 1_000_000
LOW, HIGH = (5, -60, -60), (98, 70, 80)


def evenly(rng: np.random.Generator) -> np.ndarray:
    return rng.uniform(LOW, HIGH, (CARDS, 3))


def in_clusters(rng: np.random.Generator, centres: int) -> np.ndarray:
    """As many batches round each of some standards."""
    standards = rng.uniform(LOW, HIGH, (centres, 1, 3))
    batches = rng.normal(0, (0.4, 0.3, 0.4), (centres, CARDS // centres, 3))
    return (standards + batches).reshape(-1, 3)


def brute_force(queries: np.ndarray, labs: np.ndarray) -> float:
    took = []
    for query in queries:
        start = time.perf_counter()
        int(deltaE_ciede2000(np.broadcast_to(query, labs.shape), labs).argmin())
        took.append(time.perf_counter() - start)
    return statistics.median(took)


def mismatches(cards: NearestCards, queries: np.ndarray, labs: np.ndarray) -> int:
    wrong = 0
    for query in queries:
        differences = delta_e_2000(query, labs)
        rows, found = cards.nearest(query, 3)
        expected = np.argpartition(differences, 3)[:3]
        expected = expected[np.argsort(differences[expected], kind="stable")]
        wrong += not (
            np.array_equal(rows, expected) and np.array_equal(found, differences[expected])
        )
        wrong += not np.array_equal(cards.within(query, 1.0), np.flatnonzero(differences <= 1.0))
    return wrong


def main(queries: int, checked: int) -> None:
    rng = np.random.default_rng(1_000_000)
    print(f"{CARDS} cards, {queries} queries of a kind, ms; memory and building once a set\n")
    print(f"{'cards, queries':34} brute  median     p99  p99 cpu    most   × brute  wrong")
    for name, labs in (
        ("even", evenly(rng)),
        ("2000 clusters", in_clusters(rng, 2000)),
        ("100 clusters", in_clusters(rng, 100)),
    ):
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        start = time.perf_counter()
        cards = NearestCards(labs)
        built = time.perf_counter() - start
        grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
        beside = labs[rng.integers(0, CARDS, queries)] + rng.normal(0, 0.5, (queries, 3))
        for kind, asked in (
            ("anywhere", rng.uniform(LOW, HIGH, (queries, 3))),
            ("beside a card", beside),
        ):
            brute = brute_force(asked[:5], labs)
            clock, cpu = [], []
            for query in asked:
                start, start_cpu = time.perf_counter(), time.thread_time()
                cards.nearest(query)
                cpu.append(time.thread_time() - start_cpu)
                clock.append(time.perf_counter() - start)
            median = statistics.median(clock)
            wrong = mismatches(cards, asked[:checked], labs)
            print(
                f"{name + ', ' + kind:34} {brute * 1e3:5.0f} {median * 1e3:7.3f}"
                f" {np.quantile(clock, 0.99) * 1e3:7.3f} {np.quantile(cpu, 0.99) * 1e3:8.3f}"
                f" {max(clock) * 1e3:7.2f} {brute / median:9.0f}  {wrong} of {2 * checked}"
            )
        print(f"{'':34} built in {built:.1f} s, peak grew by {grown:.0f} MiB")


if __name__ == "__main__":
    arguments = [int(argument) for argument in sys.argv[1:]] + [1000, 100][len(sys.argv) - 1 :]
    main(*arguments)

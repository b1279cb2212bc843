"""ΔE00 beside scikit-image and colormath: speed as ratios in one run, memory, exactness.

Run it by itself: python tests/benchmarks/bench_difference.py [turns]
Goals: 10⁶ pairs at least 6 × scikit-image on one thread and 10 × on two; one pair of tuples at
least 25 ×; memory beyond the result at most 16 MiB, for 10⁶ pairs and for 5000 × 5000.
Turns are taken in rotation, so that a slow spell of the machine meets all of them. On a machine
that others use, the least times say more than the medians.
"""

from __future__ import annotations

import statistics
import sys
import timeit
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
from colormath import color_diff_matrix
from skimage.color import deltaE_ciede2000

from colour.difference import delta_e_2000
from colour.spread import pairwise

MIB = 2**20
TABLE = Path(__file__).parents[1] / "reference" / "ciede2000_pairs.txt"
Found = dict[str, list[float]]


def in_rotation(turns: int, calls: dict[str, Callable[[], object]], repeat: int = 1) -> Found:
    """Seconds of each call, one turn after the other."""
    found: Found = {name: [] for name in calls}
    for turn in range(turns + 1):
        for name, call in calls.items():
            took = timeit.timeit(call, number=repeat) / repeat
            if turn:  # the first warms up
                found[name].append(took)
    return found


def show(title: str, found: Found, unit: float, name_of_unit: str) -> None:
    print(f"\n{title}")
    print(f"{'':34} median {name_of_unit:>3}   least   × scikit-image (medians, leasts)")
    first = next(iter(found.values()))
    for name, took in found.items():
        median, least = statistics.median(took), min(took)
        print(
            f"{name:34} {median * unit:10.2f} {least * unit:9.2f}"
            f"   {statistics.median(first) / median:6.1f} {min(first) / least:8.1f}"
        )


def extra_memory(call: Callable[[], np.ndarray]) -> float:
    """MiB at the peak beyond the result."""
    tracemalloc.start()
    try:
        result = call()
        return (tracemalloc.get_traced_memory()[1] - result.nbytes) / MIB
    finally:
        tracemalloc.stop()


def exactness(master: np.ndarray, sample: np.ndarray) -> None:
    lines = [line.split("\t") for line in TABLE.read_text().splitlines() if line[0] != "#"]
    column = {name: i for i, name in enumerate(lines[0])}
    published = np.array([[float(value) for value in line] for line in lines[1:]])
    ends = [published[:, [column[axis + end] for axis in ("L1", "a1", "b1")]] for end in ("",)]
    ends.append(published[:, [column[axis] for axis in ("L2", "a2", "b2")]])
    worst = np.abs(delta_e_2000(*ends) - published[:, column["delta_e"]]).max()
    print(f"worst of the 34 published pairs: {worst:.2e} (half the last digit is 5e-05)")
    for name, other in (("near", sample), ("far", master[::-1])):
        off = np.abs(delta_e_2000(master, other) - deltaE_ciede2000(master, other)).max()
        print(f"worst of 10⁶ {name} pairs beside scikit-image: {off:.1e}")


def main(turns: int) -> None:
    rng = np.random.default_rng(2000)
    master = rng.uniform([0, -60, -60], [100, 60, 60], (1_000_000, 3))
    sample = master + rng.normal(0, 1, master.shape)
    one, other = (50.0, 20.0, 30.0), (51.0, 19.0, 31.0)
    rows = np.array(one), np.array(other)
    same = np.broadcast_to(rows[0], master.shape)

    exactness(master, sample)
    pairs = {
        "scikit-image": lambda: deltaE_ciede2000(master, sample),
        "ours, one thread": lambda: delta_e_2000(master, sample, threads=1),
        "ours, two threads": lambda: delta_e_2000(master, sample, threads=2),
    }
    show("10⁶ pairs", in_rotation(turns, pairs), 1e3, "ms")
    one_to_many = {
        "scikit-image (broadcast by hand)": lambda: deltaE_ciede2000(same, sample),
        "colormath, array functions": lambda: color_diff_matrix.delta_e_cie2000(rows[0], sample),
        "ours, one thread": lambda: delta_e_2000(one, sample, threads=1),
        "ours, two threads": lambda: delta_e_2000(one, sample, threads=2),
    }
    show("one master against 10⁶", in_rotation(max(turns // 2, 3), one_to_many), 1e3, "ms")
    single = {
        "scikit-image, two arrays": lambda: deltaE_ciede2000(*rows),
        "ours, two tuples": lambda: delta_e_2000(one, other),
        "ours, two arrays": lambda: delta_e_2000(*rows),
    }
    show("one pair", in_rotation(turns, single, repeat=2000), 1e6, "µs")
    job = {
        "scikit-image, 200 pairs": lambda: deltaE_ciede2000(master[:200], sample[:200]),
        "ours, one master against 200": lambda: delta_e_2000(one, sample[:200]),
    }
    show("a job of 200 batches", in_rotation(turns, job, repeat=500), 1e6, "µs")

    cards = master[:5000]
    strip = cards[:250, None], cards[None]
    shapes = [np.broadcast_to(side, (250, 5000, 3)) for side in strip]
    table = {
        "scikit-image, 250 × 5000, × 20": lambda: deltaE_ciede2000(*shapes),
        "ours, one thread, 5000 × 5000": lambda: pairwise(cards, threads=1),
        "ours, two threads, 5000 × 5000": lambda: pairwise(cards, threads=2),
    }
    found = in_rotation(3, table)
    found["scikit-image, 250 × 5000, × 20"] = [
        20 * took for took in found["scikit-image, 250 × 5000, × 20"]
    ]
    show("all pairs of 5000", found, 1, "s")

    print("\nMiB at the peak beyond the result")
    for name, call in {
        "scikit-image, 10⁶ pairs": lambda: deltaE_ciede2000(master, sample),
        "ours, 10⁶ pairs, one thread": lambda: delta_e_2000(master, sample, threads=1),
        "ours, 10⁶ pairs, two threads": lambda: delta_e_2000(master, sample, threads=2),
        "ours, 5000 × 5000, two threads": lambda: pairwise(cards, threads=2),
        "ours, 5000 × 5000 by broadcasting": lambda: delta_e_2000(cards[:, None], cards[None]),
    }.items():
        print(f"{name:34} {extra_memory(call):8.1f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 11)

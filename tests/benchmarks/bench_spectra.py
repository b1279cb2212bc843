"""A hundred thousand spectra to Lab, beside the plain product of the same arrays.

Run it by itself: python tests/benchmarks/bench_spectra.py [spectra] [runs]
Goal: 100,000 spectra of 31 points in at most 1 s. The ratios are to one matrix product of the
same sizes, which nothing that reads every reflectance can go under, measured turn by turn in the
same run. The first use of a light reads its tables and is shown apart.
"""

from __future__ import annotations

import statistics
import sys
import time

import numpy as np

from colour import lights, spectral_weights
from colour.metamerism import metamerism
from colour.spectra import lab_from_reflectance, xyz_from_reflectance

D65 = {"illuminant": "D65", "observer": 10}
GRIDS = {
    "31 points, 10 nm": np.arange(400.0, 701.0, 10.0),
    "61 points, 5 nm": np.arange(400.0, 701.0, 5.0),
    "85 points, 3.75 nm": np.arange(390.0, 705.1, 3.75),
    "401 points, 1 nm": np.arange(380.0, 781.0, 1.0),
}


def forget_tables():
    """As in a fresh process, the imports apart."""
    for cached in (
        lights.power,
        lights.matching_functions,
        lights.read_table,
        spectral_weights._weights,
    ):
        cached.cache_clear()


def took(what):
    start = time.perf_counter()
    what()
    return time.perf_counter() - start


def main(count: int, runs: int) -> None:
    rng = np.random.default_rng(31)
    print(f"{count} spectra, ms, median of {runs}\n")
    print(f"{'':20} product     XYZ     Lab  Lab/product  first use")
    for name, nm in GRIDS.items():
        many = rng.uniform(0, 1, (count if len(nm) < 100 else count // 10, len(nm)))
        weights = rng.uniform(0, 1, (len(nm), 3))
        ways = {
            "product": lambda many=many, weights=weights: many @ weights,
            "xyz": lambda many=many, nm=nm: xyz_from_reflectance(many, nm, **D65),
            "lab": lambda many=many, nm=nm: lab_from_reflectance(many, nm, **D65),
        }
        forget_tables()
        first = took(lambda nm=nm: lab_from_reflectance(np.ones(len(nm)), nm, **D65))
        found = {way: [] for way in ways}
        for _ in range(runs):
            for way, run in ways.items():
                found[way].append(took(run))
        product, xyz, lab = (statistics.median(found[way]) * 1e3 for way in ways)
        shown = name if len(nm) < 100 else f"{name}, a tenth"
        print(
            f"{shown:20} {product:7.1f} {xyz:7.1f} {lab:7.1f} {lab / product:12.1f}"
            f" {first * 1e3:10.1f}"
        )
    nm = GRIDS["31 points, 10 nm"]
    pair = rng.uniform(0.1, 0.9, (2, len(nm)))
    each = [took(lambda: metamerism(*pair, nm, observer=10)) for _ in range(200)]
    print(f"\nmetamerism of one pair, three lights: {statistics.median(each) * 1e3:.2f} ms")


if __name__ == "__main__":
    main(*[int(argument) for argument in sys.argv[1:]] + [100_000, 7][len(sys.argv) - 1 :])

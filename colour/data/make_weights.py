"""Writes weights.csv: tristimulus weights for samples every 5, 10 and 20 nm.

Run from the project's folder, in its own environment: python -m colour.data.make_weights
A test makes the same table again and compares.
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from colour.abridged import weights
from colour.lights import (
    FIRST_NM,
    ILLUMINANTS,
    LAST_NM,
    OBSERVERS,
    matching_functions,
    power,
)

INTERVALS = (5, 10, 20)  # nm
FILE = Path(__file__).with_name("weights.csv")
HEADER = """\
# Tristimulus weights for reflectance sampled every 5, 10 and 20 nm from 360 to 780 nm, for data
# corrected for the instrument's bandpass; the weights of Y sum to 100 but for rounding.
#
# Source: made from illuminants.txt and observers.txt by the procedure of ASTM E2022 as
#   colour/abridged.py tells it; python -m colour.data.make_weights wrote this file.
# The white point is the sum of the weights, never a printed value.
"""


def rows() -> Iterator[str]:
    """Every line of the table."""
    every_nm = np.arange(FIRST_NM, LAST_NM + 1, dtype=np.float64)
    for illuminant in ILLUMINANTS:
        for observer in OBSERVERS:
            products = power(illuminant)[:, None] * matching_functions(observer)
            for interval in INTERVALS:
                samples = np.arange(FIRST_NM, LAST_NM + 1, interval, dtype=np.float64)
                for nm, row in zip(samples, weights(samples, every_nm, products), strict=True):
                    cells = ",".join(f"{value:.6f}".replace("-0.000000", "0") for value in row)
                    yield f"{illuminant},{observer},{interval},{nm:g},{cells}"


def text() -> str:
    """The whole file."""
    return HEADER + "\n".join(["illuminant,observer,interval,nm,x,y,z", *rows()]) + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")

"""The 24 chart spectra of tests/reference and what another library computed of them."""

import csv
from functools import cache
from pathlib import Path

import numpy as np

REFERENCE = Path(__file__).parent / "reference"


def read_rows(name):
    """The rows of a reference table as dictionaries."""
    text = (REFERENCE / name).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines, delimiter="\t"))


@cache
def chart():
    """Wavelengths, shape (81,), and reflectance, shape (24, 81), every 5 nm from 380 to 780."""
    table = np.array(
        [[float(cell) for cell in row.values()] for row in read_rows("chart_spectra.txt")]
    )
    return table[:, 0], np.ascontiguousarray(table[:, 1:].T)


def chart_every(interval):
    """Wavelengths and reflectance every 5, 10 or 20 nm."""
    nm, reflectance = chart()
    return nm[:: interval // 5], reflectance[:, :: interval // 5]


@cache
def computed():
    """(way, illuminant, observer) to the white's X, Y, Z and the chart's Lab, shape (24, 3)."""
    found = {}
    for row in read_rows("chart_lab.txt"):
        key = row["way"], row["illuminant"], int(row["observer"])
        found.setdefault(key, []).append([float(row[axis]) for axis in ("L", "a", "b")])
    return {key: (np.array(rows[0]), np.array(rows[1:])) for key, rows in found.items()}

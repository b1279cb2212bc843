"""CIE illuminants and observers: their names as people write them, and their published tables.

The tables are read when they are first asked for, from ``colour/data``.
"""

import math
import re
from functools import cache
from importlib import resources

import numpy as np

from colour.arrays import Floats

FIRST_NM, LAST_NM = 360, 780
"""The range ASTM E308 sums over; outside it the weights of both observers count as zero."""

OBSERVERS = (2, 10)  # degrees
ILLUMINANTS = (
    *("A", "D50", "D65", "F2", "F11"),
    *("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5"),
    *("LED-BH1", "LED-RGB1", "LED-V1", "LED-V2"),
)
_BY_LETTERS = {name.replace("-", ""): name for name in ILLUMINANTS}
_BY_YEAR = {"1931": 2, "1964": 10}


def illuminant_name(text: str) -> str:
    """The illuminant's name as it stands in ILLUMINANTS, however it was written.

    ``d65``, ``CIE D65``, ``LED B3``, ``ledb3``, ``FL11`` (as CIE 15 writes F11) are understood.

    Raises
    ------
    ValueError
        Naming those that are known.
    """
    letters = re.sub(r"[\W_]", "", str(text)).upper()
    letters = re.sub(r"^(CIE)?(STANDARD)?(ILLUMINANT)?", "", letters)
    letters = re.sub(r"^FL(?=\d)", "F", letters)
    if letters not in _BY_LETTERS:
        raise ValueError(
            f"illuminant {str(text)!r} is not known. Known are {', '.join(ILLUMINANTS)}."
        )
    return _BY_LETTERS[letters]


def observer_degrees(value: object) -> int:
    """The observer's field of view in degrees: 2 (CIE 1931) or 10 (CIE 1964).

    Understands 10, 10.0, "10", "10°", "10 deg", "10 degrees" and the year of the observer.

    Raises
    ------
    ValueError
        Naming those that are known.
    """
    text = re.sub(r"^CIE\s*|\s*(°|deg|degrees?)?$", "", str(value).strip(), flags=re.IGNORECASE)
    text = re.sub(r"\.0+$", "", text)
    degrees = _BY_YEAR.get(text) or (int(text) if text in ("2", "10") else None)
    if degrees is None or isinstance(value, bool):
        raise ValueError(
            f"observer {value!r} is not known. Known are 2 (CIE 1931) and 10 (CIE 1964), degrees."
        )
    return degrees


@cache
def power(illuminant: str) -> Floats:
    """Relative spectral power from FIRST_NM to LAST_NM in steps of 1 nm.

    Between the published 5 nm the power is linear, as CIE 15 has it for daylight (from memory),
    and zero where nothing is published. Taking Sprague's formula for the lamps instead would
    move 24 chart colours by at most 0.064 ΔE00 under F11, less under all the others.

    Parameters
    ----------
    illuminant : str
        One of ILLUMINANTS.
    """
    nm = np.arange(FIRST_NM, LAST_NM + 1, dtype=np.float64)
    if illuminant == "A":
        return illuminant_a(nm)
    table = read_table("illuminants.txt")
    published = ~np.isnan(table[illuminant])
    return np.interp(nm, table["nm"][published], table[illuminant][published], left=0, right=0)


def illuminant_a(nm: Floats) -> Floats:
    """Relative power of CIE standard illuminant A, 100 at 560 nm (ISO/CIE 11664-2, CIE 15)."""
    # The Planckian radiator as it was fixed in 1931: c2 = 14350 µm K and 2848 K.
    exponent = 1.435e7 / 2848
    ratio = math.expm1(exponent / 560) / np.expm1(exponent / nm)
    return np.asarray(100 * (560 / nm) ** 5 * ratio)


@cache
def matching_functions(observer: int) -> Floats:
    """Colour-matching functions, shape (421, 3), from FIRST_NM to LAST_NM in steps of 1 nm.

    Parameters
    ----------
    observer : int
        One of OBSERVERS.
    """
    table = read_table("observers.txt")
    inside = (table["nm"] >= FIRST_NM) & (table["nm"] <= LAST_NM)
    return np.stack([table[f"{axis}{observer}"][inside] for axis in "xyz"], axis=-1)


@cache
def read_table(name: str) -> dict[str, Floats]:
    """The columns of a table in ``colour/data`` by their heading; - is NaN."""
    lines = [line for line in read_text(name).splitlines() if not line.startswith("#")]
    columns = zip(*(line.split("\t") for line in lines[1:]), strict=True)
    headings = lines[0].split("\t")
    return {
        heading: np.array([float(cell) if cell != "-" else math.nan for cell in cells])
        for heading, cells in zip(headings, columns, strict=True)
    }


def read_text(name: str) -> str:
    """A file of ``colour/data``, whole."""
    return (resources.files("colour") / "data" / name).read_text(encoding="utf-8")

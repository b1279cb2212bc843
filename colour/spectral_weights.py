"""Which weights a spectrum is summed with: one table for each light, observer and wavelengths.

Spectra sampled every 5, 10 or 20 nm, on wavelengths that 360 nm begins, take the published form
of weights (``colour/data/weights.csv``). Every other set of wavelengths, 1 nm and uneven ones
among them, takes weights made for it by the same procedure (``colour/abridged.py``); at 1 nm
these are the products of light and observer themselves.

Missing ends follow ASTM E308: the weights of wavelengths that were not measured are added to the
nearest one that was. That is no more than a guess of the spectrum there, so it is taken only
where at most MOST_MISSING of the weight of X, of Y and of Z was not measured: for 24 chart colours
that kept the error under 0.4 ΔE00 whatever the ends.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from colour.abridged import weights
from colour.arrays import Floats
from colour.lights import (
    FIRST_NM,
    LAST_NM,
    illuminant_name,
    matching_functions,
    observer_degrees,
    power,
    read_text,
)

FEWEST_SAMPLES = 4
MOST_MISSING = 0.02  # of the weight of any of X, Y and Z
WIDEST_GAP = 20.0  # nm, the coarsest interval ASTM E308 has
_TABLED = (5, 10, 20)  # nm
_HAIR = 1e-6  # nm; wavelengths that came through arithmetic or single precision text
# Weights are held in steps of 2^-40 (1e-12). Sums of them are then exact in any order, so that a
# perfect white has exactly the white point and L* = 100, a* = b* = 0.
_STEP = 2.0**40


class Weights(NamedTuple):
    """What reflectance is summed with."""

    by_sample: Floats  # (n, 3), for X, Y and Z; Y of a perfect white is 100
    white: Floats  # (3,), their sum


def weights_for(wavelengths: ArrayLike, *, illuminant: str, observer: object) -> Weights:
    """The weights of spectra at these wavelengths.

    Parameters
    ----------
    wavelengths : array_like, shape (n,)
        Nanometres, ascending.
    illuminant, observer
        As ``colour.lights`` understands them.

    Raises
    ------
    ValueError
        When the wavelengths are no proper list, leave a gap or miss too much of the weight.
    """
    samples = as_wavelengths(wavelengths)
    return _weights(
        tuple(samples.tolist()), illuminant_name(illuminant), observer_degrees(observer)
    )


def as_wavelengths(wavelengths: ArrayLike) -> Floats:
    """Float64 wavelengths in nm, ascending and without wide gaps, or a plain refusal."""
    try:
        samples = np.asarray(wavelengths, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError("wavelengths must be one list of numbers, in nm") from None
    if samples.ndim != 1:
        raise ValueError(f"wavelengths must be one list, shape (n,), got shape {samples.shape}")
    if len(samples) < FEWEST_SAMPLES:
        raise ValueError(
            f"a spectrum needs {FEWEST_SAMPLES} wavelengths or more, got {len(samples)}"
            + (". Three numbers may be L*, a*, b*: those are no spectrum" * (len(samples) == 3))
        )
    if not np.isfinite(samples).all():
        bad = int(np.flatnonzero(~np.isfinite(samples))[0])
        raise ValueError(f"wavelengths must be finite, got {samples[bad]} at position {bad + 1}")
    steps = np.diff(samples)
    if (steps <= 0).any():
        bad = int(np.flatnonzero(steps <= 0)[0])
        before, after = samples[bad], samples[bad + 1]
        if before == after:
            raise ValueError(f"{before:g} nm stands twice; give each wavelength once")
        raise ValueError(
            f"wavelengths must ascend, got {after:g} nm after {before:g} nm; sort them together "
            "with the reflectance"
        )
    wide = (steps > WIDEST_GAP + _HAIR) & (samples[1:] > FIRST_NM) & (samples[:-1] < LAST_NM)
    if wide.any():
        bad = int(np.flatnonzero(wide)[0])
        raise ValueError(
            f"there is nothing between {samples[bad]:g} and {samples[bad + 1]:g} nm; gaps up to "
            f"{WIDEST_GAP:g} nm are bridged. Give the wavelengths between, in nm"
        )
    return samples


@lru_cache(maxsize=64)
def _weights(wavelengths: tuple[float, ...], illuminant: str, observer: int) -> Weights:
    samples = np.array(wavelengths)
    products = power(illuminant)[:, None] * matching_functions(observer)
    _check_coverage(samples, products, f"{illuminant}/{observer}°")
    found = _from_table(samples, illuminant, observer)
    if found is None:
        found = weights(samples, _every_nm(), products)
    by_sample = np.round(found * _STEP) / _STEP
    white = by_sample.sum(axis=0)
    for array in (by_sample, white):  # shared by whoever asks again
        array.flags.writeable = False
    return Weights(by_sample, white)


def _every_nm() -> Floats:
    return np.arange(FIRST_NM, LAST_NM + 1, dtype=np.float64)


def _check_coverage(samples: Floats, products: Floats, conditions: str) -> None:
    """Refuse a spectrum that leaves out too much, with the range that would do."""
    nm = _every_nm()
    share = products / products.sum(axis=0)
    missing = share[(nm < samples[0]) | (nm > samples[-1])].sum(axis=0)
    worst = int(np.argmax(missing))
    if missing[worst] <= MOST_MISSING:
        return
    below = np.cumsum(share, axis=0).max(axis=1)
    above = np.cumsum(share[::-1], axis=0)[::-1].max(axis=1)
    start = nm[np.flatnonzero(below <= MOST_MISSING / 2)[-1] + 1]
    end = nm[np.flatnonzero(above <= MOST_MISSING / 2)[0] - 1]
    raise ValueError(
        f"the spectrum runs from {samples[0]:g} to {samples[-1]:g} nm and so misses "
        f"{missing[worst]:.1%} of the weight of {'XYZ'[worst]} under {conditions}; at most "
        f"{MOST_MISSING:.0%} may be missing. It must reach from {start:g} or below to {end:g} nm "
        "or above"
    )


def _from_table(samples: Floats, illuminant: str, observer: int) -> Floats | None:
    """The tabled weights where the wavelengths are those of a table, else None."""
    interval = round(float(samples[1] - samples[0]))
    if interval not in _TABLED:
        return None
    rows = (samples - FIRST_NM) / interval
    even = np.arange(len(rows)) + round(float(rows[0]))
    if np.abs(rows - even).max() * interval > _HAIR:
        return None
    table = _tabled(illuminant, observer, interval)
    inside = (even >= 0) & (even < len(table))
    found = np.zeros((len(samples), 3))
    found[inside] = table[even[inside]]
    first, last = np.flatnonzero(inside)[[0, -1]]
    found[first] += table[: even[first]].sum(axis=0)
    found[last] += table[even[last] + 1 :].sum(axis=0)
    return found


def _tabled(illuminant: str, observer: int, interval: int) -> Floats:
    """Weights of every sample from FIRST_NM to LAST_NM, shape (n, 3)."""
    start = f"\n{illuminant},{observer},{interval},"
    rows = read_text("weights.csv").split(start)[1:]
    return np.array([[float(cell) for cell in row.split("\n")[0].split(",")[1:]] for row in rows])

"""Lights and surfaces as spectra, 380 to 780 nm in steps of 10 nm.

The tables of the CIE observers and illuminants are colormath's. Surfaces are made from Lab as the
smoothest spectra of their colour, by the least hyperbolic tangent slope squared (LHTSS) method of
S. A. Burns, "Numerical methods for smoothest reflectance reconstruction", Color Research and
Application 45 (2020) 8-21. A pigment family bends that spectrum by a metameric black, so that
surfaces of two families share a colour under the target's conditions and no other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from colour.photo.target import Lab, Measurement

Array = NDArray[np.float64]

WAVELENGTHS: Array = np.arange(380.0, 781.0, 10.0)
_TABLE = slice(4, 45)  # of a table that runs from 340 to 830 nm
_STEPS = 60  # of Newton's method; most colours take under ten


@dataclass(frozen=True, slots=True)
class Family:
    """How the spectra of one family of pigments differ from the smoothest ones."""

    strength: float = 0.0  # of the wave, as a share of R (1 - R)
    period_nm: float = 130.0
    phase: float = 0.0  # radians


SMOOTH = Family()


@dataclass(frozen=True, slots=True)
class Surface:
    """A colour under the target's conditions and the pigments that make it."""

    lab: Lab
    family: Family = SMOOTH


def spectrum_of(kind: str) -> Array:
    """Relative power of a light by name.

    ``A``, ``D50`` and ``D65`` are the CIE tables; ``daylight 5800`` a mixture of the last two, or
    what lies beyond them; ``led 3500`` a blue diode with a broad phosphor; ``tube 4000`` a lamp
    of three narrow bands. The number is a correlated colour temperature, met roughly.
    """
    name, _, number = kind.partition(" ")
    if name in ("A", "D50", "D65"):
        return _table(name.lower())
    if name not in ("daylight", "led", "tube") or not number.isdigit():
        raise ValueError(
            f"light {kind!r} is unknown. Write A, D50, D65, daylight 5500, led 3500 or tube 4000."
        )
    kelvin = float(number)
    if name == "daylight":
        share = (1 / kelvin - 1 / 5003) / (1 / 6504 - 1 / 5003)
        power = (1 - share) * _even(_table("d50")) + share * _even(_table("d65"))
        return np.asarray(np.maximum(power, 0.0))
    cold = np.clip((1 / 2700 - 1 / kelvin) / (1 / 2700 - 1 / 6500), 0.0, 1.2)
    if name == "led":
        phosphor = _bump(605 - 45 * cold, 58.0)
        return np.asarray((0.25 + 0.95 * cold) * _bump(452, 11.0) + phosphor)
    bands = (0.22 + 0.75 * cold) * _bump(445, 14.0) + 0.95 * _bump(544, 9.0)
    bands = bands + (1.15 - 0.35 * cold) * _bump(611, 9.0) + 0.25 * cold * _bump(490, 9.0)
    return np.asarray(bands + 0.06)


@lru_cache(maxsize=16)
def _weights(illuminant: str, observer: str) -> Array:
    """(41, 3): reflectance to XYZ with Y = 1 for the perfect diffuser."""
    power = spectrum_of(illuminant.strip().upper())
    seen = observer_table("10" if "10" in observer else "2") * power[:, None]
    return np.asarray(seen / seen[:, 1].sum())


def weights_of(conditions: Measurement) -> Array:
    """(41, 3): weights that turn a reflectance into XYZ under the target's conditions."""
    return _weights(conditions.illuminant, conditions.observer)


def white_of(conditions: Measurement) -> Array:
    """XYZ of the perfect diffuser: the sum of the weights, so that a flat spectrum is neutral."""
    return np.asarray(weights_of(conditions).sum(axis=0))


@lru_cache(maxsize=2)
def observer_table(observer: str) -> Array:
    """(41, 3) of the CIE 2 or 10 degree observer."""
    from colormath import spectral_constants as tables  # type: ignore[import-untyped]

    columns = [getattr(tables, f"STDOBSERV_{axis}{observer}") for axis in "XYZ"]
    return np.stack([np.asarray(column, float)[_TABLE] for column in columns], axis=-1)


def xyz_from_lab(lab: ArrayLike, white: Array) -> Array:
    """CIE 1976 L*a*b* to XYZ; ISO/CIE 11664-4."""
    lightness, a, b = np.moveaxis(np.asarray(lab, float), -1, 0)
    fy = (lightness + 16) / 116
    f = np.stack([fy + a / 500, fy, fy - b / 200], axis=-1)
    linear = (f - 16 / 116) * 3 * (6 / 29) ** 2
    return np.asarray(white * np.where(f > 6 / 29, f**3, linear))


def possible(labs: Array) -> Array:
    """Colours brought to where X and Z lie between nothing and all of the light, as Y does."""
    fy = (labs[..., 0] + 16) / 116
    least, most = 0.142, 0.995  # of the cube roots; 0.138 is no light
    made = labs.copy()
    made[..., 1] = np.clip(labs[..., 1], 500 * (least - fy), 500 * (most - fy))
    made[..., 2] = np.clip(labs[..., 2], 200 * (fy - most), 200 * (fy - least))
    return made


def reflectances_of(surfaces: Sequence[Surface], conditions: Measurement) -> Array:
    """(n, 41): the spectra of surfaces, each between 0 and 1."""
    weights = weights_of(conditions)
    labs = np.array([surface.lab for surface in surfaces], float)
    xyz, white = xyz_from_lab(labs, white_of(conditions)), white_of(conditions)
    smooth = np.ones((len(surfaces), len(weights)))
    # The perfect diffuser is the limit of the method, and no nearer to it than that.
    short = np.flatnonzero(np.abs(xyz - white).max(axis=1) > 1e-9)
    distinct, which = np.unique(xyz[short], axis=0, return_inverse=True)
    smooth[short] = smoothest(distinct, weights)[which.ravel()]
    blacks = _metameric_blacks(weights)
    bent = np.empty_like(smooth)
    for row, (surface, spectrum) in enumerate(zip(surfaces, smooth, strict=True)):
        family = surface.family
        wave = np.sin(2 * np.pi * (WAVELENGTHS - 550) / family.period_nm + family.phase)
        term = blacks @ (family.strength * wave * spectrum * (1 - spectrum))
        # Projection can push past 0 or 1; the whole term shrinks so that the colour stays.
        room = np.where(term > 0, 1 - spectrum, spectrum)
        fits = np.min(room / np.maximum(np.abs(term), 1e-12))
        bent[row] = spectrum + min(1.0, 0.98 * fits) * term
    return bent


def smoothest(xyz: Array, weights: Array) -> Array:
    """LHTSS reflectances of XYZ values, by damped Newton steps.

    Each colour stops by itself, so what stands beside it in the call does not change it.
    """
    bands = len(weights)
    slope = np.diag(np.full(bands, 4.0)) - 2 * np.eye(bands, k=1) - 2 * np.eye(bands, k=-1)
    slope[0, 0] = slope[-1, -1] = 2.0
    z = np.repeat(np.arctanh(np.clip(2 * xyz[:, 1:2] - 1, -0.999, 0.999)), bands, axis=1)
    multipliers = np.zeros((len(xyz), 3))
    left = np.arange(len(xyz))
    for _ in range(_STEPS):
        here = z[left]
        tanh = np.tanh(here)
        gain = (1 - tanh**2) / 2
        pull = multipliers[left] @ weights.T
        wrong = np.concatenate(
            [here @ slope + gain * pull, ((tanh + 1) / 2) @ weights - xyz[left]], axis=1
        )
        going = np.abs(wrong).max(axis=1) >= 1e-9
        if not going.any():
            break
        left, wrong = left[going], wrong[going]
        tanh, gain, pull = tanh[going], gain[going], pull[going]
        system = np.zeros((len(left), bands + 3, bands + 3))
        system[:, :bands, :bands] = slope
        diagonal = np.arange(bands)
        system[:, diagonal, diagonal] -= 2 * gain * tanh * pull
        system[:, :bands, bands:] = gain[:, :, None] * weights
        system[:, bands:, :bands] = np.swapaxes(system[:, :bands, bands:], 1, 2)
        try:
            step = np.linalg.solve(system, -wrong[..., None])[..., 0]
        except np.linalg.LinAlgError:
            break  # one of them runs off to spectra of nothing but 0 and 1
        largest = np.abs(step[:, :bands]).max(axis=1, keepdims=True)
        step *= np.minimum(1.0, 2.0 / np.maximum(largest, 1e-12))
        z[left] += step[:, :bands]
        multipliers[left] += step[:, bands:]
    off = np.abs(((np.tanh(z) + 1) / 2) @ weights - xyz).max(axis=1)
    if off.max(initial=0.0) > 1e-5:
        raise ValueError(
            f"XYZ {np.round(xyz[off.argmax()], 4).tolist()} is no colour of a surface. "
            "Choose a less saturated Lab value."
        )
    return np.asarray((np.tanh(z) + 1) / 2)


def _metameric_blacks(weights: Array) -> Array:
    """Projection on to what the observer cannot see under the target's illuminant."""
    seen = weights @ np.linalg.solve(weights.T @ weights, weights.T)
    return np.asarray(np.eye(len(weights)) - seen)


def training_spectra(rng: np.random.Generator, count: int = 120) -> Array:
    """(count, 41) random smooth surfaces, for a camera's own calibration; none of the sheet's."""
    made = np.full((count, len(WAVELENGTHS)), 0.0)
    made += rng.uniform(0.02, 0.6, (count, 1))
    for _ in range(3):
        middle = rng.uniform(390, 720, (count, 1))
        width = rng.uniform(25, 110, (count, 1))
        height = rng.uniform(-0.5, 0.8, (count, 1))
        made += height * np.exp(-(((WAVELENGTHS - middle) / width) ** 2) / 2)
    made[0] = 1.0
    return np.asarray(np.clip(made, 0.01, 1.0))


@lru_cache(maxsize=8)
def _table(name: str) -> Array:
    from colormath import spectral_constants as tables

    return np.asarray(tables.REF_ILLUM_TABLE[name], float)[_TABLE]


def _even(power: Array) -> Array:
    return np.asarray(power / (power @ observer_table("2")[:, 1]))


def _bump(middle: float, width: float) -> Array:
    return np.asarray(np.exp(-(((WAVELENGTHS - middle) / width) ** 2) / 2))

"""Spectra for tests of the record: a chart colour, and another paint of its colour in daylight."""

from __future__ import annotations

from typing import Any

import numpy as np

from colour.spectra import lab_from_reflectance
from colour.spectral_weights import weights_for
from service.domain.records.measuring import AngleReading, AngleSpectrum
from tests.chart import chart_every

NM, CHART = chart_every(10)
GREY = CHART[19]
D65 = {"illuminant": "D65", "observer": 10}


def metameric(spectrum: Any, strength: float = 0.03, period: float = 80) -> Any:
    """A spectrum with the same X, Y and Z under D65/10° and others under other lights."""
    wave = strength * np.cos(2 * np.pi * (NM - 380) / period)
    weights = weights_for(NM, **D65).by_sample
    return spectrum + wave - weights @ np.linalg.solve(weights.T @ weights, weights.T @ wave)


def repeats_of(spectrum: Any, repeats: int = 3, noise: float = 2e-4, seed: int = 1) -> Any:
    """The same, read several times: shape (repeats, wavelengths)."""
    scatter = np.random.default_rng(seed).normal(0, noise, (repeats, 1))
    return np.asarray(spectrum) * (1 + scatter)


def spectral(rows: Any, angle: int | None = None, nm: Any = NM, **light: Any) -> dict[str, Any]:
    """The fields ``angles`` and ``spectra`` of a reading."""
    labs = lab_from_reflectance(rows, nm, **(light or D65))
    return {
        "angles": (AngleReading(angle=angle, repeats=tuple(map(tuple, labs.tolist()))),),
        "spectra": (
            AngleSpectrum(
                angle=angle,
                wavelengths_nm=tuple(map(float, nm)),
                reflectance=tuple(map(tuple, np.asarray(rows).tolist())),
            ),
        ),
    }

"""Spectra for readings whose L*, a*, b* are given: invented, smooth, and the same on every run.

Where two paints have their colours from other pigments, their spectra differ although L*, a*, b*
do not, and so they part under another light. That is all these spectra are to show.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from service.domain.records.measuring import AngleReading, AngleSpectrum

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

DECIMALS = 5  # of reflectance; what is rounded off moves L*, a*, b* by thousandths


def spectra_of(
    angles: Sequence[AngleReading],
    pigments: Sequence[Sequence[float]],
    wavelengths: Sequence[float],
    illuminant: str,
    observer: int,
) -> tuple[AngleSpectrum, ...]:
    """A spectrum for every repeat, with the L*, a*, b* of that repeat under light and observer.

    ``pigments`` are bands: centre, width in nm, depth. ``wavelengths`` are first, last and step.
    The curve that is left is bent by a parabola, which three tristimulus values fix.
    """
    import numpy as np

    from colour.spectral_weights import weights_for

    first, last, step = wavelengths
    nm = np.arange(first, last + step / 2, step)
    weights = weights_for(nm, illuminant=illuminant, observer=observer)
    left = np.ones_like(nm)
    for centre, width, depth in pigments:
        left -= depth * np.exp(-(((nm - centre) / width) ** 2))
    along = (nm - nm.mean()) / (nm[-1] - nm.mean())
    parabolas = left[:, None] * np.stack([np.ones_like(nm), along, along**2], axis=-1)
    bending = np.linalg.solve(weights.by_sample.T @ parabolas, np.eye(3)).T @ parabolas.T
    found = []
    for angle in angles:
        rows = np.round(_xyz_of(np.array(angle.repeats), weights.white) @ bending, DECIMALS)
        found.append(
            AngleSpectrum(
                angle=angle.angle,
                wavelengths_nm=tuple(nm.tolist()),
                reflectance=tuple(map(tuple, rows.tolist())),
            )
        )
    return tuple(found)


def _xyz_of(lab: NDArray[np.float64], white: NDArray[np.float64]) -> NDArray[np.float64]:
    """X, Y, Z of L*, a*, b* (ISO/CIE 11664-4), rows of each."""
    import numpy as np

    middle = (lab[:, 0] + 16) / 116
    f = np.stack([middle + lab[:, 1] / 500, middle, middle - lab[:, 2] / 200], axis=-1)
    linear = (f - 16 / 116) * 3 * (6 / 29) ** 2
    return np.asarray(white * np.where(f > 6 / 29, f**3, linear))

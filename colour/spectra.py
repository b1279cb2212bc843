"""Reflectance spectra to CIE XYZ and CIELAB, by the weights of ASTM E308."""

import numpy as np
from numpy.typing import ArrayLike

from colour.arrays import Floats
from colour.spectral_weights import as_wavelengths, weights_for

# What no surface reflects: a share of 1 below the first is a wrong zero, one above the second is
# percent, or no reflectance. Effect paint near the gloss reaches far above 1.
_LOWEST, _HIGHEST = -0.05, 20.0
_CUBE_ROOT_ABOVE = (6 / 29) ** 3
_SLOPE_BELOW = (29 / 6) ** 2 / 3


def xyz_from_reflectance(
    reflectance: ArrayLike, wavelengths: ArrayLike, *, illuminant: str, observer: object
) -> Floats:
    """Tristimulus values of surfaces under a light.

    Parameters
    ----------
    reflectance : array_like, shape (..., n)
        Reflectance factor as a share of 1, one spectrum or many.
    wavelengths : array_like, shape (n,)
        Nanometres, ascending, with no gap wider than 20 nm. Every 5, 10 and 20 nm take tabled
        weights; other wavelengths take weights made for them by the same procedure. Wavelengths
        outside 360 to 780 nm count for nothing; missing ends are treated as ASTM E308 does and
        refused where they matter (``colour.spectral_weights``).
    illuminant : str
        A, D50, D65, F2, F11, LED-B1 to LED-B5, LED-BH1, LED-RGB1, LED-V1 or LED-V2.
    observer : int or str
        2 (CIE 1931) or 10 (CIE 1964), degrees.

    Returns
    -------
    ndarray, shape (..., 3)
        X, Y, Z; Y of the perfect white is 100.

    Raises
    ------
    ValueError
        When a name is unknown, or the spectra cannot be taken; the text says why.

    References
    ----------
    .. [1] ASTM E308, Practice for computing the colors of objects by using the CIE system.
    .. [2] ASTM E2022, Practice for calculation of weighting factors for tristimulus integration.
    """
    samples = as_wavelengths(wavelengths)
    spectra = _as_reflectance(reflectance, samples)
    found = weights_for(samples, illuminant=illuminant, observer=observer)
    return np.asarray(spectra @ found.by_sample)


def lab_from_reflectance(
    reflectance: ArrayLike, wavelengths: ArrayLike, *, illuminant: str, observer: object
) -> Floats:
    """CIELAB colours of surfaces under a light, the white taken from the same weights.

    Parameters
    ----------
    reflectance, wavelengths, illuminant, observer
        As in ``xyz_from_reflectance``.

    Returns
    -------
    ndarray, shape (..., 3)
        L*, a*, b*; exactly 100, 0, 0 for a reflectance of 1 throughout.
    """
    xyz = xyz_from_reflectance(reflectance, wavelengths, illuminant=illuminant, observer=observer)
    return lab_from_xyz(xyz, white_point(wavelengths, illuminant=illuminant, observer=observer))


def white_point(wavelengths: ArrayLike, *, illuminant: str, observer: object) -> Floats:
    """X, Y, Z of the perfect white by the weights that these wavelengths take, shape (3,)."""
    return weights_for(wavelengths, illuminant=illuminant, observer=observer).white


def lab_from_xyz(xyz: ArrayLike, white: ArrayLike) -> Floats:
    """CIELAB of tristimulus values beside their white.

    Parameters
    ----------
    xyz : array_like, shape (..., 3)
    white : array_like, shape (3,)
        X, Y, Z of the perfect white under the same light and observer, on the same scale.

    Returns
    -------
    ndarray, shape (..., 3)

    References
    ----------
    .. [1] ISO/CIE 11664-4:2019, Colorimetry, Part 4: CIE 1976 L*a*b* colour space.
    """
    ratio = np.asarray(xyz, dtype=np.float64) / np.asarray(white, dtype=np.float64)
    f = np.where(ratio > _CUBE_ROOT_ABOVE, np.cbrt(ratio), _SLOPE_BELOW * ratio + 4 / 29)
    lab = np.empty_like(f)
    lab[..., 0] = 116 * f[..., 1] - 16
    lab[..., 1] = 500 * (f[..., 0] - f[..., 1])
    lab[..., 2] = 200 * (f[..., 1] - f[..., 2])
    return lab


def _as_reflectance(reflectance: ArrayLike, samples: Floats) -> Floats:
    try:
        spectra = np.asarray(reflectance, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError(
            "reflectance must hold numbers only, and as many in every spectrum"
        ) from None
    if spectra.ndim == 0 or spectra.shape[-1] != len(samples):
        raise ValueError(
            f"reflectance must hold one value for each of the {len(samples)} wavelengths on its "
            f"last axis, got shape {spectra.shape}"
        )
    if spectra.size and not (spectra.min() >= _LOWEST and spectra.max() <= _HIGHEST):
        raise ValueError(_what_is_odd(spectra, samples))
    return spectra


def _what_is_odd(spectra: Floats, samples: Floats) -> str:
    """The message on the first value that is no reflectance."""
    bad = ~((spectra >= _LOWEST) & (spectra <= _HIGHEST))
    place = tuple(int(i) for i in np.argwhere(bad)[0])
    value = float(spectra[place])
    where = f"at {samples[place[-1]]:g} nm" + (
        f" of spectrum {np.ravel_multi_index(place[:-1], spectra.shape[:-1])}, counted from 0"
        if len(place) > 1
        else ""
    )
    if not np.isfinite(value):
        return f"reflectance must be finite, got {value} {where}; leave such spectra out"
    return (
        f"reflectance is a share of 1, got {value:g} {where}; it lies between {_LOWEST:g} and "
        f"{_HIGHEST:g}. Divide percent by 100"
    )

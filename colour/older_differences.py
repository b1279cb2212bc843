"""ΔE*ab, ΔE*94, ΔE CMC(l:c) and the signed components, for arrays.

ΔE*94 and CMC are here for figures that come from elsewhere; the shop judges by CIEDE2000.
Both take their weights from the master's chroma, so swapping the colours changes the result.
"""

from math import radians

import numpy as np

from colour.arrays import Floats
from colour.one_pair import Components


def components(master: Floats, sample: Floats) -> Components[Floats]:
    """Signed CIELAB differences, sample minus master.

    Parameters
    ----------
    master, sample : ndarray, shape (..., 3)
        CIELAB colours; leading axes broadcast.

    Returns
    -------
    Components
        ΔL*, Δa*, Δb*, ΔC*ab, ΔH*ab, each of the broadcast leading shape. ΔH*ab is positive when
        the sample is anticlockwise of the master, zero when either is neutral.

    References
    ----------
    .. [1] ISO/CIE 11664-4:2019, Colorimetry, Part 4: CIE 1976 L*a*b* space.
    """
    with np.errstate(invalid="ignore", over="ignore"):
        _, a1, b1 = np.moveaxis(master, -1, 0)
        _, a2, b2 = np.moveaxis(sample, -1, 0)
        delta_l, delta_a, delta_b = np.moveaxis(sample - master, -1, 0)
        c1 = np.hypot(a1, b1)
        c2 = np.hypot(a2, b2)
        # The turn straight from cross and dot product, so that no angle is ever wrapped.
        # sqrt(ΔE² − ΔL² − ΔC²) loses the sign and goes negative near equality.
        turn = np.arctan2(a1 * b2 - b1 * a2, a1 * a2 + b1 * b2)
        delta_h = 2 * np.sqrt(c1 * c2) * np.sin(turn / 2)
        return Components(delta_l, delta_a, delta_b, c2 - c1, delta_h)


def delta_e_ab(master: Floats, sample: Floats) -> Floats:
    """ΔE*ab, the plain distance in CIELAB (ISO/CIE 11664-4)."""
    with np.errstate(invalid="ignore", over="ignore"):
        delta = sample - master
        distance: Floats = np.sqrt(np.vecdot(delta, delta))
        return distance


def delta_e_94(master: Floats, sample: Floats) -> Floats:
    """ΔE*94 with the graphic-arts weights (CIE 116-1995), chroma of the master."""
    with np.errstate(invalid="ignore", over="ignore"):
        c1 = np.hypot(master[..., 1], master[..., 2])
        d = components(master, sample)
        s_c = 1 + 0.045 * c1
        s_h = 1 + 0.015 * c1
        total: Floats = d.delta_l**2 + (d.delta_c / s_c) ** 2 + (d.delta_h / s_h) ** 2
        return np.sqrt(total)


def delta_e_cmc(master: Floats, sample: Floats, lightness: float, chroma: float) -> Floats:
    """ΔE CMC(l:c) (ISO 105-J03)."""
    with np.errstate(invalid="ignore", over="ignore"):
        l1, a1, b1 = np.moveaxis(master, -1, 0)
        c1 = np.hypot(a1, b1)
        hue_deg = np.degrees(np.arctan2(b1 + 0.0, a1 + 0.0)) % 360.0
        t = np.where(
            (hue_deg >= 164.0) & (hue_deg <= 345.0),
            0.56 + np.abs(0.2 * np.cos(np.radians(hue_deg) + radians(168))),
            0.36 + np.abs(0.4 * np.cos(np.radians(hue_deg) + radians(35))),
        )
        c4 = c1**4
        f = np.sqrt(c4 / (c4 + 1900))
        # The fraction has a pole at L* = −56.7, outside every reading; NaN stays NaN.
        s_l = np.where(l1 < 16, 0.511, 0.040975 * l1 / (1 + 0.01765 * np.maximum(l1, 0.0)))
        s_c = 0.638 + 0.0638 * c1 / (1 + 0.0131 * c1)
        s_h = s_c * (f * t + 1 - f)
        d = components(master, sample)
        total: Floats = (
            (d.delta_l / (lightness * s_l)) ** 2
            + (d.delta_c / (chroma * s_c)) ** 2
            + (d.delta_h / s_h) ** 2
        )
        return np.sqrt(total)

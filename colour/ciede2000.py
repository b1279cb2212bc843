"""CIEDE2000 for arrays, step by step as the standard writes it (ISO/CIE 11664-6).

This is the form to read, to check against published steps, and to show as evidence.
``ciede2000_bulk`` computes the same differences about six times faster and comes back here
for the pairs its shortcuts do not cover.
"""

from math import pi, radians

import numpy as np

from colour.arrays import Floats
from colour.one_pair import POW_25_7, TURN, Steps2000


def steps(
    master: Floats, sample: Floats, k_l: float = 1.0, k_c: float = 1.0, k_h: float = 1.0
) -> Steps2000[Floats]:
    """Every step of CIEDE2000 for each pair.

    Parameters
    ----------
    master, sample : ndarray, shape (..., 3)
        CIELAB colours; leading axes broadcast.
    k_l, k_c, k_h : float
        Parametric factors; 1 under reference conditions.

    Returns
    -------
    Steps2000
        Arrays of the broadcast leading shape. NaN in gives NaN out.

    References
    ----------
    .. [1] ISO/CIE 11664-6, Colorimetry, Part 6: CIEDE2000 colour-difference formula.
    .. [2] Sharma, Wu, Dalal, Color Res. Appl. 30 (2005) 21-30; its equation numbers are used.
    """
    with np.errstate(all="ignore"):
        l1, a1, b1 = np.moveaxis(master, -1, 0)
        l2, a2, b2 = np.moveaxis(sample, -1, 0)
        mean_c = (np.sqrt(a1 * a1 + b1 * b1) + np.sqrt(a2 * a2 + b2 * b2)) / 2  # (2), (3)
        c7 = mean_c**7
        g = 0.5 * (1 - np.sqrt(c7 / (c7 + POW_25_7)))  # (4)
        a1 = (1 + g) * a1  # (5)
        a2 = (1 + g) * a2
        # Broadcast here, so that every step comes back in the full shape.
        b1 = b1 + np.zeros_like(g)
        b2 = b2 + np.zeros_like(g)
        c1 = np.sqrt(a1 * a1 + b1 * b1)  # (6)
        c2 = np.sqrt(a2 * a2 + b2 * b2)
        h1 = _hue(a1, b1)  # (7)
        h2 = _hue(a2, b2)

        delta_l = l2 - l1 + np.zeros_like(g)  # (8)
        delta_c = c2 - c1  # (9)
        neutral = c1 * c2 == 0
        # Opposite hues are 180° apart even where rounding makes the angles differ by more.
        wraps = ~neutral & (np.abs(h2 - h1) > pi) & (a1 * b2 != b1 * a2)
        delta_hue = h2 - h1
        delta_hue = np.where(wraps, delta_hue - np.copysign(TURN, delta_hue), delta_hue)
        delta_hue = np.where(neutral, 0.0, delta_hue)  # (10)
        mean_hue = h1 + h2
        mean_hue = np.where(
            wraps, mean_hue + np.where(mean_hue < TURN, TURN, -TURN), mean_hue
        ) * np.where(neutral, 1.0, 0.5)  # (14)
        delta_h = 2 * np.sqrt(c1 * c2) * np.sin(delta_hue / 2)  # (11)

        mean_c = (c1 + c2) / 2  # (13)
        t = (
            1
            - 0.17 * np.cos(mean_hue - radians(30))
            + 0.24 * np.cos(2 * mean_hue)
            + 0.32 * np.cos(3 * mean_hue + radians(6))
            - 0.20 * np.cos(4 * mean_hue - radians(63))
        )  # (15)
        mean_hue_deg = np.degrees(mean_hue)
        l50 = ((l1 + l2) / 2 - 50) ** 2 + np.zeros_like(g)  # (12)
        s_l = 1 + 0.015 * l50 / np.sqrt(20 + l50)  # (18)
        s_c = 1 + 0.045 * mean_c  # (19)
        s_h = 1 + 0.015 * mean_c * t  # (20)
        c7 = mean_c**7
        double_theta = pi / 3 * np.exp(-(((mean_hue_deg - 275) / 25) ** 2))  # (16)
        r_t = -np.sin(double_theta) * 2 * np.sqrt(c7 / (c7 + POW_25_7))  # (17), (21)

        x = delta_l / (k_l * s_l)
        y = delta_c / (k_c * s_c)
        z = delta_h / (k_h * s_h)
        # The form is never negative (|R_T| < 2); near the smallest floats its rounding can be.
        delta_e = np.sqrt(np.maximum(x * x + y * y + z * z + r_t * y * z, 0.0))  # (22)
    return Steps2000(
        a1, c1, np.degrees(h1), a2, c2, np.degrees(h2), mean_hue_deg,
        g, t, s_l, s_c, s_h, r_t, delta_l, delta_c, delta_h, delta_e,
    )  # fmt: skip


def _hue(a: Floats, b: Floats) -> Floats:
    # arctan2 tells −0 from 0; adding 0.0 makes them one, so that a typed "-0" has hue 0.
    hue = np.arctan2(b + 0.0, a + 0.0)
    return np.where(hue < 0, hue + TURN, hue)

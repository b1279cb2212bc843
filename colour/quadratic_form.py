"""CIEDE2000 as a quadratic form: the metric in which small differences are judged."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from colour.difference import delta_e_2000

Array = NDArray[np.float64]

_POW_25_7 = 25.0**7


def local_form(lab: ArrayLike) -> Array:
    """Matrix M with ΔE00² ≈ dᵀ M d for a small Lab difference d centred on a colour.

    Taken at the midpoint of a pair it meets the formula to about 0.1 % at one unit; the error
    grows to 2 % at three units, for blues and near neutrals.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        The colour on which the difference is centred.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        Symmetric and positive definite, in CIEDE2000 units squared per CIELAB unit squared.

    References
    ----------
    .. [1] ISO/CIE 11664-6, Colorimetry, Part 6: CIEDE2000 colour-difference formula
       (k_L = k_C = k_H = 1).
    """
    lightness, a, b = np.moveaxis(np.asarray(lab, dtype=np.float64), -1, 0)
    chroma_7 = (a * a + b * b) ** 3.5
    stretch = 1.5 - 0.5 * np.sqrt(chroma_7 / (chroma_7 + _POW_25_7))  # 1 + G
    a_stretched = stretch * a
    chroma = np.hypot(a_stretched, b)
    hue = np.degrees(np.arctan2(b, a_stretched)) % 360.0
    turn = np.radians(hue)
    t = (
        1
        - 0.17 * np.cos(turn - np.radians(30))
        + 0.24 * np.cos(2 * turn)
        + 0.32 * np.cos(3 * turn + np.radians(6))
        - 0.20 * np.cos(4 * turn - np.radians(63))
    )
    stretched_7 = chroma**7
    rotation = -np.sin(np.radians(60) * np.exp(-(((hue - 275) / 25) ** 2)))
    rotation = rotation * 2 * np.sqrt(stretched_7 / (stretched_7 + _POW_25_7))  # R_T
    from_middle = (lightness - 50) ** 2
    s_l = 1 + 0.015 * from_middle / np.sqrt(20 + from_middle)
    s_c = 1 + 0.045 * chroma
    s_h = 1 + 0.015 * chroma * t
    # A neutral has no hue; S_C = S_H = 1 and R_T = 0 there, so any direction serves.
    cosine, sine = np.cos(turn), np.sin(turn)
    chroma_a, chroma_b = cosine * stretch / s_c, sine / s_c
    hue_a, hue_b = -sine * stretch / s_h, cosine / s_h
    form = np.zeros((*np.shape(lightness), 3, 3))
    form[..., 0, 0] = 1 / s_l**2
    form[..., 1, 1] = chroma_a**2 + hue_a**2 + rotation * chroma_a * hue_a
    form[..., 2, 2] = chroma_b**2 + hue_b**2 + rotation * chroma_b * hue_b
    cross = chroma_a * chroma_b + hue_a * hue_b
    cross = cross + rotation / 2 * (chroma_a * hue_b + chroma_b * hue_a)
    form[..., 1, 2] = form[..., 2, 1] = cross
    return form


def size(difference: Array, form: Array) -> Array:
    """√(dᵀ M d) over leading axes."""
    squared: Array = np.einsum("...i,...ij,...j->...", difference, form, difference)
    return np.sqrt(squared)


def truths_on_limit(
    master: Array, directions: Array, limit: Array, here: Array | None = None
) -> tuple[Array, Array, Array]:
    """Differences of a given ΔE00 along given Lab directions, each with its own form.

    Parameters
    ----------
    master : ndarray, shape (..., 3)
        The colour the differences start from.
    directions : ndarray, shape (..., 3)
        Lab directions of any length but zero.
    limit : ndarray, shape (...)
        ΔE00 of the wanted differences from the master.
    here : ndarray, shape (..., 3, 3), optional
        The form at the master, when it is at hand.

    Returns
    -------
    difference : ndarray, shape (..., 3)
        Lab differences d with ΔE00(master, master + d) = limit, to 0.1 % up to a limit of 5
        and to 1e-4 up to 0.8.
    form : ndarray, shape (..., 3, 3)
        The form at the midpoint, scaled so that dᵀ M d = limit² exactly.
    bend : ndarray, shape (...)
        γ in ΔE00(master, master + f d) ≈ limit f / (1 + γ (f − 1)): how the formula grows ever
        slower (or faster) outwards, because its weights are taken between the two colours.
    """
    here = local_form(master) if here is None else here
    difference = directions * (limit / size(directions, here))[..., None]
    for _ in range(1 if np.max(limit) < 2 else 3):
        # The weights S_L, S_C and S_H run nearly straight along a ray, so two points give the
        # curve; far out they do not, and it is drawn again from where it led.
        rays = np.stack([difference, difference / 2])
        whole, half = np.asarray(delta_e_2000(master, master + rays))
        # A ray through the neutral axis may turn back; no bend as sharp is meant.
        bend, share = np.clip(2 - whole / half, -1.0, 0.6), limit / whole
        reach = np.clip(share * (1 - bend) / np.maximum(1 - bend * share, 0.1), 0.2, 5.0)
        difference = difference * reach[..., None]
    form = local_form(master + difference / 2)
    form = form * ((limit / size(difference, form)) ** 2)[..., None, None]
    bend = np.clip(bend * reach / (1 + bend * (reach - 1)), -1.0, 0.6)
    return difference, form, bend

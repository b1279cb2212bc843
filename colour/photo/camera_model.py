"""From linear light of a picture to Lab: the model whose parameters a target's patches settle.

    t_c = (r_c exp(g_c(s_c)) − o_c) / exp(h(x, y) + d_c(x, y)),     s_c = r_c^(1/2.2)
    (X/Xn, Y/Yn, Z/Zn) = M t,      Lab by ISO/CIE 11664-4

r is the light as the picture's profile decodes it. g undoes the tone curve a camera adds to
please the eye, o is stray light, h the unevenness of the light over the target and d its change
of colour, M the camera's crosstalk and white balance. Every parameter has a prior: what a target
cannot settle stays near what cameras do, and its uncertainty stays with the readings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colour.arrays import Floats

# Linear sRGB to X/Xn, Y/Yn, Z/Zn with Xn, Yn, Zn of D65: IEC 61966-2-1, rows summing to 1.
RELATIVE_XYZ_FROM_SRGB = np.array(
    [
        [0.4124 / 0.9505, 0.3576 / 0.9505, 0.1805 / 0.9505],
        [0.2126, 0.7152, 0.0722],
        [0.0193 / 1.0890, 0.1192 / 1.0890, 0.9505 / 1.0890],
    ]
)
TONE_TERMS = 4
LIGHT_ORDER = 4
LIGHT_TERMS = (LIGHT_ORDER + 1) * (LIGHT_ORDER + 2) // 2 - 1  # without the constant
TINT_TERMS = 5  # to the second order
# Layout of the parameters.
MATRIX = slice(0, 9)
TONE = slice(9, 9 + TONE_TERMS)
OWN_TONE = slice(TONE.stop, TONE.stop + 3 * TONE_TERMS)  # by channel, beside the shared one
STRAY = slice(OWN_TONE.stop, OWN_TONE.stop + 4)  # shared, then by channel
LIGHT = slice(STRAY.stop, STRAY.stop + LIGHT_TERMS)
TINT = slice(LIGHT.stop, LIGHT.stop + 2 * TINT_TERMS)  # red, then blue, against green
SIZE = TINT.stop

_EPSILON = 216 / 24389
_KAPPA = 24389 / 27
_TOE = 0.004  # where the logarithm of the tone curve bends off, in linear light


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """Places as a camera saw them, with the bases that do not depend on the parameters."""

    light: Floats  # (n, 3)
    tone: Floats  # (n, 3, TONE_TERMS)
    field: Floats  # (n, LIGHT_TERMS)

    def __len__(self) -> int:
        return len(self.light)

    def take(self, which: NDArray[np.intp] | NDArray[np.bool_]) -> Seen:
        return Seen(light=self.light[which], tone=self.tone[which], field=self.field[which])


def seen(light: Floats, position: Floats) -> Seen:
    """Places of linear ``light`` (n, 3) at ``position`` (n, 2), −1 to 1 over the target."""
    return Seen(light=light, tone=_tone_basis(light), field=field_basis(position))


def _tone_basis(light: Floats) -> Floats:
    r = np.clip(light, 0.0, None)
    s = r ** (1 / 2.2)
    s1 = s - 0.5
    return np.stack(
        [np.log((r + _TOE) / (0.2 + _TOE)), s1, s1**2 - 1 / 12, s1**3 - 0.15 * s1], axis=-1
    )


def field_basis(position: Floats) -> Floats:
    """Products of Legendre polynomials to the fourth order together, (n, LIGHT_TERMS)."""
    x, y = position[:, 0], position[:, 1]

    def legendre(v: Floats) -> list[Floats]:
        return [
            np.ones_like(v), v, 1.5 * v**2 - 0.5, 2.5 * v**3 - 1.5 * v,
            4.375 * v**4 - 3.75 * v**2 + 0.375,
        ]  # fmt: skip

    px, py = legendre(x), legendre(y)
    return np.stack(
        [px[order - j] * py[j] for order in range(1, LIGHT_ORDER + 1) for j in range(order + 1)],
        axis=-1,
    )


def field_orders() -> Floats:
    """The order of each term of ``field_basis``."""
    return np.repeat(np.arange(1.0, LIGHT_ORDER + 1), np.arange(2, LIGHT_ORDER + 2))


def evenness(theta: Floats, field: Floats) -> Floats:
    """Logarithm of the light on places, relative to the middle of the target: (n,)."""
    return np.asarray(field @ theta[LIGHT])


def predict(theta: Floats, places: Seen, white: float) -> Floats:
    """Lab (n, 3) of places."""
    return _forward(theta, places, white)[0]


def predict_with_slopes(theta: Floats, places: Seen, white: float) -> tuple[Floats, Floats, Floats]:
    """Lab (n, 3), its slopes by the parameters (n, 3, SIZE) and by the light (n, 3, 3)."""
    lab, lab_slope, t, toned, gain, divisor = _forward(theta, places, white)
    matrix = theta[MATRIX].reshape(3, 3)
    n = len(places)
    slopes = np.zeros((n, 3, SIZE))
    # By M: row k of M moves coordinate k alone.
    for k in range(3):
        slopes[:, :, 3 * k : 3 * k + 3] = lab_slope[:, :, k, None] * t[:, None, :]
    by_t = lab_slope @ matrix  # (n, 3, 3): Lab by t
    by_tone = by_t * (toned / divisor)[:, None, :]  # Lab by g_c
    slopes[:, :, TONE] = np.einsum("nkc,ncj->nkj", by_tone, places.tone)
    own = by_tone[:, :, :, None] * places.tone[:, None, :, :]
    slopes[:, :, OWN_TONE] = own.reshape(n, 3, -1)
    by_stray = -by_t * (white / divisor)[:, None, :]
    slopes[:, :, STRAY.start] = by_stray.sum(axis=-1)
    slopes[:, :, STRAY.start + 1 : STRAY.stop] = by_stray
    by_field = -by_t * t[:, None, :]  # Lab by h and d_c
    slopes[:, :, LIGHT] = by_field.sum(axis=-1)[:, :, None] * places.field[:, None, :]
    tint = places.field[:, None, :TINT_TERMS]
    slopes[:, :, TINT.start : TINT.start + TINT_TERMS] = by_field[:, :, 0, None] * tint
    slopes[:, :, TINT.start + TINT_TERMS : TINT.stop] = by_field[:, :, 2, None] * tint
    by_light = by_t * (gain / divisor)[:, None, :]
    return lab, slopes, by_light


def _forward(
    theta: Floats, places: Seen, white: float
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    own = theta[OWN_TONE].reshape(3, TONE_TERMS)
    g = places.tone @ theta[TONE] + np.einsum("ncj,cj->nc", places.tone, own)
    gain = np.exp(np.clip(g, -6, 6))
    toned = places.light * gain
    stray = (theta[STRAY.start] + theta[STRAY.start + 1 : STRAY.stop]) * white
    tint = np.zeros((len(places), 3))
    tint[:, 0] = places.field[:, :TINT_TERMS] @ theta[TINT.start : TINT.start + TINT_TERMS]
    tint[:, 2] = places.field[:, :TINT_TERMS] @ theta[TINT.start + TINT_TERMS : TINT.stop]
    divisor = np.exp(np.clip(evenness(theta, places.field)[:, None] + tint, -4, 4))
    t = (toned - stray) / divisor
    xyz = t @ theta[MATRIX].reshape(3, 3).T
    lab, slope = lab_with_slope(xyz)
    # The gain by light also moves g; its share in r exp(g(r)) is folded in.
    return lab, slope, t, toned, gain * _own_slope(places, theta, own), divisor


def _own_slope(places: Seen, theta: Floats, own: Floats) -> Floats:
    """1 + r g'(r): how r exp(g) answers to r beside exp(g) itself."""
    r = np.clip(places.light, 1e-6, None)
    s = r ** (1 / 2.2)
    s1 = s - 0.5
    rate = s / 2.2  # r ds/dr
    by = np.stack([r / (r + _TOE), rate, 2 * s1 * rate, (3 * s1**2 - 0.15) * rate], axis=-1)
    return np.asarray(1 + by @ theta[TONE] + np.einsum("ncj,cj->nc", by, own))


def lab_with_slope(relative_xyz: Floats) -> tuple[Floats, Floats]:
    """Lab (n, 3) of X/Xn, Y/Yn, Z/Zn, and its slope by them (n, 3, 3); linear below the joint."""
    v = relative_xyz
    root = np.cbrt(np.maximum(v, _EPSILON))
    f = np.where(v > _EPSILON, root, (_KAPPA * v + 16) / 116)
    d = np.where(v > _EPSILON, 1 / (3 * root**2), _KAPPA / 116)
    lab = np.stack(
        [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=-1
    )
    slope = np.zeros((len(v), 3, 3))
    slope[:, 0, 1] = 116 * d[:, 1]
    slope[:, 1, 0], slope[:, 1, 1] = 500 * d[:, 0], -500 * d[:, 1]
    slope[:, 2, 1], slope[:, 2, 2] = 200 * d[:, 1], -200 * d[:, 2]
    return lab, slope


def relative_xyz(lab: Floats) -> Floats:
    """X/Xn, Y/Yn, Z/Zn of Lab (n, 3)."""
    fy = (lab[:, 0] + 16) / 116
    f = np.stack([fy + lab[:, 1] / 500, fy, fy - lab[:, 2] / 200], axis=-1)
    return np.where(f**3 > _EPSILON, f**3, (116 * f - 16) / _KAPPA)

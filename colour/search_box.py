"""A box in L*, a*, b* that holds every colour within a given CIEDE2000 difference of one.

CIEDE2000 is no metric, so no index that relies on the triangle inequality can search by it.
But it can be bounded from below, and the bound cuts out a box that any ordinary index can use:
fetch what lies in the box, then compute the exact differences of that. Imports no numpy.

The bound, for a query q and any p with ΔE00(q, p) ≤ r:

1. ΔE00 ≥ |ΔL*|/S_L, and S_L grows with |L̄* − 50|.
2. x² + y² + R_T·x·y ≥ (1 − |R_T|/2)(x² + y²), with x = ΔC'/S_C and y = ΔH'/S_H.
3. S_H ≤ S_C, because 0.015 T < 0.045.
4. ΔC'² + ΔH'² = Δa'² + Δb*² =: ρ², the squared distance in the (a', b*) plane, exactly.

From 2 to 4, ρ ≤ r·S_C/√(1 − |R_T|/2). S_C and R_T belong to the mean of the pair, so they are
themselves bounded by ρ: C̄' is at most C'(q) + ρ/2, and the mean hue is at most half the angle
asin(ρ/C'(q)) off the query's. Starting from the worst R_T there is, each round with a valid ρ
gives a smaller valid ρ. Finally a' = (1 + G) a* with G ≥ 0 brings the box back to a*.
"""

from math import asin, atan2, degrees, exp, inf, isfinite, pi, sin, sqrt
from typing import NamedTuple

from colour.one_pair import POW_25_7, Lab

WORST_R_T = sqrt(3.0)  # 2 sin 60°, reached at hue 275° and infinite chroma
ROUNDS = 6
SLACK = 1e-9  # relative and absolute: well above rounding, well below any reading


class LabBox(NamedTuple):
    """Half the widths of the box around the query, CIELAB units; infinite where unbounded."""

    half_l: float
    half_a: float
    half_b: float


def lab_box(query: Lab, radius: float) -> LabBox:
    """The box around ``query`` that holds every colour within ``radius``.

    Parameters
    ----------
    query : tuple of 3 floats
        CIELAB colour.
    radius : float
        CIEDE2000 difference with k_L = k_C = k_H = 1. Above 16 the a* and b* sides are infinite.

    Returns
    -------
    LabBox
        No colour outside |ΔL*| ≤ half_l, |Δa*| ≤ half_a, |Δb*| ≤ half_b is that near.
    """
    lightness, a, b = (float(value) for value in query)
    if not (isfinite(lightness) and isfinite(a) and isfinite(b)):
        raise ValueError(f"query must be finite, got {tuple(query)}")
    if not radius >= 0:
        raise ValueError(f"radius must not be negative, got {radius!r}")
    half_l = _lightness_reach(lightness, radius)
    reach = _plane_reach(a, b, radius)
    least_g = _g(sqrt(a * a + b * b) + reach / 2)
    sides = (half_l, reach / (1 + least_g), reach)
    return LabBox(*(side * (1 + SLACK) + SLACK for side in sides))


def _lightness_reach(lightness: float, radius: float) -> float:
    off_middle = abs(lightness - 50)
    # S_L ≤ 1 + 0.015 |L̄* − 50|, solved for |ΔL*|.
    if 0.0075 * radius >= 1:
        return inf
    reach = radius * (1 + 0.015 * off_middle) / (1 - 0.0075 * radius)
    for _ in range(ROUNDS):
        mean = (off_middle + reach / 2) ** 2
        reach = min(reach, radius * (1 + 0.015 * mean / sqrt(20 + mean)))
    return reach


def _plane_reach(a: float, b: float, radius: float) -> float:
    """The largest distance in the (a', b*) plane."""
    worst = sqrt(1 - WORST_R_T / 2)
    if 0.0225 * radius >= worst:
        return inf
    # S_C ≤ 1 + 0.045 (C'(q) + ρ/2) with G at its largest, 0.5, solved for ρ.
    reach = radius * (1 + 0.045 * sqrt(2.25 * a * a + b * b)) / (worst - 0.0225 * radius)
    chroma = sqrt(a * a + b * b)
    for _ in range(ROUNDS):
        # G falls with the mean chroma, which lies within ρ/2 of the query's.
        stretch_least = 1 + _g(chroma + reach / 2)
        stretch_most = 1 + _g(max(chroma - reach / 2, 0.0))
        most = sqrt((stretch_most * a) ** 2 + b * b) + reach / 2  # of the mean C'
        r_c = 2 * sqrt(_seventh_power_share(most))
        r_t = r_c * sin(pi / 3 * _largest_bell(a, b, stretch_least, stretch_most, reach))
        smaller = radius * (1 + 0.045 * most) / sqrt(1 - r_t / 2)
        if smaller > 0.98 * reach:
            return min(smaller, reach)
        reach = smaller
    return reach


def _largest_bell(
    a: float, b: float, stretch_least: float, stretch_most: float, reach: float
) -> float:
    """The largest exp(−((h̄' − 275°)/25°)²) that a pair with the query can have."""
    least_chroma = sqrt((stretch_least * a) ** 2 + b * b)
    if reach >= least_chroma:
        return 1.0  # the pair may lie either side of grey: any hue
    off = [_off_275(degrees(atan2(b, s * a))) for s in (stretch_least, stretch_most)]
    if off[0] * off[1] <= 0 and abs(off[0] - off[1]) < 180:
        nearest = 0.0
    else:
        nearest = min(abs(off[0]), abs(off[1]))
    nearest = max(nearest - degrees(asin(reach / least_chroma)) / 2, 0.0)
    return exp(-((nearest / 25) ** 2))


def _off_275(hue_deg: float) -> float:
    """Signed way from 275°, the shorter one round; −180 to 180."""
    return (hue_deg - 275 + 180) % 360 - 180


def _g(mean_chroma: float) -> float:
    return 0.5 * (1 - sqrt(_seventh_power_share(mean_chroma)))


def _seventh_power_share(chroma: float) -> float:
    """C⁷/(C⁷ + 25⁷), for infinite chroma too."""
    if chroma > 1e6:
        return 1.0
    power = chroma**7
    return power / (power + POW_25_7)

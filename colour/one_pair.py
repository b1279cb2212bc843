"""Differences between two single colours in plain Python; imports no numpy.

A command that compares one pair would spend most of its time importing numpy,
and a numpy call on one pair costs some thirty times the arithmetic.
The same formulas for arrays are in ``ciede2000`` and ``older_differences``; tests hold
the two to each other and both to published values. ``difference`` chooses.
"""

from math import atan2, cos, degrees, exp, inf, pi, radians, sin, sqrt
from typing import Generic, NamedTuple, TypeVar

Lab = tuple[float, float, float]
Value = TypeVar("Value")

POW_25_7 = 25.0**7
TURN = 2 * pi
_6, _30, _63 = radians(6), radians(30), radians(63)


class Components(NamedTuple, Generic[Value]):
    """Sample minus master, in CIELAB units (ISO/CIE 11664-4).

    ``delta_h`` is positive when the sample is anticlockwise of the master in the a*b* plane;
    ΔE*ab² = ΔL*² + ΔC*² + ΔH*².
    """

    delta_l: Value
    delta_a: Value
    delta_b: Value
    delta_c: Value
    delta_h: Value


class Steps2000(NamedTuple, Generic[Value]):
    """Every step of one CIEDE2000 calculation, in the symbols of ISO/CIE 11664-6.

    The primed quantities: a' = (1+G)a*, C' and h' from a' and b*.
    ``delta_l``, ``delta_c``, ``delta_h`` are ΔL', ΔC', ΔH', not yet divided by k·S.
    """

    master_a: Value
    master_c: Value
    master_hue_deg: Value
    sample_a: Value
    sample_c: Value
    sample_hue_deg: Value
    mean_hue_deg: Value
    g: Value
    t: Value
    s_l: Value
    s_c: Value
    s_h: Value
    r_t: Value
    delta_l: Value
    delta_c: Value
    delta_h: Value
    delta_e: Value


def check_factors(k_l: float, k_c: float, k_h: float) -> None:
    """Refuse parametric factors that would make the formula meaningless."""
    for name, value in (("k_l", k_l), ("k_c", k_c), ("k_h", k_h)):
        check_positive(name, value)


def check_positive(name: str, value: float) -> None:
    """Refuse a weight that is not a finite number above zero."""
    try:
        if 0.0 < value < inf:
            return
    except TypeError:
        raise TypeError(f"{name} must be a number, got {value!r}") from None
    raise ValueError(f"{name} must be finite and above zero, got {value!r}")


def _ciede2000(master: Lab, sample: Lab, k_l: float, k_c: float, k_h: float) -> tuple[float, ...]:
    """The fields of ``Steps2000`` in order; equation numbers are Sharma, Wu, Dalal (2005)."""
    l1, a1, b1 = master
    l2, a2, b2 = sample
    mean_c = (sqrt(a1 * a1 + b1 * b1) + sqrt(a2 * a2 + b2 * b2)) / 2  # (2), (3)
    c7 = mean_c**7
    g = 0.5 * (1 - sqrt(c7 / (c7 + POW_25_7)))  # (4)
    a1 = (1 + g) * a1  # (5)
    a2 = (1 + g) * a2
    c1 = sqrt(a1 * a1 + b1 * b1)  # (6)
    c2 = sqrt(a2 * a2 + b2 * b2)
    # atan2 tells −0 from 0; adding 0.0 makes them one, so that a typed "-0" has hue 0. (7)
    h1 = atan2(b1 + 0.0, a1 + 0.0)
    h2 = atan2(b2 + 0.0, a2 + 0.0)
    if h1 < 0:
        h1 += TURN
    if h2 < 0:
        h2 += TURN

    delta_l = l2 - l1  # (8)
    delta_c = c2 - c1  # (9)
    delta_hue = h2 - h1  # (10)
    mean_hue = h1 + h2  # (14)
    if c1 * c2 == 0:
        delta_hue = 0.0
    elif not -pi <= delta_hue <= pi and a1 * b2 != b1 * a2:
        # Opposite hues are 180° apart even where rounding makes the angles differ by more.
        delta_hue += -TURN if delta_hue > 0 else TURN
        mean_hue = (mean_hue + (TURN if mean_hue < TURN else -TURN)) / 2
    else:
        mean_hue /= 2
    delta_h = 2 * sqrt(c1 * c2) * sin(delta_hue / 2)  # (11)

    mean_c = (c1 + c2) / 2  # (13)
    t = (
        1
        - 0.17 * cos(mean_hue - _30)
        + 0.24 * cos(2 * mean_hue)
        + 0.32 * cos(3 * mean_hue + _6)
        - 0.20 * cos(4 * mean_hue - _63)
    )  # (15)
    mean_hue_deg = degrees(mean_hue)
    l50 = ((l1 + l2) / 2 - 50) ** 2  # (12)
    s_l = 1 + 0.015 * l50 / sqrt(20 + l50)  # (18)
    s_c = 1 + 0.045 * mean_c  # (19)
    s_h = 1 + 0.015 * mean_c * t  # (20)
    c7 = mean_c**7
    # (16), (17), (21): 2Δθ is 60° times the bell, R_C is twice the root.
    r_t = -sin(pi / 3 * exp(-(((mean_hue_deg - 275) / 25) ** 2))) * 2 * sqrt(c7 / (c7 + POW_25_7))

    x = delta_l / (k_l * s_l)
    y = delta_c / (k_c * s_c)
    z = delta_h / (k_h * s_h)
    # The form is never negative (|R_T| < 2); near the smallest floats its rounding can be.
    delta_e = sqrt(max(x * x + y * y + z * z + r_t * y * z, 0.0))  # (22)
    return (
        a1, c1, h1, a2, c2, h2, mean_hue_deg,
        g, t, s_l, s_c, s_h, r_t, delta_l, delta_c, delta_h, delta_e,
    )  # fmt: skip


def delta_e_2000(
    master: Lab, sample: Lab, k_l: float = 1.0, k_c: float = 1.0, k_h: float = 1.0
) -> float:
    """CIEDE2000 of one pair (ISO/CIE 11664-6)."""
    if not (0.0 < k_l < inf and 0.0 < k_c < inf and 0.0 < k_h < inf):
        check_factors(k_l, k_c, k_h)
    return _ciede2000(master, sample, k_l, k_c, k_h)[-1]


def steps_2000(
    master: Lab, sample: Lab, k_l: float = 1.0, k_c: float = 1.0, k_h: float = 1.0
) -> Steps2000[float]:
    """CIEDE2000 of one pair with every intermediate value."""
    check_factors(k_l, k_c, k_h)
    steps: Steps2000[float] = Steps2000._make(_ciede2000(master, sample, k_l, k_c, k_h))
    return steps._replace(
        master_hue_deg=degrees(steps.master_hue_deg), sample_hue_deg=degrees(steps.sample_hue_deg)
    )


def components(master: Lab, sample: Lab) -> Components[float]:
    """Signed CIELAB differences of one pair, sample minus master."""
    l1, a1, b1 = master
    l2, a2, b2 = sample
    c1 = sqrt(a1 * a1 + b1 * b1)
    c2 = sqrt(a2 * a2 + b2 * b2)
    # The turn straight from cross and dot product, so that no angle is ever wrapped.
    turn = atan2(a1 * b2 - b1 * a2, a1 * a2 + b1 * b2)
    delta_h = 2 * sqrt(c1 * c2) * sin(turn / 2)
    return Components(l2 - l1, a2 - a1, b2 - b1, c2 - c1, delta_h)


def delta_e_ab(master: Lab, sample: Lab) -> float:
    """ΔE*ab of one pair (ISO/CIE 11664-4)."""
    l1, a1, b1 = master
    l2, a2, b2 = sample
    return sqrt((l2 - l1) ** 2 + (a2 - a1) ** 2 + (b2 - b1) ** 2)


def delta_e_94(master: Lab, sample: Lab) -> float:
    """ΔE*94 of one pair (CIE 116-1995), graphic-arts weights, chroma of the master."""
    _, a1, b1 = master
    c1 = sqrt(a1 * a1 + b1 * b1)
    d = components(master, sample)
    return sqrt(
        d.delta_l**2 + (d.delta_c / (1 + 0.045 * c1)) ** 2 + (d.delta_h / (1 + 0.015 * c1)) ** 2
    )


def delta_e_cmc(master: Lab, sample: Lab, l: float = 2.0, c: float = 1.0) -> float:  # noqa: E741
    """ΔE CMC(l:c) of one pair (ISO 105-J03)."""
    check_positive("l", l)
    check_positive("c", c)
    l1, a1, b1 = master
    c1 = sqrt(a1 * a1 + b1 * b1)
    hue_deg = degrees(atan2(b1 + 0.0, a1 + 0.0)) % 360.0
    if 164.0 <= hue_deg <= 345.0:
        t = 0.56 + abs(0.2 * cos(radians(hue_deg + 168)))
    else:
        t = 0.36 + abs(0.4 * cos(radians(hue_deg + 35)))
    c4 = c1**4
    f = sqrt(c4 / (c4 + 1900))
    s_l = 0.511 if l1 < 16 else 0.040975 * l1 / (1 + 0.01765 * l1)
    s_c = 0.638 + 0.0638 * c1 / (1 + 0.0131 * c1)
    s_h = s_c * (f * t + 1 - f)
    d = components(master, sample)
    return sqrt(
        (d.delta_l / (l * s_l)) ** 2 + (d.delta_c / (c * s_c)) ** 2 + (d.delta_h / s_h) ** 2
    )

"""CIEDE2000 for many pairs, fast and in little memory.

What makes it fast: pairs go through in chunks that stay in cache, every step writes into
scratch rows made once, and the mean hue is kept as a unit vector. The bisector of the two
colours' directions is that vector, so the hue terms of T are a polynomial in its two parts and
one arctangent (for R_T) is all the trigonometry left.

Where it does not hold: directions within 0.1° of opposite have no steady bisector. Those pairs
are sent to the textbook form in ``ciede2000``, which also settles the standard's own jump there.
"""

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from math import cos, exp, pi, radians, sin

import numpy as np
from numpy.typing import NDArray

from colour import ciede2000
from colour.arrays import Floats

# Measured on two cores: one thread is flat from 16,384 to 65,536; two threads gain only from
# 16,384 up, because below it they wait for each other's interpreter lock.
CHUNK = 32_768
THREADING_FROM = 8 * CHUNK  # pairs; below this the threads cost more than they bring
ROWS = 12  # scratch rows of one chunk: 3 MiB a thread
TEXTBOOK_BATCH = 2_048  # keeps the textbook form's temporaries under 1 MiB

Block = tuple[int, int, int, int]  # first row, end row, first column, end column
Indices = NDArray[np.intp]
Factors = tuple[float, float, float]

# −1/(2 cos) of half the turn between two hues, below which they count as opposite.
OPPOSITE = -0.5 / sin(radians(0.05))
# Keeps neutral pairs (bisector of length 0) finite; their ΔH' is 0 anyway. No smaller, or the
# bisector of a nearly neutral pair, whose square is lost, would come out longer than 1.
TINY = 1e-150
POW_50_7 = 50.0**7  # 25⁷ for the sum of two chromas instead of their mean
_30, _6, _63 = radians(30), radians(6), radians(63)

# T (equation 15) by multiple angles: T = P(cos h) + sin h · Q(cos h). Here in powers of −cos h
# and with −sin h, because the kernel holds the unit vector negated (for the hue below).
T_P = (
    1 - 0.24 - 0.20 * cos(_63),
    0.17 * cos(_30) + 3 * 0.32 * cos(_6),
    2 * 0.24 + 8 * 0.20 * cos(_63),
    -4 * 0.32 * cos(_6),
    -8 * 0.20 * cos(_63),
)
T_Q = (
    0.17 * sin(_30) - 0.32 * sin(_6),
    4 * 0.20 * sin(_63),
    4 * 0.32 * sin(_6),
    -8 * 0.20 * sin(_63),
)
# 2 sin(π/3·e) as e times a polynomial in e², for e in 0..1: Chebyshev interpolation of
# 2 sin(π/3·√y)/√y at 7 nodes on 0..1, off by at most 1.4e-15; a test measures it again.
SINE = (
    2.0943951023931953,
    -0.38279353926295334,
    0.020989004443193137,
    -0.0005480242588724593,
    8.346879594358012e-06,
    -8.320040478793085e-08,
    5.751254710568382e-10,
)
# The bell of equation (16), e = exp(−p²) with p = (h̄' − 275°)/25°. The mean hue must lie in
# 0..360° (the bell is not periodic): 180° plus the arctangent θ of the negated unit vector, so
# p = HUE_SCALE·θ + HUE_SHIFT. One step is saved by exp(−p²) = exp(θ·(BELL_2·θ + BELL_1))·BELL_0,
# the constant going into the polynomial above.
HUE_SCALE = 180 / pi / 25
HUE_SHIFT = (180 - 275) / 25
BELL_2 = -(HUE_SCALE**2)
BELL_1 = -2 * HUE_SCALE * HUE_SHIFT
BELL_0 = exp(-(HUE_SHIFT**2))
SINE_OF_BELL = tuple(value * BELL_0 ** (2 * i + 1) for i, value in enumerate(SINE))


def fill(
    master: Floats,
    sample: Floats,
    out: Floats,
    factors: Factors = (1.0, 1.0, 1.0),
    threads: int | None = None,
) -> None:
    """Write the ΔE00 of every pair into ``out``.

    Parameters
    ----------
    master, sample : ndarray, shape (..., 3)
        CIELAB colours already broadcast to one shape (views; nothing is copied).
    out : ndarray, shape (...)
        Where the differences go.
    factors : tuple of float
        k_L, k_C, k_H.
    threads : int, optional
        How many threads; by default two for large inputs where there are two processors.
    """
    if out.ndim > 2 and master.flags.c_contiguous and sample.flags.c_contiguous:
        master, sample, out = master.reshape(-1, 3), sample.reshape(-1, 3), out.reshape(-1)
    if out.ndim > 2:
        for index in np.ndindex(out.shape[:-2]):
            fill(master[index], sample[index], out[index], factors, threads)
        return
    while out.ndim < 2:
        master, sample, out = master[None], sample[None], out[None]
    fill_blocks(master, sample, out, list(blocks(*out.shape)), factors, threads)


def blocks(rows: int, columns: int, first_row: int = 0, first_column: int = 0) -> Iterator[Block]:
    """Cut a table of pairs into blocks of about ``CHUNK``."""
    if columns <= first_column:
        return
    width = columns - first_column
    pieces = -(-width // CHUNK)
    width = -(-width // pieces)
    height = max(1, CHUNK // width)
    for row in range(first_row, rows, height):
        for column in range(first_column, columns, width):
            yield row, min(row + height, rows), column, min(column + width, columns)


def fill_blocks(
    master: Floats,
    sample: Floats,
    out: Floats,
    todo: Sequence[Block],
    factors: Factors = (1.0, 1.0, 1.0),
    threads: int | None = None,
) -> None:
    """``fill`` for chosen blocks of a two-axis table of pairs."""
    sizes = [(end - row) * (stop - column) for row, end, column, stop in todo]
    if not any(sizes):
        return
    if threads is None:
        threads = min(2, _processors()) if sum(sizes) >= THREADING_FROM else 1
    threads = min(threads, len(todo))
    if threads < 2:
        _fill_share(master, sample, out, todo, max(sizes), factors)
        return
    with ThreadPoolExecutor(threads) as pool:
        shares = [todo[i::threads] for i in range(threads)]
        futures = [
            pool.submit(_fill_share, master, sample, out, share, max(sizes), factors)
            for share in shares
        ]
        for future in futures:
            future.result()


def _processors() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _fill_share(
    master: Floats,
    sample: Floats,
    out: Floats,
    share: Sequence[Block],
    largest: int,
    factors: Factors,
) -> None:
    scratch = _aligned_rows(ROWS, largest)
    coefficients = _Coefficients(*factors)
    with np.errstate(all="ignore"):  # NaN in gives NaN out, without a warning
        for row, end, column, stop in share:
            shape = (end - row, stop - column)
            size = shape[0] * shape[1]
            w = [line[:size] for line in scratch]
            masters = master[row:end, column:stop]
            samples = sample[row:end, column:stop]
            for i in range(3):
                np.copyto(w[i].reshape(shape), masters[..., i])
                np.copyto(w[3 + i].reshape(shape), samples[..., i])
            target = out[row:end, column:stop]
            opposite = _kernel(w, coefficients)
            np.sqrt(w[0].reshape(shape), target)
            if opposite is not None:
                _fill_textbook(masters, samples, target, opposite, factors)


def _fill_textbook(
    masters: Floats, samples: Floats, target: Floats, which: Indices, factors: Factors
) -> None:
    for start in range(0, len(which), TEXTBOOK_BATCH):
        rows, columns = np.divmod(which[start : start + TEXTBOOK_BATCH], target.shape[1])
        pairs = masters[rows, columns], samples[rows, columns]
        target[rows, columns] = ciede2000.steps(*pairs, *factors).delta_e


def _aligned_rows(rows: int, length: int) -> Floats:
    """Scratch whose rows begin on a cache line (64 bytes).

    numpy aligns to 16; a vector register's worth that straddles two lines costs twice,
    a fifth of the whole calculation here.
    """
    stride = -(-length // 8) * 8
    raw = np.empty(rows * stride + 8)
    skip = (-raw.ctypes.data // 8) % 8
    return raw[skip : skip + rows * stride].reshape(rows, stride)


class _Coefficients:
    """Constants of the kernel with the parametric factors multiplied in."""

    def __init__(self, k_l: float, k_c: float, k_h: float) -> None:
        # k_H·S_H as −½·(k_H S_H) = −½k_H − 0.00375 k_H·(C1'+C2')·T: the kernel's numerator
        # is −½ΔH'/√(C1'C2').
        share = -0.00375 * k_h
        self.half_k_h = -0.5 * k_h
        self.t_p = [share * value for value in T_P]
        self.t_q = [share * value for value in T_Q]
        self.k_l = k_l
        self.l_share = 0.0075 * k_l
        self.k_c = k_c
        self.c_share = 0.0225 * k_c


def _kernel(w: list[Floats], k: _Coefficients) -> Indices | None:
    """ΔE00² of the pairs in rows 0 to 5 of ``w`` (L, a, b of master and sample), into row 0.

    All rows are overwritten. Returns the indices of pairs with nearly opposite hues, whose
    result means nothing, or None. Results are written over an operand wherever possible:
    two streams through the cache cost two thirds of three.
    """
    add, divide, multiply = np.add, np.divide, np.multiply
    sqrt, subtract = np.sqrt, np.subtract
    l1, a1, b1, l2, a2, b2, x, y, z, c1, c2, turn = w

    # 1+G from the mean chroma
    multiply(b1, b1, x)
    multiply(b2, b2, y)
    multiply(a1, a1, c1)
    add(c1, x, c1)
    sqrt(c1, c1)
    multiply(a2, a2, c2)
    add(c2, y, c2)
    sqrt(c2, c2)
    add(c1, c2, c1)
    _seventh_power_share(c1, z, c2)
    sqrt(c1, c1)
    multiply(c1, -0.5, c1)
    add(c1, 1.5, c1)
    multiply(a1, c1, a1)
    multiply(a2, c1, a2)

    # C'
    multiply(a1, a1, c1)
    add(c1, x, c1)
    sqrt(c1, c1)
    multiply(a2, a2, c2)
    add(c2, y, c2)
    sqrt(c2, c2)

    # The bisector C2'·v1 + C1'·v2 has the length 2 C1'C2' cos(Δh'/2), and the cross product is
    # C1'C2' sin Δh': their ratio is sin(Δh'/2), with no angle to wrap. (10), (14)
    multiply(a1, b2, turn)
    multiply(a2, b1, x)
    subtract(turn, x, turn)
    multiply(a1, c2, a1)
    multiply(a2, c1, a2)
    add(a1, a2, a1)
    multiply(b1, c2, b1)
    multiply(b2, c1, b2)
    add(b1, b2, b1)
    multiply(a1, a1, y)
    multiply(b1, b1, z)
    add(y, z, y)
    sqrt(y, y)
    add(y, TINY, y)
    divide(-1.0, y, y)
    multiply(a1, y, a1)  # −cos h̄'
    multiply(b1, y, b1)  # −sin h̄'
    multiply(turn, y, turn)  # −sin(Δh'/2)
    product = a2
    multiply(c1, c2, product)
    multiply(y, product, y)
    opposite = None
    if not y.min() > OPPOSITE:  # NaN comes here too
        opposite = np.flatnonzero(y <= OPPOSITE)
    total = z
    add(c1, c2, total)
    subtract(c2, c1, c2)  # ΔC' (9)

    # ΔH'/(k_H S_H), but for the factor √(C1'C2'): its square and, inside one root with R_C,
    # its product need no root of their own. (11), (15), (20)
    _horner(k.t_p, a1, y)
    _horner(k.t_q, a1, c1)
    multiply(c1, b1, c1)
    add(y, c1, y)
    multiply(y, total, y)
    add(y, k.half_k_h, y)
    divide(turn, y, turn)

    # ΔC'/(k_C S_C) (19)
    multiply(total, k.c_share, y)
    add(y, k.k_c, y)
    divide(c2, y, c2)

    # R_T ΔH'/(k_H S_H) (16), (17), (21)
    np.arctan2(b1, a1, b1)
    multiply(b1, BELL_2, y)
    add(y, BELL_1, y)
    multiply(b1, y, b1)
    np.exp(b1, b1)
    _seventh_power_share(total, y, x)
    multiply(total, product, total)
    sqrt(total, total)
    multiply(total, turn, total)
    multiply(b1, b1, y)
    _horner(SINE_OF_BELL, y, c1)
    multiply(c1, b1, c1)
    multiply(c1, total, c1)  # −R_T ΔH'/(k_H S_H)

    # (22), the chroma and rotation terms together
    multiply(turn, turn, turn)
    multiply(turn, product, turn)
    subtract(c2, c1, c1)
    multiply(c2, c1, c2)
    add(turn, c2, turn)

    # ΔL'/(k_L S_L) (18), with 4(L̄'−50)² and 2√(20+(L̄'−50)²)
    add(l1, l2, x)
    subtract(l2, l1, y)
    subtract(x, 100.0, x)
    multiply(x, x, x)
    add(x, 80.0, z)
    sqrt(z, z)
    multiply(x, k.l_share, x)
    multiply(y, z, y)
    multiply(z, k.k_l, z)
    add(x, z, x)
    divide(y, x, y)
    multiply(y, y, y)
    add(turn, y, turn)
    # Never negative (|R_T| < 2), but near the smallest floats the rounding can be.
    np.abs(turn, l1)
    return opposite


def _seventh_power_share(total: Floats, x: Floats, y: Floats) -> None:
    """x⁷/(x⁷+25⁷) of the mean chroma from the sum of both, in place; ``x``, ``y`` are scratch."""
    np.multiply(total, total, x)
    np.multiply(total, x, total)
    np.multiply(x, x, x)
    np.multiply(total, x, total)
    np.add(total, POW_50_7, y)
    np.divide(total, y, total)


def _horner(coefficients: Sequence[float], x: Floats, out: Floats) -> None:
    np.multiply(x, coefficients[-1], out)
    for value in coefficients[-2:0:-1]:
        np.add(out, value, out)
        np.multiply(out, x, out)
    np.add(out, coefficients[0], out)

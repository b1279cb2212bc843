"""From below: what a colour differs by, at the least, from any card of a leaf.

For each leaf the steps of CIEDE2000 are bounded over all its cards p and the query q, with the
argument of ``search_box`` made anew for every leaf:

- ΔE00² ≥ (ΔL*/S_L)² + (1 − |R_T|/2)·(x² + y²), with x = ΔC'/S_C and y = ΔH'/S_H;
- x² + y² is at least ρ²/S_C² for the plane distance ρ² = ΔC'² + ΔH'² = Δa'² + Δb*², and also at
  least the sum of the two parts taken each at its smallest.

S_L, S_C, S_H and R_T are taken at their largest, the differences at their smallest.
"""

from math import atan2, degrees, pi, radians
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from colour.arrays import Floats
from colour.one_pair import POW_25_7
from colour.search_box import SLACK

LARGEST_T = 1.573  # of equation (15): 1.5725, near hue 234°
STEEPEST_T = 0.17 + 2 * 0.24 + 3 * 0.32 + 4 * 0.20  # its slope is below this, per radian


class Extent(NamedTuple):
    """How far the cards of each leaf reach."""

    lowest: Floats  # shape (3, leaves): L*, a*, b*
    highest: Floats
    least_chroma: Floats  # shape (leaves,): C*ab
    most_chroma: Floats
    hue_deg: Floats  # middle of the hues of the leaf's a*b* rectangle
    hue_reach_deg: Floats  # half their spread; 180 where it holds the neutral point

    @classmethod
    def of(cls, cards: Floats) -> "Extent":
        """The extent of leaves of shape (leaves, size, 3), in which NaN stands for no card."""
        lowest = np.nanmin(cards, axis=1).T.copy()
        highest = np.nanmax(cards, axis=1).T.copy()
        chroma = np.hypot(cards[..., 1], cards[..., 2])
        return cls(
            lowest,
            highest,
            np.nanmin(chroma, axis=1),
            np.nanmax(chroma, axis=1),
            *_hues(lowest[1], highest[1], lowest[2], highest[2]),
        )

    def gaps(self, query: Floats) -> Floats:
        """How far each leaf lies from the query along L*, a* and b*; zero where it spans it."""
        one = query[:, None]
        gaps = np.maximum(self.lowest - one, one - self.highest)
        return np.maximum(gaps, 0.0, out=gaps)


def _hues(low_a: Floats, high_a: Floats, low_b: Floats, high_b: Floats) -> tuple[Floats, Floats]:
    """Middle and half spread of the hues in rectangles of the a*b* plane, degrees."""
    corners = np.stack([np.arctan2(b, a) for a in (low_a, high_a) for b in (low_b, high_b)], axis=0)
    middle = np.arctan2(low_b + high_b, low_a + high_a)
    # Seen from outside, a rectangle spans less than 180° and its corners are its extremes.
    off = np.degrees((corners - middle + pi) % (2 * pi) - pi)
    reach = np.abs(off).max(axis=0)
    holds_grey = (low_a <= 0) & (high_a >= 0) & (low_b <= 0) & (high_b >= 0)
    return np.degrees(middle) % 360.0, np.where(holds_grey, 180.0, reach)


def least_differences(
    query: Floats, extent: Extent, gaps: Floats, leaves: NDArray[np.intp]
) -> Floats:
    """A ΔE00 that no card of each leaf goes below.

    Parameters
    ----------
    query : ndarray, shape (3,)
        CIELAB colour.
    extent : Extent
        Of all leaves.
    gaps : ndarray, shape (3, leaves)
        ``extent.gaps(query)``.
    leaves : ndarray of int, shape (m,)
        Which leaves to bound.

    Returns
    -------
    ndarray, shape (m,)
    """
    lightness, a, b = query.tolist()
    chroma = float(np.hypot(a, b))
    gap_l, gap_a, gap_b = gaps[:, leaves]
    least_chroma, most_chroma = extent.least_chroma[leaves], extent.most_chroma[leaves]

    # S_L grows with |L̄* − 50|, which is largest at one end of the leaf.
    ends = (
        np.abs(lightness + extent.lowest[0, leaves] - 100),
        np.abs(lightness + extent.highest[0, leaves] - 100),
    )
    off = (np.maximum(*ends) / 2) ** 2
    l_part = (gap_l / (1 + 0.015 * off / np.sqrt(20 + off))) ** 2

    # 1 + G between these two; G falls with the mean chroma.
    stretch_least = 1.5 - 0.5 * np.sqrt(_seventh_power_share((chroma + most_chroma) / 2))
    stretch_most = 1.5 - 0.5 * np.sqrt(_seventh_power_share((chroma + least_chroma) / 2))

    # C' = √(((1+G)a*)² + b*²) of the query at both ends; of a card between C* and (1+G)C*.
    query_least = np.hypot(stretch_least * a, b)
    query_most = np.hypot(stretch_most * a, b)
    widest_a = np.maximum(np.abs(extent.lowest[1, leaves]), np.abs(extent.highest[1, leaves]))
    card_most = np.minimum(
        stretch_most * most_chroma,
        # C'² = C*² + (G² + 2G) a*²
        np.sqrt(most_chroma**2 + (stretch_most**2 - 1) * widest_a**2),
    )
    card_least = least_chroma
    mean_most = (query_most + card_most) / 2
    s_c = 1 + 0.045 * mean_most

    # Hues: a' = (1+G) a* turns a hue by no more than this, whichever G.
    turn_query = _turn(a, b, stretch_most)
    hue = degrees(atan2(b, a)) % 360.0
    leaf_hue, reach = extent.hue_deg[leaves], extent.hue_reach_deg[leaves]
    turn_leaf = np.degrees(np.arcsin((stretch_most - 1) / (stretch_most + 1)))
    apart = (leaf_hue - hue + 180.0) % 360.0 - 180.0
    slack = reach + turn_query + turn_leaf
    least_turn = np.maximum(np.abs(apart) - slack, 0.0)
    least_turn = np.minimum(least_turn, 180.0)
    # Between hues that could lie 180° apart the mean may lie on either side.
    mean_reach = np.where(np.abs(apart) + slack >= 180.0, 180.0, slack / 2)
    r_t = _largest_r_t(hue + apart / 2, mean_reach, mean_most)
    s_h = 1 + 0.015 * _largest_t(hue + apart / 2, mean_reach) * mean_most

    chroma_gap = np.maximum(np.maximum(query_least - card_most, card_least - query_most), 0.0)
    hue_gap = 2 * np.sqrt(query_least * card_least) * np.sin(np.radians(least_turn) / 2)
    plane = ((stretch_least * gap_a) ** 2 + gap_b**2) / s_c**2
    parts = (chroma_gap / s_c) ** 2 + (hue_gap / s_h) ** 2
    least: Floats = np.sqrt(l_part + (1 - r_t / 2) * np.maximum(plane, parts))
    return least * (1 - SLACK) - SLACK


def _turn(a: float, b: float, stretch: Floats) -> Floats:
    """The turn of one hue when its a* is stretched, degrees."""
    turned: Floats = np.abs(np.degrees(np.arctan2(b, stretch * a) - atan2(b, a)))
    return turned


def _largest_r_t(mean_hue_deg: Floats, reach_deg: Floats, mean_most: Floats) -> Floats:
    off = np.abs((mean_hue_deg - 275.0 + 180.0) % 360.0 - 180.0)
    bell = np.exp(-((np.maximum(off - reach_deg, 0.0) / 25.0) ** 2))
    r_t: Floats = 2 * np.sqrt(_seventh_power_share(mean_most)) * np.sin(pi / 3 * bell)
    return r_t


def _largest_t(mean_hue_deg: Floats, reach_deg: Floats) -> Floats:
    """T in the middle, and the most it can rise from there."""
    hue = np.radians(mean_hue_deg)
    t = (
        1
        - 0.17 * np.cos(hue - radians(30))
        + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + radians(6))
        - 0.20 * np.cos(4 * hue - radians(63))
    )
    largest: Floats = np.minimum(t + STEEPEST_T * np.radians(reach_deg), LARGEST_T)
    return largest


def _seventh_power_share(chroma: Floats) -> Floats:
    power = chroma**7
    share: Floats = power / (power + POW_25_7)
    return share

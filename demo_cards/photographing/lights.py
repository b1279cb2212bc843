"""The light that falls on the sheet: how strong, of what colour, and how even."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Shape = Literal["linear", "quadratic", "hot_spot"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """One main light, perhaps a second one whose share changes over the sheet.

    ``gradient`` is (strongest - weakest) / mean over the sheet. ``flare`` is veiling light that
    reaches every pixel, as a share of the light from white.
    """

    spectrum: str = "D65"
    gradient: float = 0.0
    shape: Shape = "linear"
    direction_deg: float = 0.0  # towards the strongest light; 0 is right, 90 is down
    second_spectrum: str | None = None
    second_share: float = 0.0  # of the second light where it is strongest
    second_direction_deg: float = 0.0
    flare: float = 0.0

    def strength(self, x: Array, y: Array) -> Array:
        """Illuminance at places of the sheet, -1 to 1 across and down; its mean is 1."""
        middle, reach = _mean_and_range(self.shape, self.direction_deg)
        field = self.gradient * (_form(self.shape, self.direction_deg, x, y) - middle) / reach
        # Far outside the sheet a polynomial would go below darkness.
        return np.asarray(np.clip(1 + field, 0.05, 3.0))

    def second(self, x: Array, y: Array) -> Array:
        """Share of the second light at places of the sheet."""
        along = x * math.cos(math.radians(self.second_direction_deg)) + y * math.sin(
            math.radians(self.second_direction_deg)
        )
        share = self.second_share * (0.5 + 0.5 * along / math.sqrt(2))
        return np.asarray(np.clip(share, 0.0, 1.0))


def _form(shape: Shape, direction_deg: float, x: Array, y: Array) -> Array:
    cos, sin = math.cos(math.radians(direction_deg)), math.sin(math.radians(direction_deg))
    along = x * cos + y * sin
    if shape == "linear":
        return np.asarray(along)
    if shape == "quadratic":  # a lamp over the sheet, a little to one side
        return np.asarray(0.3 * along - x**2 - 0.6 * y**2)
    return np.asarray(np.exp(-((x - 0.55 * cos) ** 2 + (y - 0.55 * sin) ** 2) / 1.6))


@lru_cache(maxsize=64)
def _mean_and_range(shape: Shape, direction_deg: float) -> tuple[float, float]:
    """Over the sheet."""
    steps = np.linspace(-1, 1, 33)
    field = _form(shape, direction_deg, *np.meshgrid(steps, steps))
    return float(field.mean()), float(np.ptp(field))

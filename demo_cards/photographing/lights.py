"""The light that falls on the sheet: how strong, of what colour, and how even."""

from __future__ import annotations

import math
from dataclasses import dataclass
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
        """Illuminance at places of the sheet, -1 to 1 across and down; its mean is near 1."""
        along = x * math.cos(math.radians(self.direction_deg)) + y * math.sin(
            math.radians(self.direction_deg)
        )
        if self.shape == "linear":
            reach = abs(math.cos(math.radians(self.direction_deg))) + abs(
                math.sin(math.radians(self.direction_deg))
            )
            field = 0.5 * self.gradient * along / reach
        elif self.shape == "quadratic":
            field = -self.gradient * ((x**2 + 0.6 * y**2) / 1.6 - 1 / 3)
            field = field + 0.15 * self.gradient * along
        else:
            middle_x = 0.55 * math.cos(math.radians(self.direction_deg))
            middle_y = 0.55 * math.sin(math.radians(self.direction_deg))
            off = (x - middle_x) ** 2 + (y - middle_y) ** 2
            field = self.gradient * (1.25 * np.exp(-off / 1.6) - 0.6)
        # Far outside the sheet a polynomial would go below darkness.
        return np.asarray(np.clip(1 + field, 0.05, 3.0))

    def second(self, x: Array, y: Array) -> Array:
        """Share of the second light at places of the sheet."""
        along = x * math.cos(math.radians(self.second_direction_deg)) + y * math.sin(
            math.radians(self.second_direction_deg)
        )
        share = self.second_share * (0.5 + 0.5 * along / math.sqrt(2))
        return np.asarray(np.clip(share, 0.0, 1.0))

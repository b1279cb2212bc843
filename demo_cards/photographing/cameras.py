"""Two families of cameras that share no model of colour, so no corrector is judged by its own.

``MatrixCamera`` starts from the colour itself and mixes its channels; ``SpectralCamera`` starts
from spectra of light, surface and sensor, and renders by a matrix fitted to other surfaces.
Both end in a matrix, a mild non-linearity by hue and a tone curve for each channel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from colour.photo.target import Measurement
from demo_cards.photographing.lights import Light
from demo_cards.photographing.spectra import (
    WAVELENGTHS,
    Surface,
    observer_table,
    reflectances_of,
    spectrum_of,
    training_spectra,
    white_of,
    xyz_from_lab,
)

Array = NDArray[np.float64]
Triple = tuple[float, float, float]

# IEC 61966-2-1 (sRGB), XYZ with Y = 1 for white to linear RGB.
RGB_FROM_XYZ: Array = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)
D65_WHITE: Array = np.asarray(np.linalg.solve(RGB_FROM_XYZ, np.ones(3)), float)
# Bradford cone responses, ICC.1 annex E.
BRADFORD: Array = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def adapted(xyz: Array, white: Array, to: Array) -> Array:
    """XYZ under one white as it would look under another (Bradford)."""
    gains = (BRADFORD @ to) / (BRADFORD @ white)
    return np.asarray(xyz @ (np.linalg.inv(BRADFORD) @ np.diag(gains) @ BRADFORD).T)


def saturation_matrix(amount: float) -> Array:
    """Colours moved from (above 1) or towards grey, the grey axis kept."""
    grey = np.array([0.2126, 0.7152, 0.0722])
    return np.asarray(amount * np.eye(3) + (1 - amount) * np.outer(np.ones(3), grey))


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """Light to code, both 0 to 1, for each channel a little differently."""

    kind: Literal["srgb", "gamma", "s_curve", "filmic"] = "srgb"
    gamma: float = 2.2  # of "gamma"
    contrast: float = 0.0  # of "s_curve": toe and shoulder, below 1
    highlights: float = 4.0  # of "filmic": the light that its shoulder brings to white
    channels: Triple = (1.0, 1.0, 1.0)  # exponents on top of it

    def codes(self, light: ArrayLike, channel: int) -> Array:
        x = np.clip(np.asarray(light, float), 0.0, 1.0)
        if self.kind == "gamma":
            code = x ** (1 / self.gamma)
        elif self.kind == "filmic":
            # The rational curve J. Hable published for film-like rendering, white kept at white.
            code = (_filmic(x * self.highlights) / _filmic(np.array(self.highlights))) ** (1 / 2.2)
        else:
            code = np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)
            if self.kind == "s_curve":
                code = code - self.contrast * np.sin(2 * np.pi * code) / (2 * np.pi)
        return np.asarray(np.clip(code, 0.0, 1.0) ** self.channels[channel])


def _filmic(x: Array) -> Array:
    a, b, c, d, e, f = 0.15, 0.50, 0.10, 0.20, 0.02, 0.30
    return np.asarray((x * (a * x + c * b) + d * e) / (x * (a * x + b) + d * f) - e / f)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rendering:
    """What a camera does to its balanced channels before the file."""

    saturation: float = 1.0
    vivid: float = 0.0  # more (or less) chroma for what is already saturated
    warm: float = 0.0  # more for reds than for blues
    local: float = 0.0  # exponent by which bright and dark parts of the scene are evened out
    tone: Tone = field(default_factory=Tone)


class Camera(Protocol):
    """What the simulator asks of a camera."""

    @property
    def rendering(self) -> Rendering: ...

    def seen(
        self, surfaces: Sequence[Surface], light: Light, second: Array, conditions: Measurement
    ) -> Array:
        """(n, 3): channels of surfaces where the second light has a share, white near 1."""

    def matrix(self, light: Light) -> Array:
        """(3, 3): balanced channels to linear sRGB."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MatrixCamera:
    """Colours through crosstalk and white-balance error; without either it is a perfect one."""

    crosstalk: tuple[Triple, Triple, Triple] = ((1, 0, 0), (0, 1, 0), (0, 0, 1))
    balance: Triple = (1.0, 1.0, 1.0)
    rendering: Rendering = field(default_factory=Rendering)

    def seen(
        self, surfaces: Sequence[Surface], light: Light, second: Array, conditions: Measurement
    ) -> Array:
        labs = np.array([surface.lab for surface in surfaces], float)
        white = white_of(conditions)
        rgb = adapted(xyz_from_lab(labs, white), white, D65_WHITE) @ RGB_FROM_XYZ.T
        mixed = rgb @ np.array(self.crosstalk, float).T * self.balance
        cast = np.ones(3)
        if light.second_spectrum is not None:
            first, other = (
                _white_rgb(spectrum_of(kind)) for kind in (light.spectrum, light.second_spectrum)
            )
            cast = np.clip(other / first, 0.2, 3.0)
        return np.asarray(mixed * (1 + second[:, None] * (cast - 1)))

    def matrix(self, light: Light) -> Array:
        return saturation_matrix(self.rendering.saturation)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpectralCamera:
    """Gaussian sensitivities with a shared blue bump, balanced on the main light.

    Its matrix to linear sRGB is the least-squares one over 120 random surfaces of its own, so the
    sheet's colours come out wrong in a way no 3 by 3 matrix on the sheet undoes exactly.
    """

    peaks_nm: Triple = (600.0, 538.0, 460.0)
    widths_nm: Triple = (36.0, 38.0, 28.0)
    red_bump: float = 0.06  # of the red channel's sensitivity in the blue
    balance: Triple = (1.0, 1.0, 1.0)
    training_seed: int = 1
    rendering: Rendering = field(default_factory=Rendering)

    def sensitivities(self) -> Array:
        """(41, 3)."""
        curves = [
            np.exp(-(((WAVELENGTHS - peak) / width) ** 2) / 2)
            for peak, width in zip(self.peaks_nm, self.widths_nm, strict=True)
        ]
        curves[0] = curves[0] + self.red_bump * curves[2]
        cut = 1 / (1 + np.exp((WAVELENGTHS - 675) / 9))  # the infrared filter of the sensor
        return np.stack(curves, axis=-1) * cut[:, None]

    def seen(
        self, surfaces: Sequence[Surface], light: Light, second: Array, conditions: Measurement
    ) -> Array:
        spectra = reflectances_of(surfaces, conditions)
        main = self._weights(light.spectrum)
        white = main.sum(axis=0)
        channels = spectra @ main
        if light.second_spectrum is not None:
            share = second[:, None]
            channels = (1 - share) * channels + share * (
                spectra @ self._weights(light.second_spectrum)
            )
        return np.asarray(channels / white * self.balance)

    def matrix(self, light: Light) -> Array:
        spectra = training_spectra(np.random.default_rng(self.training_seed))
        weights = self._weights(light.spectrum)
        channels = spectra @ weights / weights.sum(axis=0)
        daylight = spectrum_of("D65")[:, None] * observer_table("2")
        xyz = spectra @ (daylight / daylight[:, 1].sum())
        wanted = xyz @ RGB_FROM_XYZ.T
        # White weighs heavily, so that the camera keeps neutrals neutral.
        heavy = np.ones(len(spectra))
        heavy[0] = 300.0
        root = np.sqrt(heavy)[:, None]
        found = np.linalg.lstsq(channels * root, wanted * root, rcond=None)[0].T
        return np.asarray(saturation_matrix(self.rendering.saturation) @ found)

    def _weights(self, kind: str) -> Array:
        power = spectrum_of(kind)
        even = power / (power @ observer_table("2")[:, 1])
        return np.asarray(even[:, None] * self.sensitivities())


def _white_rgb(power: Array) -> Array:
    xyz = power @ observer_table("2")
    return np.asarray(RGB_FROM_XYZ @ (xyz / xyz[1]))

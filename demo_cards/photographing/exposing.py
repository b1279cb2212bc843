"""From light to the pixels of a file: focus, photons, rendering, sharpening."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_cards.photographing.cameras import Camera
from demo_cards.photographing.files import p3_from_srgb
from demo_cards.photographing.lens import GRID, Scenery
from demo_cards.photographing.lights import Light
from demo_cards.photographing.placing import View

Plane = NDArray[np.float32]
Array = NDArray[np.float64]

BAND_ROWS = 96
HALO_ROWS = 4  # a blur of two taps each side, for focus and again for sharpening
LEVELS = 1 << 14  # of the tone curve's table
DICE = 1 << 21  # normal numbers that all noise is cut from


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """How much light it gets and how noisily it counts it."""

    exposure: float = 0.85  # signal of a white surface in mean light; 1 is full
    electrons: float = 6000.0  # of a full pixel; 0 for no noise at all
    read_noise: float = 3.0  # electrons
    blur: float = 0.5  # standard deviation in pixels: lens, focus and demosaicing
    motion: tuple[float, float] = (0.0, 0.0)  # pixels across and down while it was open
    sharpening: float = 0.3  # of the finished codes, with its halo
    vignetting: float = 0.1  # light lost in the corners of the frame


def expose(
    scenery: Scenery,
    light: Light,
    camera: Camera,
    sensor: Sensor,
    view: View,
    *,
    wide_gamut: bool,
    bits: int,
    rng: np.random.Generator,
) -> tuple[NDArray[np.uint8] | NDArray[np.uint16], Plane]:
    """The upright picture, and the cover of every ``GRID``-th pixel of every ``GRID``-th row."""
    height, width = view.height, view.width
    rendering = _Rendering(camera, light, wide_gamut)
    noise = _Noise(sensor, rng)
    peak = (1 << bits) - 1
    picture = np.empty((height, width, 3), np.uint8 if bits == 8 else np.uint16)
    cover = np.empty((height, width), np.float32)[::GRID, ::GRID].copy()
    far = sensor.blur > 1.2 or sensor.motion != (0.0, 0.0)
    whole = _smeared(scenery, sensor, view) if far else None
    for row in range(0, height, BAND_ROWS):
        end = min(height, row + BAND_ROWS)
        first, last = max(0, row - HALO_ROWS), min(height, end + HALO_ROWS)
        if whole is None:
            raw, covered = scenery.band(first, last)
            coarse = np.arange(-(-row // GRID), -(-end // GRID))
            cover[coarse] = covered[coarse * GRID - first, ::GRID]
            if sensor.blur > 0:
                for plane in raw:
                    blur(plane, sensor.blur)
        else:
            raw = whole[0][:, first:last].copy()
            cover = whole[1]
        raw *= np.float32(sensor.exposure)
        raw += np.float32(light.flare * sensor.exposure)
        noise.add(raw)
        np.clip(raw, 0.0, 1.0, out=raw)
        evened = scenery.evened(first, last)
        if evened is not None:
            raw *= evened
        codes = rendering.codes(raw)
        if sensor.sharpening:
            for plane in codes:
                soft = plane.copy()
                blur(soft, 0.8)
                np.subtract(plane, soft, out=soft)
                soft *= np.float32(sensor.sharpening)
                plane += soft
            np.clip(codes, 0.0, 1.0, out=codes)
        codes *= np.float32(peak)
        codes += np.float32(0.5)
        kept = codes[:, row - first : end - first]
        for channel in range(3):
            picture[row:end, :, channel] = kept[channel]
    return picture, cover


class _Noise:
    """Shot and read noise, cut from one pool of normal numbers at a chance place for each row."""

    def __init__(self, sensor: Sensor, rng: np.random.Generator) -> None:
        self._electrons = sensor.electrons
        self._read = np.float32((sensor.read_noise / max(sensor.electrons, 1.0)) ** 2)
        self._rng = rng
        if sensor.electrons > 0:
            self._pool = rng.standard_normal(DICE, dtype=np.float32)

    def add(self, raw: Plane) -> None:
        if self._electrons <= 0:
            return
        channels, rows, width = raw.shape
        starts = self._rng.integers(0, DICE - width, (channels, rows))
        spread = np.empty(width, np.float32)
        for channel in range(channels):
            for row in range(rows):
                line = raw[channel, row]
                # A colour outside the camera's triangle of primaries can lie below no light.
                np.maximum(line, 0, out=spread)
                spread *= np.float32(1 / self._electrons)
                spread += self._read
                np.sqrt(spread, out=spread)
                start = starts[channel, row]
                spread *= self._pool[start : start + width]
                line += spread


class _Rendering:
    """Balanced channels to codes, as the camera does it."""

    def __init__(self, camera: Camera, light: Light, wide_gamut: bool) -> None:
        matrix = camera.matrix(light)
        if wide_gamut:
            matrix = p3_from_srgb() @ matrix
        self._matrix = matrix.astype(np.float32)
        self._vivid = np.float32(camera.rendering.vivid)
        self._warm = np.float32(camera.rendering.warm)
        # A square-root scale, so that the steps are finest where the curve is steepest.
        levels = (np.arange(LEVELS) / (LEVELS - 1)) ** 2
        tone = camera.rendering.tone
        self._tables = [tone.codes(levels, channel).astype(np.float32) for channel in range(3)]

    def codes(self, raw: Plane) -> Plane:
        # Three planes at a time: a matrix product this thin only keeps other cores busy waiting.
        made = np.empty_like(raw)
        part = np.empty_like(raw[0])
        for channel, weights in enumerate(self._matrix):
            np.multiply(raw[0], weights[0], out=made[channel])
            for other in (1, 2):
                np.multiply(raw[other], weights[other], out=part)
                made[channel] += part
        if self._vivid or self._warm:
            self._by_hue(made)
        np.clip(made, 0.0, 1.0, out=made)
        np.sqrt(made, out=made)
        made *= np.float32(LEVELS - 1)
        made += np.float32(0.5)
        index = made.astype(np.uint16)
        for channel, table in enumerate(self._tables):
            np.take(table, index[channel], out=made[channel], mode="clip")
        return made

    def _by_hue(self, made: Plane) -> None:
        """Chroma grows or shrinks with how saturated and how warm a colour already is."""
        grey = made[1] * np.float32(0.5)
        grey += np.float32(0.25) * made[0]
        grey += np.float32(0.25) * made[2]
        lean = made[0] - made[2]
        lean /= np.abs(grey) + np.float32(0.02)
        lean /= 1 + np.abs(lean)
        gain = self._warm * lean
        np.abs(lean, out=lean)
        lean *= self._vivid
        gain += lean
        gain += np.float32(1.0)
        made -= grey
        made *= gain
        made += grey


def blur(plane: Plane, sigma: float) -> None:
    """Five taps each way, in place; the outermost two rows and columns only keep their light."""
    side = np.exp(-0.5 * (np.arange(3) / sigma) ** 2)
    weights = (side / (side[0] + 2 * side[1:].sum())).astype(np.float32)
    taps = 2 if weights[2] > 1e-3 else 1
    weights[0] = 1 - 2 * weights[1 : taps + 1].sum()
    for turned in (plane.T, plane):
        if len(turned) < 2 * taps + 1:
            continue
        made = weights[0] * turned[taps:-taps]
        for tap in range(1, taps + 1):
            near = turned[taps - tap : len(turned) - taps - tap] + turned[taps + tap :][: len(made)]
            near *= weights[tap]
            made += near
        turned[taps:-taps] = made


def _smeared(scenery: Scenery, sensor: Sensor, view: View) -> tuple[Plane, Plane]:
    """Blur of more than a pixel over the whole frame: a box for focus, a line for motion."""
    from scipy import ndimage  # type: ignore[import-untyped]

    planes = np.empty((3, view.height, view.width), np.float32)
    cover = np.empty((view.height, view.width), np.float32)
    for row in range(0, view.height, BAND_ROWS):
        band = slice(row, min(view.height, row + BAND_ROWS))
        planes[:, band], cover[band] = scenery.band(band.start, band.stop)
    box = int(round(np.sqrt(4 * sensor.blur**2 + 1)))  # three boxes of it have that deviation
    across, down = sensor.motion
    steps = int(np.ceil(np.hypot(across, down)))
    for channel in range(3):
        made = planes[channel]
        for _ in range(3 if box > 1 else 0):
            made = ndimage.uniform_filter(made, box, mode="nearest")
        if steps > 1:
            sharp, made = made, np.zeros_like(made)
            for step in range(steps):
                along = step / (steps - 1) - 0.5
                shift = (round(down * along), round(across * along))
                made += np.roll(sharp, shift, (0, 1)) / np.float32(steps)
        planes[channel] = made
    return planes, cover[::GRID, ::GRID]

"""From the flat drawing to the pixels of a photograph: lens, light, sensor, rendering.

Everything runs in bands of rows small enough for the processor's cache; a 12-megapixel picture
would otherwise pass through memory some forty times.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from demo_cards.photographing.cameras import Camera
from demo_cards.photographing.files import p3_from_srgb
from demo_cards.photographing.lights import Light
from demo_cards.photographing.placing import Mapping, View
from demo_cards.photographing.scene import Scene, Shadow
from demo_cards.photographing.sheet_canvas import Canvas
from demo_cards.photographing.spectra import Surface

Plane = NDArray[np.float32]
Array = NDArray[np.float64]

BAND_ROWS = 64
GRID = 16  # pixels between places where smooth light is worked out
MESH = 64  # pixels of a cell that is warped as one, where the lens distorts
LEVELS = 1 << 14  # of the tone curve's table


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
    scene: Scene,
    light: Light,
    camera: Camera,
    sensor: Sensor,
    view: View,
    mapping: Mapping,
    canvas: Canvas,
    *,
    wide_gamut: bool,
    bits: int,
    rng: np.random.Generator,
) -> tuple[NDArray[np.uint8] | NDArray[np.uint16], Plane]:
    """The picture, and the share of its pixels that the sheet covers on a coarse grid."""
    height, width = view.height, view.width
    planes = [_warp(plane * canvas.cover, canvas, view, mapping) for plane in canvas.channels]
    cover = _warp(canvas.cover, canvas, view, mapping)
    fields, table = _light_fields(scene, light, camera, sensor, view, mapping, rng)
    heavy = sensor.blur > 1.2 or sensor.motion != (0.0, 0.0)
    render = camera.matrix(light)
    if wide_gamut:
        render = p3_from_srgb() @ render
    tables = _tone_tables(camera)
    peak = (1 << bits) - 1
    picture = np.empty((height, width, 3), np.uint8 if bits == 8 else np.uint16)
    veil = light.flare * sensor.exposure
    halo = 0 if heavy else 2
    if heavy:
        for row in range(0, height, BAND_ROWS):
            band = slice(row, min(height, row + BAND_ROWS))
            for channel in range(3):
                planes[channel][band] = _lit(
                    channel, band, planes, cover, fields, table, scene, mapping
                )
        planes = [_smear(plane, sensor) for plane in planes]
    seeds = rng.integers(0, 2**63, size=1 + height // BAND_ROWS)
    for number, row in enumerate(range(0, height, BAND_ROWS)):
        first, last = max(0, row - halo), min(height, row + BAND_ROWS + halo)
        band = slice(first, last)
        inner = slice(row - first, min(height, row + BAND_ROWS) - first)
        dice = np.random.default_rng(int(seeds[number]))
        raw = np.empty((3, last - first, width), np.float32)
        for channel in range(3):
            if heavy:
                raw[channel] = planes[channel][band]
            else:
                raw[channel] = _lit(channel, band, planes, cover, fields, table, scene, mapping)
                if sensor.blur > 0:
                    raw[channel] = _blurred(raw[channel], sensor.blur)
        raw *= sensor.exposure
        raw += np.float32(veil)
        _count_photons(raw, sensor, dice)
        np.clip(raw, 0.0, 1.0, out=raw)
        codes = _rendered(raw, render, camera, tables)
        if sensor.sharpening:
            for channel in range(3):
                soft = _blurred(codes[channel], 0.8)
                codes[channel] += np.float32(sensor.sharpening) * (codes[channel] - soft)
        np.clip(codes, 0.0, 1.0, out=codes)
        codes *= peak
        codes += 0.5
        kept = codes[:, inner]
        picture[row : row + BAND_ROWS] = np.moveaxis(kept, 0, -1).astype(picture.dtype)
    return picture, cover[::GRID, ::GRID]


def _warp(plane: Plane, canvas: Canvas, view: View, mapping: Mapping) -> Plane:
    """The flat drawing as the lens sees it, 0 outside."""
    source = Image.fromarray(np.ascontiguousarray(plane))
    to_canvas = np.array(
        [
            [canvas.dots_per_mm, 0, canvas.margin_mm * canvas.dots_per_mm],
            [0, canvas.dots_per_mm, canvas.margin_mm * canvas.dots_per_mm],
            [0, 0, 1],
        ]
    )
    size = (view.width, view.height)
    if mapping.barrel == 0:
        # Pillow counts from the corner of the first pixel, we from its middle.
        whole = to_canvas @ mapping.back @ np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
        whole = whole / whole[2, 2]
        return np.array(
            source.transform(
                size,
                Image.Transform.PERSPECTIVE,
                whole.ravel()[:8].tolist(),
                Image.Resampling.BILINEAR,
            )
        )
    across = np.append(np.arange(0, view.width, MESH), view.width)
    down = np.append(np.arange(0, view.height, MESH), view.height)
    points = np.stack(np.meshgrid(across, down), axis=-1) - 0.5
    places = (mapping.millimetres(points.reshape(-1, 2)) + canvas.margin_mm) * canvas.dots_per_mm
    grid = places.reshape(len(down), len(across), 2)
    cells = []
    for j in range(len(down) - 1):
        for i in range(len(across) - 1):
            quad = (*grid[j, i], *grid[j + 1, i], *grid[j + 1, i + 1], *grid[j, i + 1])
            box = (int(across[i]), int(down[j]), int(across[i + 1]), int(down[j + 1]))
            cells.append((box, tuple(float(value) for value in quad)))
    return np.array(source.transform(size, Image.Transform.MESH, cells, Image.Resampling.BILINEAR))


def _light_fields(
    scene: Scene,
    light: Light,
    camera: Camera,
    sensor: Sensor,
    view: View,
    mapping: Mapping,
    rng: np.random.Generator,
) -> tuple[list[Plane], list[Plane]]:
    """For each channel the light over the frame, and the bare table in the same."""
    target = scene.target
    across = np.linspace(-0.5, view.width - 0.5, max(2, view.width // GRID) + 1)
    down = np.linspace(-0.5, view.height - 0.5, max(2, view.height // GRID) + 1)
    grid = np.stack(np.meshgrid(across, down), axis=-1)
    places = mapping.millimetres(grid.reshape(-1, 2)).reshape(grid.shape)
    x = np.clip(2 * places[..., 0] / target.width_mm - 1, -2.5, 2.5)
    y = np.clip(2 * places[..., 1] / target.height_mm - 1, -2.5, 2.5)
    strength = light.strength(x, y)
    off = (grid - mapping.centre) / mapping.radius
    strength = strength * (1 - sensor.vignetting * np.sum(off**2, axis=-1))
    surfaces = [Surface((99.99, 0.0, 0.0)), Surface((99.99, 0.0, 0.0)), Surface(scene.table)]
    shares = np.array([0.0, 1.0, 0.0])
    first, second, table = camera.seen(surfaces, light, shares, target.measurement)
    share = light.second(x, y) if light.second_spectrum else np.zeros_like(x)
    grain = _grain(grid.shape[:2], rng) * scene.grain
    fields, tables = [], []
    for channel in range(3):
        cast = 1 + share * (second[channel] / first[channel] - 1)
        lit = (strength * cast).astype(np.float32)
        fields.append(_spread(lit, view))
        tables.append(_spread((lit * table[channel] * (1 + grain)).astype(np.float32), view))
    return fields, tables


def _spread(coarse: Plane, view: View) -> Plane:
    """A coarse grid that reaches from edge to edge, over the whole frame."""
    rows, columns = coarse.shape
    return np.asarray(
        Image.fromarray(np.ascontiguousarray(coarse)).transform(
            (view.width, view.height),
            Image.Transform.AFFINE,
            (
                (columns - 1) / view.width, 0.0, 0.5,
                0.0, (rows - 1) / view.height, 0.5,
            ),
            Image.Resampling.BILINEAR,
        )
    )  # fmt: skip


def _grain(shape: tuple[int, ...], rng: np.random.Generator) -> Plane:
    """A table's own unevenness, streaked one way as wood is."""
    coarse = rng.standard_normal((shape[0], max(2, shape[1] // 12)), dtype=np.float32)
    streaks = Image.fromarray(coarse).resize((shape[1], shape[0]), Image.Resampling.BICUBIC)
    fine = rng.standard_normal(shape, dtype=np.float32)
    return np.asarray(np.asarray(streaks) + 0.3 * fine, np.float32)


def _lit(
    channel: int,
    band: slice,
    planes: list[Plane],
    cover: Plane,
    fields: list[Plane],
    table: list[Plane],
    scene: Scene,
    mapping: Mapping,
) -> Plane:
    """Light that reaches one band of one channel."""
    lit = planes[channel][band] * fields[channel][band]
    lit += (1 - cover[band]) * table[channel][band]
    if scene.shadow is not None:
        lit *= _shade(scene.shadow, band, lit.shape[1], mapping)
    return lit


def _shade(shadow: Shadow, band: slice, width: int, mapping: Mapping) -> Plane:
    turn = np.radians(shadow.angle_deg)
    normal = np.array([-np.sin(turn), np.cos(turn)])
    line = np.array([*normal, -normal @ np.array(shadow.through)])
    form, scale = line @ mapping.back, mapping.back[2]
    x = np.arange(width, dtype=np.float32)
    y = np.arange(band.start, band.stop, dtype=np.float32)[:, None]
    off = (form[0] * x + form[1] * y + form[2]) / (scale[0] * x + scale[1] * y + scale[2])
    inside = np.clip(0.5 + off / max(shadow.softness_mm, 1e-3), 0.0, 1.0)
    inside = inside * inside * (3 - 2 * inside)
    return np.asarray(1 - shadow.depth * inside, np.float32)


def _blurred(plane: Plane, sigma: float) -> Plane:
    """Five taps each way; the outermost two rows and columns stay as they are."""
    side = np.exp(-0.5 * (np.arange(3) / sigma) ** 2)
    weights = (side / (side[0] + 2 * side[1:].sum())).astype(np.float32)
    across = plane.copy()
    across[:, 2:-2] = weights[0] * plane[:, 2:-2]
    across[:, 2:-2] += weights[1] * (plane[:, 1:-3] + plane[:, 3:-1])
    if weights[2] > 1e-4:
        across[:, 2:-2] += weights[2] * (plane[:, :-4] + plane[:, 4:])
    else:
        across[:, 2:-2] += 2 * weights[2] * plane[:, 2:-2]
    if len(plane) < 5:
        return across
    down = across.copy()
    down[2:-2] = weights[0] * across[2:-2]
    down[2:-2] += weights[1] * (across[1:-3] + across[3:-1])
    if weights[2] > 1e-4:
        down[2:-2] += weights[2] * (across[:-4] + across[4:])
    else:
        down[2:-2] += 2 * weights[2] * across[2:-2]
    return down


def _smear(plane: Plane, sensor: Sensor) -> Plane:
    """Blur of more than a pixel: three box means for focus, a line for motion."""
    from scipy import ndimage  # type: ignore[import-untyped]

    made = plane
    box = int(round(np.sqrt(4 * sensor.blur**2 + 1)))  # three boxes of it have that deviation
    if box > 1:
        for _ in range(3):
            made = ndimage.uniform_filter(made, box, mode="nearest")
    across, down = sensor.motion
    steps = int(np.ceil(np.hypot(across, down)))
    if steps > 1:
        sharp, made = made, np.zeros_like(made)
        for step in range(steps):
            along = step / (steps - 1) - 0.5
            shift = (round(down * along), round(across * along))
            made += np.roll(sharp, shift, (0, 1)) / steps
    return np.asarray(made, np.float32)


def _count_photons(raw: Plane, sensor: Sensor, dice: np.random.Generator) -> None:
    if sensor.electrons <= 0:
        return
    spread = np.maximum(raw, 0) * np.float32(1 / sensor.electrons)
    spread += np.float32((sensor.read_noise / sensor.electrons) ** 2)
    np.sqrt(spread, out=spread)
    spread *= dice.standard_normal(raw.shape, dtype=np.float32)
    raw += spread


def _tone_tables(camera: Camera) -> list[Plane]:
    # A square-root scale, so that the steps are finest where the curve is steepest.
    light = (np.arange(LEVELS) / (LEVELS - 1)) ** 2
    tone = camera.rendering.tone
    return [tone.codes(light, channel).astype(np.float32) for channel in range(3)]


def _rendered(raw: Plane, render: Array, camera: Camera, tables: list[Plane]) -> Plane:
    matrix = render.astype(np.float32)
    made = np.empty_like(raw)
    for channel in range(3):
        made[channel] = matrix[channel, 0] * raw[0]
        made[channel] += matrix[channel, 1] * raw[1]
        made[channel] += matrix[channel, 2] * raw[2]
    rendering = camera.rendering
    if rendering.vivid or rendering.warm:
        grey = (made[0] + 2 * made[1] + made[2]) / 4
        lean = (made[0] - made[2]) / (np.abs(grey) + np.float32(0.02))
        gain = (
            1
            + np.float32(rendering.vivid) * np.tanh(np.abs(lean))
            + np.float32(rendering.warm) * np.tanh(lean)
        )
        made -= grey
        made *= gain
        made += grey
    np.clip(made, 0.0, 1.0, out=made)
    np.sqrt(made, out=made)
    made *= LEVELS - 1
    made += 0.5
    index = made.astype(np.uint16)
    return np.stack([table[codes] for table, codes in zip(tables, index, strict=True)])

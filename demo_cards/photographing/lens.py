"""What reaches the sensor: the flat drawing through the lens, and the light over the frame.

Rows come in bands small enough for the processor's cache; a 12-megapixel picture would otherwise
pass through memory some forty times.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from demo_cards.photographing.cameras import Camera
from demo_cards.photographing.canvas import Canvas
from demo_cards.photographing.lights import Light
from demo_cards.photographing.placing import Mapping, View
from demo_cards.photographing.scene import Scene, Shadow
from demo_cards.photographing.spectra import Surface

Plane = NDArray[np.float32]
Array = NDArray[np.float64]

GRID = 16  # pixels between places where smooth light is worked out
MESH = 64  # pixels of a cell that is warped as one, where the lens distorts
WHITE = (100.0, 0.0, 0.0)


class Scenery:
    """Linear light of a scene in the camera's channels, band by band."""

    def __init__(
        self,
        scene: Scene,
        light: Light,
        camera: Camera,
        view: View,
        mapping: Mapping,
        canvas: Canvas,
        *,
        vignetting: float,
        rng: np.random.Generator,
    ) -> None:
        self._shadow = scene.shadow
        self._view, self._mapping = view, mapping
        self._to_canvas = np.array([[1, 0, canvas.margin_mm], [0, 1, canvas.margin_mm], [0, 0, 1]])
        self._to_canvas[:2] *= canvas.dots_per_mm
        # Light spreads by area: each channel is weighted by its share of cover before the warp.
        self._sources = [
            Image.fromarray(np.ascontiguousarray(plane))
            for plane in (*(canvas.channels * canvas.cover), canvas.cover)
        ]
        surfaces = [Surface(WHITE), Surface(WHITE), Surface(scene.table)]
        first, second, self._table = camera.seen(
            surfaces, light, np.array([0.0, 1.0, 0.0]), scene.target.measurement
        )
        self._fields(scene, light, second / first, vignetting, rng)
        self._evening = self._local_gain(canvas, camera.rendering.local)

    def band(self, first: int, last: int) -> tuple[Plane, Plane]:
        """(3, rows, width) of light from some rows of the frame, and the cover of those rows."""
        red, green, blue, cover = (
            np.asarray(self._warped(source, first, last)) for source in self._sources
        )
        bare = (1 - cover) * self._between(self._grain, first, last)
        lit = np.empty((3, *cover.shape), np.float32)
        for channel, plane in enumerate((red, green, blue)):
            np.multiply(bare, np.float32(self._table[channel]), out=lit[channel])
            lit[channel] += plane
            if channel == 0 or self._cast:
                field = self._between(self._light[channel], first, last)
                if self._shadow is not None:
                    field *= _shade(self._shadow, first, last, self._view.width, self._mapping)
            lit[channel] *= field
        return lit, cover

    def evened(self, first: int, last: int) -> Plane | None:
        """Gain of local tone mapping over some rows, where the camera does any."""
        return None if self._evening is None else self._between(self._evening, first, last)

    def _local_gain(self, canvas: Canvas, exponent: float) -> Plane | None:
        """Gain that lifts what is dark over a centimetre or two and holds back what is bright."""
        if exponent == 0:
            return None
        from scipy import ndimage  # type: ignore[import-untyped]

        cell = max(1, int(3 * canvas.dots_per_mm))
        shrunk = [
            ndimage.gaussian_filter(np.asarray(source.reduce(cell)), 4, mode="constant")
            for source in (self._sources[1], self._sources[3])
        ]
        columns = np.arange(0, self._view.width, GRID)
        grid = np.stack(np.meshgrid(columns, self._down), axis=-1)
        places = self._mapping.millimetres(grid.reshape(-1, 2)) + canvas.margin_mm
        at = (places * canvas.dots_per_mm / cell - 0.5).T[::-1]
        green, cover = (ndimage.map_coordinates(plane, at, order=1) for plane in shrunk)
        level = (green + (1 - cover) * self._table[1]).reshape(grid.shape[:2])
        level *= self._light[1][:, columns]
        gain = (np.maximum(level, 0.01) / level.mean()) ** -exponent
        every = np.arange(self._view.width)
        return np.stack([np.interp(every, columns, row) for row in gain]).astype(np.float32)

    def _warped(self, source: Image.Image, first: int, last: int) -> Image.Image:
        """Some rows of the flat drawing as the lens sees it, 0 outside."""
        width, rows = self._view.width, last - first
        if self._mapping.barrel == 0:
            # Pillow counts from the corner of the first pixel, we from its middle.
            middle = np.array([[1, 0, -0.5], [0, 1, first - 0.5], [0, 0, 1.0]])
            whole = self._to_canvas @ self._mapping.back @ middle
            return source.transform(
                (width, rows),
                Image.Transform.PERSPECTIVE,
                (whole / whole[2, 2]).ravel()[:8].tolist(),
                Image.Resampling.BILINEAR,
            )
        across = np.append(np.arange(0, width, MESH), width)
        down = np.append(np.arange(0, rows, MESH), rows)
        points = np.stack(np.meshgrid(across, down + first), axis=-1) - 0.5
        places = self._mapping.millimetres(points.reshape(-1, 2)) @ self._to_canvas[:2, :2].T
        grid = (places + self._to_canvas[:2, 2]).reshape(len(down), len(across), 2)
        cells = []
        for j in range(len(down) - 1):
            for i in range(len(across) - 1):
                quad = (*grid[j, i], *grid[j + 1, i], *grid[j + 1, i + 1], *grid[j, i + 1])
                box = (int(across[i]), int(down[j]), int(across[i + 1]), int(down[j + 1]))
                cells.append((box, tuple(float(value) for value in quad)))
        return source.transform(
            (width, rows), Image.Transform.MESH, cells, Image.Resampling.BILINEAR
        )

    def _fields(
        self,
        scene: Scene,
        light: Light,
        cast: Array,
        vignetting: float,
        rng: np.random.Generator,
    ) -> None:
        """The light of each channel and the table's unevenness, on full rows of a coarse grid."""
        target, view, mapping = scene.target, self._view, self._mapping
        across = np.linspace(-0.5, view.width - 0.5, max(2, view.width // GRID) + 1)
        down = np.linspace(-0.5, view.height - 0.5, max(2, view.height // GRID) + 1)
        grid = np.stack(np.meshgrid(across, down), axis=-1)
        places = mapping.millimetres(grid.reshape(-1, 2)).reshape(grid.shape)
        x = np.clip(2 * places[..., 0] / target.width_mm - 1, -2.5, 2.5)
        y = np.clip(2 * places[..., 1] / target.height_mm - 1, -2.5, 2.5)
        strength = light.strength(x, y)
        off = (grid - mapping.centre) / mapping.radius
        strength = strength * (1 - vignetting * np.sum(off**2, axis=-1))
        self._cast = light.second_spectrum is not None
        share = light.second(x, y) if self._cast else np.zeros_like(x)
        uneven = 1 + scene.grain * _grain(x.shape, rng)
        if not scene.without_sheet:
            uneven *= 1 - 0.35 * _under(places, target.width_mm, target.height_mm)
        columns = np.arange(view.width)

        def wide(coarse: Array) -> Plane:
            return np.stack([np.interp(columns, across, row) for row in coarse]).astype(np.float32)

        self._light = [wide(strength * (1 + share * (tint - 1))) for tint in cast]
        self._grain = wide(uneven)
        self._down = down

    def _between(self, rows: Plane, first: int, last: int) -> Plane:
        """Full rows of the coarse grid, brought to every row of a band."""
        at = np.interp(np.arange(first, last), self._down, np.arange(len(self._down)))
        above = np.minimum(at.astype(int), len(rows) - 2)
        share = (at - above).astype(np.float32)[:, None]
        made = rows[above]
        made += share * (rows[above + 1] - made)
        return np.asarray(made)


def _grain(shape: tuple[int, ...], rng: np.random.Generator) -> Array:
    """A table's own unevenness, streaked one way as wood is."""
    coarse = rng.standard_normal((shape[0], max(2, shape[1] // 12)), dtype=np.float32)
    streaks = Image.fromarray(coarse).resize((shape[1], shape[0]), Image.Resampling.BICUBIC)
    return np.asarray(streaks, float) + 0.3 * rng.standard_normal(shape)


def _under(places: Array, width_mm: float, height_mm: float) -> Array:
    """The soft shadow a sheet casts on the table beside it, 1 where it is darkest."""
    x, y = places[..., 0] - 1.5, places[..., 1] - 2.0
    beside_x = np.maximum(np.maximum(-x, x - width_mm), 0.0)
    beside_y = np.maximum(np.maximum(-y, y - height_mm), 0.0)
    return np.asarray(np.exp(-np.hypot(beside_x, beside_y) / 3.0))


def _shade(shadow: Shadow, first: int, last: int, width: int, mapping: Mapping) -> Plane:
    turn = np.radians(shadow.angle_deg)
    normal = np.array([-np.sin(turn), np.cos(turn)])
    line = np.array([*normal, -normal @ np.array(shadow.through)])
    form, scale = line @ mapping.back, mapping.back[2]
    x = np.arange(width, dtype=np.float32)
    y = np.arange(first, last, dtype=np.float32)[:, None]
    off = (form[0] * x + form[1] * y + form[2]) / (scale[0] * x + scale[1] * y + scale[2])
    inside = np.clip(0.5 + off / max(shadow.softness_mm, 1e-3), 0.0, 1.0)
    inside = inside * inside * (3 - 2 * inside)
    return np.asarray(1 - shadow.depth * inside, np.float32)

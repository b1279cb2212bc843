"""The sheet with all that lies on it, drawn flat in the camera's own linear channels.

Light mixes by area, so an edge pixel is the area-weighted mean of the channels on both sides.
Rectangles and codes are drawn with their exact share of every pixel.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from colour.photo.target import Place
from demo_cards.photographing.cameras import Camera
from demo_cards.photographing.lights import Light
from demo_cards.photographing.scene import Card, Glare, Scene, Thing
from demo_cards.photographing.spectra import SMOOTH, Surface

Plane = NDArray[np.float32]
Array = NDArray[np.float64]

QUIET_MODULES = 4  # around a code, by ISO/IEC 18004


@dataclass(slots=True, eq=False)
class Canvas:
    """Planar channels, the share of each pixel that is covered, and its scale."""

    channels: Plane  # (3, height, width)
    cover: Plane  # (height, width)
    dots_per_mm: float
    margin_mm: float

    def spans(self, place: Place, grown_mm: float = 0.0) -> tuple[_Span, _Span]:
        left, top = place.x_mm - grown_mm, place.y_mm - grown_mm
        height, width = self.cover.shape
        return (
            self._span(top, place.height_mm + 2 * grown_mm, height),
            self._span(left, place.width_mm + 2 * grown_mm, width),
        )

    def _span(self, start_mm: float, length_mm: float, size: int) -> _Span:
        start = (start_mm + self.margin_mm) * self.dots_per_mm
        end = start + length_mm * self.dots_per_mm
        first, last = max(0, int(np.floor(start))), min(size, int(np.ceil(end)))
        cells = np.arange(first, last)
        share = np.clip(np.minimum(end, cells + 1) - np.maximum(start, cells), 0.0, 1.0)
        return _Span(slice(first, last), share.astype(np.float32), start)

    def paint(self, place: Place, colour: Array, grown_mm: float = 0.0) -> None:
        rows, columns = self.spans(place, grown_mm)
        self.blend(rows, columns, np.outer(rows.share, columns.share), colour)

    def blend(self, rows: _Span, columns: _Span, share: Plane, colour: Array) -> None:
        block = self.channels[:, rows.cells, columns.cells]
        block += share * (colour.astype(np.float32)[:, None, None] - block)


@dataclass(frozen=True, slots=True, eq=False)
class _Span:
    cells: slice
    share: Plane
    start: float


def draw(
    scene: Scene, light: Light, camera: Camera, dots_per_mm: float, rng: np.random.Generator
) -> Canvas:
    """The sheet under even light; what the light does over its area comes later."""
    target = scene.target
    margin = 45.0 if scene.things else 2.0 / dots_per_mm
    size = [
        int(np.ceil((length + 2 * margin) * dots_per_mm))
        for length in (target.height_mm, target.width_mm)
    ]
    canvas = Canvas(
        np.empty((3, *size), np.float32), np.zeros(size, np.float32), dots_per_mm, margin
    )
    colours = _Colours(scene, light, camera)
    paper, ink = colours.plain("paper"), colours.plain("ink")
    canvas.channels[:] = paper.astype(np.float32)[:, None, None]
    whole = Place(
        name="sheet", x_mm=0, y_mm=0, width_mm=target.width_mm, height_mm=target.height_mm
    )
    rows, columns = canvas.spans(whole)
    canvas.cover[rows.cells, columns.cells] = np.outer(rows.share, columns.share)
    if scene.picture is None:
        for marker in target.markers:
            draw_code(canvas, marker, marker.text, ink)
        _rule_windows(canvas, scene, ink)
    else:
        _print_picture(canvas, scene, ink)
    for patch in target.patches:
        canvas.paint(patch, colours.patch(patch.name))
    for name, card in scene.cards.items():
        window = target.window(name)
        assert window is not None
        _lay_card(canvas, window, card, colours.card(name), colours, rng)
    for label in scene.labels:
        place = next(place for place in target.labels if place.name == label.window)
        canvas.paint(place, colours.plain("label"), 0.5)
        _draw_label(canvas, place, label.text, colours.plain("label ink"))
    for glare in scene.glare:
        _add_glare(canvas, scene, glare, colours.plain("white"))
    for number, thing in enumerate(scene.things):
        _lay_thing(canvas, thing, colours.plain(f"thing {number}"))
    return canvas


class _Colours:
    """The channels of everything in a scene, asked of the camera once."""

    def __init__(self, scene: Scene, light: Light, camera: Camera) -> None:
        target = scene.target
        plain: list[tuple[str, Surface]] = [
            (name, Surface(lab, family))
            for name, lab, family in (
                ("paper", scene.paper, scene.print_family),
                ("ink", scene.ink, scene.print_family),
                ("label", (95.5, -0.2, 0.8), SMOOTH),
                ("label ink", (12.0, 0.0, 0.0), SMOOTH),
                ("dust", (78.0, 1.0, 4.0), SMOOTH),
                ("white", (100.0, 0.0, 0.0), SMOOTH),
                *((f"thing {i}", thing.lab, SMOOTH) for i, thing in enumerate(scene.things)),
            )
        ]
        here: list[tuple[str, Surface, Place | None]] = [(*pair, None) for pair in plain]
        printed = scene.as_printed()
        for patch in target.patches:
            here.append(
                (f"patch {patch.name}", Surface(printed[patch.name], scene.print_family), patch)
            )
        for name, card in scene.cards.items():
            surface = Surface(card.lab, scene.paint_family)
            here.append((f"card {name}", surface, target.window(name)))
        shares = np.array([_second_share(scene, light, place) for _, _, place in here])
        seen = camera.seen([surface for _, surface, _ in here], light, shares, target.measurement)
        # The field of light dims every pixel as it would dim white; that part is taken out here.
        white = [Surface((100.0, 0.0, 0.0))] * len(here)
        whites = camera.seen(white, light, shares, target.measurement)
        even = camera.seen(white[:1], light, np.zeros(1), target.measurement)
        self._channels: Mapping[str, Array] = {
            name: row for (name, _, _), row in zip(here, seen / whites * even, strict=True)
        }

    def plain(self, name: str) -> Array:
        return self._channels[name]

    def patch(self, name: str) -> Array:
        return self._channels[f"patch {name}"]

    def card(self, name: str) -> Array:
        return self._channels[f"card {name}"]


def _second_share(scene: Scene, light: Light, place: Place | None) -> float:
    if place is None or light.second_spectrum is None:
        return 0.0
    x, y = place.centre
    across = np.array(2 * x / scene.target.width_mm - 1)
    down = np.array(2 * y / scene.target.height_mm - 1)
    return float(light.second(across, down))


def draw_code(canvas: Canvas, place: Place, text: str, ink: Array) -> None:
    """A QR code that fills a place (no quiet zone inside it)."""
    import segno

    code = segno.make(text, error="m", micro=False, boost_error=False)
    modules = np.array([list(row) for row in code.matrix], np.float32)
    rows, columns = canvas.spans(place)
    count = len(modules)
    share = (
        _shares(rows, place.height_mm * canvas.dots_per_mm, count)
        @ modules
        @ _shares(columns, place.width_mm * canvas.dots_per_mm, count).T
    )
    canvas.blend(rows, columns, np.asarray(share, np.float32), ink)


def _shares(span: _Span, length: float, count: int) -> Plane:
    """(pixels, modules): how much of each pixel lies in each module."""
    edges = span.start + np.arange(count + 1) * (length / count)
    cells = np.arange(span.cells.start, span.cells.stop)[:, None]
    overlap = np.minimum(cells + 1, edges[1:]) - np.maximum(cells, edges[:-1])
    return np.asarray(np.clip(overlap, 0.0, 1.0), np.float32)


def _rule_windows(canvas: Canvas, scene: Scene, ink: Array) -> None:
    for window in scene.target.windows:
        canvas.paint(window, ink, 0.4)
        canvas.paint(window, canvas.channels[:, 0, 0].astype(float))


def _print_picture(canvas: Canvas, scene: Scene, ink: Array) -> None:
    """Black on paper from a picture; its greys are shares of ink by area."""
    from PIL import Image

    assert scene.picture is not None
    grey = np.asarray(scene.picture.pixels)
    if grey.ndim == 3:
        grey = grey[..., :3].min(axis=-1)
    code = np.arange(256) / 255
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    printed = Image.fromarray((1 - linear).astype(np.float32)[grey])
    scale = scene.picture.dots_per_mm / canvas.dots_per_mm
    left = -canvas.margin_mm * scene.picture.dots_per_mm
    height, width = canvas.cover.shape
    reduce = max(1, int(scale))
    if reduce > 1:
        printed = printed.reduce(reduce)
    step = scale / reduce
    share = np.asarray(
        printed.transform(
            (width, height),
            Image.Transform.AFFINE,
            (step, 0.0, left / reduce, 0.0, step, left / reduce),
            Image.Resampling.BILINEAR,
        )
    )
    canvas.channels += share * (ink.astype(np.float32)[:, None, None] - canvas.channels)


def _lay_card(
    canvas: Canvas,
    window: Place,
    card: Card,
    colour: Array,
    colours: _Colours,
    rng: np.random.Generator,
) -> None:
    # A card is a third of a millimetre thick: a dark line beside its lower and right edge.
    below = replace(window, x_mm=window.x_mm + 0.35, y_mm=window.y_mm + 0.45)
    rows, columns = canvas.spans(below, card.overlap_mm)
    shade = 0.35 * np.outer(rows.share, columns.share)
    canvas.channels[:, rows.cells, columns.cells] *= 1 - shade
    canvas.paint(window, colour, card.overlap_mm)
    rows, columns = canvas.spans(window, card.overlap_mm)
    block = canvas.channels[:, rows.cells, columns.cells]
    if card.flake:
        block *= _flake(block.shape[1:], canvas.dots_per_mm, card, rng)
    if card.dust or card.scratches:
        mask = _specks(block.shape[1:], canvas.dots_per_mm, card, rng)
        canvas.blend(rows, columns, mask, colours.plain("dust"))


def _flake(
    shape: tuple[int, ...], dots_per_mm: float, card: Card, rng: np.random.Generator
) -> Plane:
    """Light from flake relative to its mean, from place to place, at a millimetre and finer."""
    from PIL import Image

    height, width = shape
    total = np.zeros((height, width), np.float32)
    for grain_mm, weight in ((1.2, 1.0), (0.45, 1.6)):
        cells = [max(4, int(side / (grain_mm * dots_per_mm))) for side in (height, width)]
        coarse = rng.standard_normal(cells, dtype=np.float32)
        fine = Image.fromarray(coarse).resize((width, height), Image.Resampling.BICUBIC)
        total += weight * np.asarray(fine)
    total -= total.mean()
    total /= max(float(total.std()), 1e-6)
    # One L* of standard deviation is 3 / (L* + 16) of the light, by the cube law.
    # Means over a square millimetre spread 0.616 times as much as single points here.
    relative = 3.0 * card.flake / 0.616 / (card.lab[0] + 16.0)
    grains = np.clip(1 + relative * total, 0.1, 5.0)
    return np.asarray(grains / grains.mean())


def _specks(
    shape: tuple[int, ...], dots_per_mm: float, card: Card, rng: np.random.Generator
) -> Plane:
    from PIL import Image, ImageDraw

    finer = 3
    height, width = shape
    mask = Image.new("L", (width * finer, height * finer))
    pen = ImageDraw.Draw(mask)
    for _ in range(card.dust):
        x, y = rng.uniform(0, width * finer), rng.uniform(0, height * finer)
        radius = rng.uniform(0.08, 0.4) * dots_per_mm * finer
        pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=230)
    for _ in range(card.scratches):
        x, y = rng.uniform(0, width * finer), rng.uniform(0, height * finer)
        angle, length = rng.uniform(0, np.pi), rng.uniform(4, 18) * dots_per_mm * finer
        end = (x + length * np.cos(angle), y + length * np.sin(angle))
        pen.line((x, y, *end), fill=150, width=max(1, int(0.12 * dots_per_mm * finer)))
    return np.asarray(mask.reduce(finer), np.float32) / np.float32(255)


def _draw_label(canvas: Canvas, place: Place, text: str, ink: Array) -> None:
    """A code at the left of the label, its text beside it."""
    from PIL import Image, ImageDraw, ImageFont

    side = 0.78 * min(place.height_mm, 0.6 * place.width_mm)
    gap = (place.height_mm - side) / 2
    square = Place(
        name="code",
        x_mm=place.x_mm + gap,
        y_mm=place.y_mm + gap,
        width_mm=side,
        height_mm=side,
    )
    draw_code(canvas, square, text, ink)
    rest = Place(
        name="text",
        x_mm=square.x_mm + side + gap,
        y_mm=place.y_mm + gap,
        width_mm=place.width_mm - side - 3 * gap,
        height_mm=side,
    )
    if rest.width_mm < 6:
        return
    rows, columns = canvas.spans(rest)
    height, width = len(rows.share), len(columns.share)
    picture = Image.new("L", (width, height))
    size = min(height * 0.5, 1.7 * width / max(len(text), 1))
    font = ImageFont.load_default(max(6, size))
    ImageDraw.Draw(picture).text((0, height / 2), text, fill=255, font=font, anchor="lm")
    canvas.blend(rows, columns, np.asarray(picture, np.float32) / np.float32(255), ink)


def _add_glare(canvas: Canvas, scene: Scene, glare: Glare, white: Array) -> None:
    window = scene.target.window(glare.window)
    assert window is not None
    rows, columns = canvas.spans(window)
    x_mm, y_mm = window.centre
    across = (np.arange(columns.cells.start, columns.cells.stop) + 0.5) / canvas.dots_per_mm
    down = (np.arange(rows.cells.start, rows.cells.stop) + 0.5) / canvas.dots_per_mm
    x = across[None, :] - canvas.margin_mm - x_mm - glare.offset_mm[0]
    y = down[:, None] - canvas.margin_mm - y_mm - glare.offset_mm[1]
    turn = np.radians(glare.angle_deg)
    along, beside = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    shape = np.exp(-((2 * along / glare.length_mm) ** 4) - (2 * beside / glare.width_mm) ** 2)
    added = glare.strength * white[:, None, None] * shape
    canvas.channels[:, rows.cells, columns.cells] += added.astype(np.float32)


def _lay_thing(canvas: Canvas, thing: Thing, colour: Array) -> None:
    """A capsule with a lighter ridge, so that it looks round."""
    height, width = canvas.cover.shape
    x = (np.arange(width, dtype=np.float32) + 0.5) / canvas.dots_per_mm - canvas.margin_mm
    y = (np.arange(height, dtype=np.float32) + 0.5) / canvas.dots_per_mm - canvas.margin_mm
    start, end = np.array(thing.start, np.float32), np.array(thing.end, np.float32)
    axis = end - start
    length = max(float(np.hypot(*axis)), 1e-3)
    axis /= length
    from_x, from_y = x[None, :] - start[0], y[:, None] - start[1]
    along = np.clip(from_x * axis[0] + from_y * axis[1], 0.0, length)
    off = np.hypot(from_x - along * axis[0], from_y - along * axis[1])
    radius = thing.width_mm / 2
    share = np.clip((radius - off) * canvas.dots_per_mm + 0.5, 0.0, 1.0).astype(np.float32)
    ridge = (0.75 + 0.5 * np.sqrt(np.clip(1 - (off / radius) ** 2, 0, 1))).astype(np.float32)
    painted = colour.astype(np.float32)[:, None, None] * ridge
    canvas.channels += share * (painted - canvas.channels)
    canvas.cover = np.maximum(canvas.cover, share)
    # Its own faint shadow on the paper beside it.
    near = np.clip(1 - (off - radius) / 5.0, 0.0, 1.0) * (1 - share)
    canvas.channels *= 1 - 0.25 * near.astype(np.float32)

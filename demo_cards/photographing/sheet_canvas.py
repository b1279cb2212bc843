"""The sheet with all that lies on it, drawn flat in the camera's own linear channels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from colour.photo.target import Place
from demo_cards.photographing.cameras import Camera
from demo_cards.photographing.canvas import Array, Canvas, draw_code
from demo_cards.photographing.lights import Light
from demo_cards.photographing.scene import Card, Scene
from demo_cards.photographing.spectra import SMOOTH, Surface
from demo_cards.photographing.surfaces import add_glare, flake_of, lay_thing, specks_of

QUIET_MODULES = 4  # around a code, by ISO/IEC 18004


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
        add_glare(canvas, scene, glare, colours.plain("white"))
    for number, thing in enumerate(scene.things):
        lay_thing(canvas, thing, colours.plain(f"thing {number}"))
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
        block *= flake_of(block.shape[1:], canvas.dots_per_mm, card, rng)
    if card.dust or card.scratches:
        mask = specks_of(block.shape[1:], canvas.dots_per_mm, card, rng)
        canvas.blend(rows, columns, mask, colours.plain("dust"))


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

"""What is not plain colour: flake, dust, scratches, mirrored light and things on the sheet."""

from __future__ import annotations

import numpy as np

from demo_cards.photographing.canvas import Array, Canvas, Plane
from demo_cards.photographing.scene import Card, Glare, Scene, Thing


def flake_of(
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


def specks_of(
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


def add_glare(canvas: Canvas, scene: Scene, glare: Glare, white: Array) -> None:
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


def lay_thing(canvas: Canvas, thing: Thing, colour: Array) -> None:
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

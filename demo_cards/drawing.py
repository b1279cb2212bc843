"""A card as it would look in a photograph, drawn from the Lab values of its readings.

The picture says on its face that it was drawn: nobody may take it for proof.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from colour.screen import screen_colour

if TYPE_CHECKING:
    from PIL import ImageDraw

Lab = tuple[float, float, float]
Pixel = tuple[int, int, int]
Rectangle = tuple[int, int, int, int]

SIZE = (900, 1300)
CARD: Rectangle = (110, 80, 790, 1220)
LABEL: Rectangle = (250, 220, 650, 360)
FIRST_ZONE, LAST_ZONE = 410, 1090
GREY: Lab = (50.0, 0.0, 0.0)
MARGIN = 26  # of blank card around the paint
HOLE = 30
MASKED = 5  # between two zones
STRIPES = 12


def draw_card(
    code: str, title: str, zones: Sequence[tuple[str, Lab]], *, flake: bool, seed: int
) -> bytes:
    """JPEG bytes of a card: punched hole, label with its code, zones, hiding mark at the edge.

    ``zones`` are name and colour (D65, 10°) from top to bottom; ``flake`` lets single pixels
    glint as metal flake does.
    """
    import numpy as np
    from PIL import Image, ImageDraw

    grounds = screen([GREY, *(lab for _, lab in zones)])
    picture = Image.new("RGB", SIZE, grounds[0])
    draw = ImageDraw.Draw(picture)
    draw.rounded_rectangle(CARD, 14, fill=(244, 244, 242))
    middle = SIZE[0] // 2
    draw.ellipse((middle - HOLE, 125 - HOLE, middle + HOLE, 125 + HOLE), fill=grounds[0])
    _hiding_mark(draw)
    height = (LAST_ZONE - FIRST_ZONE) // len(zones)
    for place, ((name, lab), ground) in enumerate(zip(zones, grounds[1:], strict=True)):
        top = FIRST_ZONE + place * height
        box = (CARD[0] + MARGIN, top, CARD[2] - MARGIN, top + height - MASKED)
        draw.rectangle(box, fill=ground)
        ink = (0, 0, 0) if lab[0] > 50 else (255, 255, 255)
        _write(draw, (box[2] - 20, top + height - 30), name, 30, ink, anchor="rs")
    draw.rectangle(LABEL, fill=(255, 255, 255), outline=(120, 120, 120), width=2)
    _write(draw, (middle, 270), code, 44, (0, 0, 0))
    _write(draw, (middle, 325), title, 26, (0, 0, 0))
    _write(draw, (middle, 1150), "DRAWN, NOT PHOTOGRAPHED", 32, (0, 0, 0))
    _write(draw, (middle, 1190), "invented card of a demo shop", 26, (0, 0, 0))
    if flake:
        pixels = np.asarray(picture).astype(np.int16)
        glint = np.random.default_rng(seed).normal(0, 5, (LAST_ZONE - FIRST_ZONE, 680 - 2 * MARGIN))
        painted = (slice(FIRST_ZONE, LAST_ZONE), slice(CARD[0] + MARGIN, CARD[2] - MARGIN))
        pixels[painted] += glint[..., None].astype(np.int16)
        picture = Image.fromarray(pixels.clip(0, 255).astype(np.uint8))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=90)
    return out.getvalue()


def screen(labs: Sequence[Lab]) -> list[Pixel]:
    """What a screen is told to show for colours under D65 for the 10° observer."""
    shown = [screen_colour(lab, illuminant="D65", observer=10) for lab in labs]
    return [(colour.red, colour.green, colour.blue) for colour in shown]


def _hiding_mark(draw: ImageDraw.ImageDraw) -> None:
    """Black and white bars; they show at the blank edge only, the paint hides the rest."""
    step = (LAST_ZONE - FIRST_ZONE) / STRIPES
    for stripe in range(0, STRIPES, 2):
        top = FIRST_ZONE + stripe * step
        draw.rectangle((CARD[0] + 6, top, CARD[2] - 6, top + step), fill=(15, 15, 15))


def _write(
    draw: ImageDraw.ImageDraw,
    at: tuple[int, int],
    text: str,
    size: int,
    ink: Pixel,
    anchor: str = "mm",
) -> None:
    from PIL import ImageFont

    draw.text(at, text, fill=ink, font=ImageFont.load_default(size), anchor=anchor)

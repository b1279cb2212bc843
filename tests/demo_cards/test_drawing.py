"""The drawn card shows the colours it is given, as another library turns them into light."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image
from skimage.color import lab2rgb

from demo_cards.drawing import CARD, FIRST_ZONE, LAST_ZONE, draw_card, screen

LABS = [(56.1, -1.4, -3.7), (19.4, -12.5, 3.2), (36.5, -0.8, -3.2)]


def test_screen_colours_are_those_of_scikit_image_too():
    """Under D65/2° in scikit-image; the white of the 10° observer becomes the screen's white."""
    of_skimage = 255 * lab2rgb(np.array([LABS]), illuminant="D65", observer="2")[0]
    assert np.abs(np.array(screen(LABS)) - of_skimage).max() <= 1.5


def test_zones_hold_their_colours_from_top_to_bottom():
    zones = list(zip(("bare", "cleared", "polished"), LABS, strict=True))
    picture = Image.open(
        io.BytesIO(draw_card("7K3Q-X9WD-4", "Test (invented)", zones, flake=False, seed=1))
    )
    height = (LAST_ZONE - FIRST_ZONE) // 3
    for place, (_, lab) in enumerate(zones):
        pixel = picture.getpixel((CARD[0] + 200, FIRST_ZONE + place * height + height // 2))
        assert isinstance(pixel, tuple)
        assert np.abs(np.array(pixel) - screen([lab])[0]).max() <= 3  # JPEG

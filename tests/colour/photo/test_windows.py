"""Windows of a target drawn flat: what is read in them, and which of them may be refused."""

from dataclasses import replace

import numpy as np
import pytest
from coloraide import Color

from colour.photo.measuring import read_picture
from colour.photo.outcome import PhotoRefused
from colour.photo.picture import Picture
from colour.photo.sheet import sheet_target

SHEET = sheet_target("a4")
SCALE = 4  # pixels for each millimetre
CORNERS = [(-0.5, -0.5), (1187.5, -0.5), (1187.5, 839.5), (-0.5, 839.5)]
CODES = np.arange(256) / 255
LIGHT = np.where(CODES <= 0.04045, CODES / 12.92, ((CODES + 0.055) / 1.055) ** 2.4)
MASTER, CARD = (52.0, 8.0, -14.0), (53.0, 8.5, -13.0)


def srgb_codes(lab):
    """IEC 61966-2-1 by coloraide, from Lab under D65."""
    return np.array([255 * v for v in Color("lab-d65", list(lab)).convert("srgb").coords()])


def drawn(windows, target=SHEET, exposure=0.9, dots=None):
    """A picture of the target from straight above, with a little noise."""
    codes = np.full((840, 1188, 3), srgb_codes((95, 0, 0)))
    for place, lab in [
        *((patch, patch.lab) for patch in target.patches),
        *((target.window(name), lab) for name, lab in windows.items()),
    ]:
        rows = slice(round(place.y_mm * SCALE), round((place.y_mm + place.height_mm) * SCALE))
        columns = slice(round(place.x_mm * SCALE), round((place.x_mm + place.width_mm) * SCALE))
        codes[rows, columns] = srgb_codes(lab)
    light = np.interp(codes, np.arange(256), LIGHT) * exposure
    if dots is not None:
        dots(light)
    noisy = np.interp(light, LIGHT, np.arange(256))
    noisy += np.random.default_rng(3).normal(0, 0.8, codes.shape)
    return Picture(
        pixels=noisy.round().clip(0, 255).astype(np.uint8),
        light=np.stack([LIGHT] * 3),
        primaries=np.eye(3),
        width=1188,
        height=840,
    )


def read(picture, target=SHEET):
    return read_picture(picture, target, corners=CORNERS)


def over(light, window, share, value):
    """Paint the lower part of a window."""
    place = SHEET.window(window)
    bottom = round((place.y_mm + place.height_mm) * SCALE)
    top = round(bottom - share * place.height_mm * SCALE)
    left = round(place.x_mm * SCALE)
    light[top:bottom, left : left + round(place.width_mm * SCALE)] = value


def test_a_flat_picture_is_read_to_a_few_hundredths():
    seen = read(drawn({"master": MASTER, "card": CARD, "card 2": (60, 0, 0)}))
    for name, lab in (("master", MASTER), ("card", CARD)):
        np.testing.assert_allclose(seen.window(name).lab, lab, atol=0.15)
    difference = np.subtract(seen.window("card").lab, seen.window("master").lab)
    np.testing.assert_allclose(difference, np.subtract(CARD, MASTER), atol=0.08)


def test_dust_and_a_spot_of_glare_are_left_out_of_the_mean():
    def spoil(light):
        place = SHEET.window("card")
        x, y = (round(v * SCALE) for v in (place.x_mm + 20, place.y_mm + 25))
        light[y : y + 20, x : x + 24] = 0.85
        light[y + 60 : y + 63, x + 40 : x + 43] = 0.01

    seen = read(drawn({"master": MASTER, "card": CARD, "card 2": CARD}, dots=spoil))
    np.testing.assert_allclose(seen.window("card").lab, CARD, atol=0.2)
    assert seen.window("card").share_used < 0.97


def test_glare_over_much_of_a_window_is_refused_with_what_to_do():
    picture = drawn(
        {"master": MASTER, "card": CARD, "card 2": CARD},
        dots=lambda light: over(light, "card", 0.35, 0.8),
    )
    with pytest.raises(PhotoRefused, match="Glare lies over the window card.*no reflection"):
        read(picture)


def test_a_window_left_empty_speaks_against_nothing_even_where_the_paper_is_cut_off():
    picture = drawn(
        {"master": MASTER, "card": CARD},
        dots=lambda light: over(light, "card 2", 1.0, 1.0),
    )
    seen = read(picture)
    assert not [remark for remark in seen.warnings if "card 2" in remark.message]
    np.testing.assert_allclose(seen.window("master").lab, MASTER, atol=0.15)
    assert np.sqrt(seen.window("card 2").covariance[0][0]) > 3


def test_a_cut_off_master_is_refused():
    picture = drawn(
        {"master": MASTER, "card": CARD, "card 2": CARD},
        dots=lambda light: over(light, "master", 1.0, 1.0),
    )
    with pytest.raises(PhotoRefused) as refused:
        read(picture)
    assert [reason.code for reason in refused.value.reasons] == ["overexposed"]


def test_windows_without_a_pair_are_read_each_for_itself():
    """A chart with patches held out, say: one that is cut off is doubted, the rest are read."""
    named = {"master": "left", "card": "right", "card 2": "third"}
    target = replace(SHEET, windows=tuple(replace(w, name=named[w.name]) for w in SHEET.windows))
    picture = drawn(
        {"left": MASTER, "right": CARD},
        target=target,
        dots=lambda light: over(light, "card 2", 1.0, 1.0),
    )
    seen = read(picture, target)
    assert [remark.code for remark in seen.warnings if "third" in remark.message] == ["overexposed"]
    assert np.sqrt(seen.window("third").covariance[0][0]) > 3
    np.testing.assert_allclose(seen.window("left").lab, MASTER, atol=0.15)

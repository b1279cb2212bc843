"""Chroma finer than whole codes: against simulated rounding, and files whose chroma is known.

Y, Cb, Cr and R, G, B go by JFIF (ITU-T T.871); what a file rounds a block's mean to is the first
entry of its table over 8 (ITU-T T.81: the coefficient of a mean is 8 times it).
"""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from colour.photo.chroma import rounding_variance, settle_chroma
from colour.photo.picture import Picture
from service.photos.decode import decode

CHROMA_BY_RGB = np.array([[-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]])
SIZE = 256
DITHERED_AT_MOST = 92  # the quality up to which the file keeps nothing of the dither


@pytest.mark.parametrize("spread", [0.0, 0.05, 0.1, 0.2, 0.3, 0.45])
@pytest.mark.parametrize("step", [1.0, 0.375])
def test_what_rounding_leaves_is_never_stated_too_small_nor_twice_too_large(step, spread):
    """500 fields of 4000 values each: their means against what was rounded.

    Beyond the first term of its Fourier series the bias's square adds up to π²/6 of the first
    (Σ 1/k²), so the statement may be 1.65 times too large; chance moves the figure by 7 %.
    """
    rng = np.random.default_rng(3)
    where = rng.uniform(0, step, 500)
    values = where[:, None] + spread * step * rng.standard_normal((500, 4000))
    bias = np.mean(np.rint(values / step) * step - values, axis=1)
    by_chance = step**2 / 12 / 4000  # at most, of the mean of so many values
    found = np.mean(bias**2)
    stated = float(rounding_variance(step, np.array(spread * step)))
    assert stated > 0.87 * (found - by_chance)
    assert stated < 1.75 * found + by_chance


def dithered(luma, blue, red, parts):
    """A flat YCbCr picture of chroma blue + parts/4 and red + parts/4 codes.

    Two by two pixels alike, so that halved chroma is the same; of every four such, ``parts`` lie
    one code up. Each block of 8 by 8 samples has the same mean.
    """
    order = np.array([[0, 2], [3, 1]])
    up = np.kron(order < parts, np.ones((2, 2), int))
    tiled = np.tile(up, (SIZE // 4, SIZE // 4))
    planes = [np.full((SIZE, SIZE), luma), blue + tiled, red + tiled]
    bands = [Image.fromarray(plane.astype(np.uint8)) for plane in planes]
    return Image.merge("YCbCr", bands), np.array([blue, red]) + parts / 4 - 128


def saved(image, quality, subsampling):
    out = BytesIO()
    image.save(out, "JPEG", quality=quality, subsampling=subsampling)
    return out.getvalue()


def chroma_step(content):
    with Image.open(BytesIO(content)) as image:
        return image.quantization[1][0] / 8


def read_chroma(picture):
    """Mean Cb and Cr less 128 of a place amid the picture: of whole codes, and settled."""
    steps = np.arange(40, 216, 4.0)
    x, y = np.meshgrid(steps, steps)
    at = np.stack([x, y], axis=-1)[None]
    codes = picture.pixels[y.astype(int), x.astype(int)][None]
    shift, covariance = settle_chroma(picture, at, codes)
    mean = codes.reshape(-1, 3).mean(axis=0)
    return CHROMA_BY_RGB @ mean, CHROMA_BY_RGB @ (mean + shift[0]), covariance[0]


@pytest.mark.parametrize("subsampling", [0, 2], ids=["full", "halved"])
@pytest.mark.parametrize("quality", [75, 85, 92, 98])
@pytest.mark.parametrize("parts", [0, 1, 2, 3])
def test_settled_chroma_is_within_what_the_file_keeps_of_it(parts, quality, subsampling):
    for blue, red in ((128, 128), (131, 124), (122, 135)):
        image, true = dithered(120, blue, red, parts)
        content = saved(image, quality, subsampling)
        _, settled, _ = read_chroma(decode(content).picture)
        # Half the file's own step, and half an eighth for the eighths they are read in.
        assert np.abs(settled - true).max() <= chroma_step(content) / 2 + 1 / 16 + 0.01


def test_whole_codes_are_off_by_more_where_settled_ones_are_not():
    """Of greys between two codes, at qualities whose own steps are finer than a code."""
    coarse, fine = [], []
    for quality in (88, 90, DITHERED_AT_MOST):
        for parts in (1, 2, 3):
            image, true = dithered(150, 127, 128, parts)
            content = saved(image, quality, 0)
            assert chroma_step(content) < 0.7
            whole, settled, _ = read_chroma(decode(content).picture)
            coarse.append(np.abs(whole - true).max())
            fine.append(np.abs(settled - true).max())
    assert max(coarse) > 0.45
    assert np.mean(fine) < 0.6 * np.mean(coarse)


@pytest.mark.parametrize("quality", [75, 85, 92])
def test_the_stated_covariance_holds_what_is_left(quality):
    """Chroma drawn over two codes each way: squares of the error in its stated spread."""
    rng = np.random.default_rng(quality)
    squares = []
    for _ in range(40):
        blue, red = rng.integers(126, 131, 2)
        image, true = dithered(int(rng.integers(60, 200)), int(blue), int(red), rng.integers(4))
        _, settled, covariance = read_chroma(decode(saved(image, quality, 2)).picture)
        spread = np.diag(CHROMA_BY_RGB @ covariance @ CHROMA_BY_RGB.T)
        squares.append((settled - true) ** 2 / spread)
    # Rounding errors are rectangular: their mean square is stated, and none passes √3 of it much.
    assert np.mean(squares) < 1.5
    assert np.max(squares) < 5


def test_pictures_without_blocks_are_left_as_they_are():
    picture = Picture(
        pixels=np.full((SIZE, SIZE, 3), 90, np.uint8),
        light=np.stack([np.linspace(0, 1, 256)] * 3),
        primaries=np.eye(3),
        width=SIZE,
        height=SIZE,
    )
    whole, settled, covariance = read_chroma(picture)
    np.testing.assert_array_equal(whole, settled)
    # A flat field of whole codes: anything within half a code of it looks the same.
    np.testing.assert_allclose(covariance, np.eye(3) / 12)

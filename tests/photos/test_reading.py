"""From a simulated photograph's bytes to its windows, through the worker.

How right the colours are is held in the tests of ``colour.photo``; here it is that they come
through, whichever way the file keeps its picture.
"""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from colour.photo.sheet import sheet_target
from demo_cards.photographing.files import FileForm
from demo_cards.photographing.setups import plausible
from service.photos.desk import PhotoDesk
from tests.photos import picture_files as files


@pytest.fixture(scope="module")
def desk():
    with PhotoDesk() as desk:
        yield desk


@pytest.fixture(scope="module")
def photograph():
    dice = np.random.default_rng(3)
    set_up = plausible(
        dice, sheet_target(), frame=(2048, 1536), camera="matrix", form=FileForm(kind="png")
    )
    return set_up.take(dice)


def labs_of(read):
    return np.array([window.lab for window in read.windows])


def test_the_windows_of_the_sheet_are_read(desk, photograph):
    read = desk.read(photograph.content)
    assert [window.name for window in read.windows] == ["card", "master", "card 2"]
    assert read.size == (2048, 1536)
    assert read.target == sheet_target().name
    truth = np.array([photograph.truth[window.name] for window in read.windows])
    assert np.abs(labs_of(read) - truth).max() < 6
    np.testing.assert_allclose(read.outline, photograph.corners, atol=6)


@pytest.mark.parametrize("orientation", [3, 6, 7])
def test_a_file_kept_on_its_side_reads_the_same(desk, photograph, orientation):
    with Image.open(BytesIO(photograph.content)) as image:
        upright = image.convert("RGB")
    turns = {
        3: Image.Transpose.ROTATE_180,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
    }
    exif = Image.Exif()
    exif[0x0112] = orientation
    turned = files.saved(upright.transpose(turns[orientation]), "PNG", exif=exif)

    straight = desk.read(files.saved(upright, "PNG"))
    read = desk.read(turned)

    assert read.size == straight.size
    np.testing.assert_allclose(labs_of(read), labs_of(straight), atol=1e-9)
    np.testing.assert_allclose(read.outline, straight.outline, atol=1e-9)


def test_the_same_picture_in_16_bits_reads_alike(desk, photograph):
    with Image.open(BytesIO(photograph.content)) as image:
        codes = np.asarray(image.convert("RGB"))
    shallow = desk.read(files.saved(codes, "PNG"))
    deep = desk.read(files.png_16(codes.astype(np.uint16) * 257))
    np.testing.assert_allclose(labs_of(deep), labs_of(shallow), atol=0.1)
    assert "no_profile" in {remark.code for remark in deep.warnings}


def test_given_corners_serve_where_the_codes_would(desk, photograph):
    by_codes = desk.read(photograph.content)
    by_corners = desk.read(photograph.content, target=sheet_target(), corners=by_codes.outline)
    np.testing.assert_allclose(labs_of(by_corners), labs_of(by_codes), atol=0.5)

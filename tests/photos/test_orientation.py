"""Pictures stand upright whatever way the camera was held."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image, ImageOps

from service.photos.decode import decode, describe

PIXELS = np.random.default_rng(5).integers(0, 256, (24, 40, 3), dtype=np.uint8)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP", "JPEG"])
def test_each_exif_orientation_is_turned_upright_as_pillow_turns_it(kind, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    file = BytesIO()
    options = {"WEBP": {"lossless": True}, "JPEG": {"quality": 100, "subsampling": 0}}
    Image.fromarray(PIXELS).save(file, kind, exif=exif, **options.get(kind, {}))
    with Image.open(BytesIO(file.getvalue())) as image:
        upright = np.asarray(ImageOps.exif_transpose(image))

    picture = decode(file.getvalue()).picture
    described = describe(file.getvalue())

    np.testing.assert_array_equal(picture.pixels, upright)
    assert (picture.height, picture.width) == upright.shape[:2]
    assert (described.height, described.width) == upright.shape[:2]

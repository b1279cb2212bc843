"""Photographs over the API: what is taken, under which name, and what is shown of them."""

import struct
import zlib
from hashlib import sha256
from io import BytesIO

import pytest
from PIL import Image, ImageCms

from service.web.pictures import MOST_BYTES
from tests.web_shop import new_id

ORIENTATION, MAKER, PLACE = 0x0112, 0x010F, 0x8825  # Exif 2.32 tags


def encoded(kind="JPEG", size=(60, 40), mode="RGB", colour=(200, 40, 30), **options):
    out = BytesIO()
    Image.new(mode, size, colour).save(out, kind, **options)
    return out.getvalue()


def with_exif(orientation=1):
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    exif[MAKER] = "An invented maker"
    exif.get_ifd(PLACE)[1] = "N"
    out = BytesIO()
    image = Image.new("RGB", (60, 40), (0, 0, 255))
    image.paste((255, 0, 0), (0, 0, 30, 40))  # left half red as stored
    image.save(out, "JPEG", quality=95, exif=exif)
    return out.getvalue()


def put(client, content, name=None):
    return client.put(f"/api/photos/{name or sha256(content).hexdigest()}", content=content)


def picture_shown(client, content, width=100):
    sha = put(client, content).json()["sha256"]
    return Image.open(BytesIO(client.get(f"/api/photos/{sha}?width={width}").content))


@pytest.mark.parametrize(
    ("kind", "media_type"),
    [
        ("JPEG", "image/jpeg"),
        ("PNG", "image/png"),
        ("WEBP", "image/webp"),
        ("TIFF", "image/tiff"),
    ],
)
def test_a_photograph_is_stored_and_attached_by_what_the_answer_says(hand, kind, media_type):
    content = encoded(kind)
    first, again = (put(hand.client, content) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert first.json()["media_type"] == media_type
    assert (first.json()["width"], first.json()["height"]) == (60, 40)
    card = hand.card(hand.batch())
    hand.did("attach-photo", job_id=hand.job, card_id=card, caption="wet", **first.json())


def test_what_is_shown_is_a_jpeg_without_what_the_camera_wrote(web_shop, manager):
    """OWASP ASVS 5.0, 5.2.6 and 14.2.8: metadata stays behind, the stored bytes do not change."""
    content = with_exif()
    sha = put(manager, content).json()["sha256"]
    answer = manager.get(f"/api/photos/{sha}")
    assert answer.headers["content-type"] == "image/jpeg"
    assert b"invented maker" not in answer.content
    picture = Image.open(BytesIO(answer.content))
    assert picture.format == "JPEG"
    assert dict(picture.getexif()) == {}
    assert web_shop.photos.content[sha] == content


def test_a_photograph_answers_nothing_but_a_picture(manager):
    """The content route of its own: ASVS 5.0, 3.2.1."""
    sha = put(manager, encoded()).json()["sha256"]
    headers = manager.get(f"/api/photos/{sha}").headers
    assert headers["content-security-policy"] == "default-src 'none'; sandbox"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"].startswith("private")


def test_a_photograph_that_lies_on_its_side_is_set_upright_once(manager):
    """Exif 2.32: orientation 6 means turn it clockwise, so the left half comes to the top."""
    content = with_exif(orientation=6)
    stored = put(manager, content).json()
    assert (stored["width"], stored["height"]) == (40, 60)
    answer = manager.get(f"/api/photos/{stored['sha256']}")
    picture = Image.open(BytesIO(answer.content))
    assert picture.size == (40, 60)
    red, _, blue = picture.getpixel((20, 5))
    assert red > 200 and blue < 60


def test_a_photograph_is_shown_at_most_so_wide(manager):
    sha = put(manager, encoded(size=(800, 400))).json()["sha256"]
    answer = manager.get(f"/api/photos/{sha}?width=200")
    assert Image.open(BytesIO(answer.content)).size == (200, 100)
    assert manager.get(f"/api/photos/{sha}?width=5").status_code == 422


def test_a_profile_is_applied_and_not_just_dropped(manager):
    """Lab has a profile in Pillow's own library (LittleCMS); sRGB stays what it is."""
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    content = encoded("PNG", colour=(120, 60, 200), icc_profile=srgb)
    red, green, blue = picture_shown(manager, content).getpixel((10, 10))
    assert (red, green, blue) == pytest.approx((120, 60, 200), abs=4)


def test_bytes_under_another_name_are_refused_with_their_own(manager):
    content = encoded()
    answer = put(manager, content, "0" * 64)
    assert answer.status_code == 422
    assert sha256(content).hexdigest() in answer.json()["detail"]


@pytest.mark.parametrize("name", ["..%2F..%2Fetc%2Fpasswd", "A" * 64, "0" * 63, "z" * 64])
def test_a_name_that_is_no_sha256_is_refused(manager, name):
    for answer in (manager.get(f"/api/photos/{name}"), put(manager, b"x", name)):
        assert answer.status_code in (404, 422)


def test_a_photograph_nobody_stored_is_not_there(manager):
    assert manager.get(f"/api/photos/{'0' * 64}").status_code == 404


NO_PHOTOS = {
    "nothing": b"",
    "text": b"<svg xmlns='http://www.w3.org/2000/svg'/>",
    "a GIF": encoded("GIF"),
    "a BMP": encoded("BMP"),
}


@pytest.mark.parametrize("content", NO_PHOTOS.values(), ids=NO_PHOTOS)
def test_what_is_no_photograph_is_refused_by_its_content(manager, content):
    answer = put(manager, content)
    assert answer.status_code == 415
    assert "Send a JPEG, PNG, TIFF, WebP or HEIC photograph." in answer.json()["detail"]


def bomb(width, height):
    """A PNG (ISO/IEC 15948) of a few bytes whose header claims so many pixels."""

    def chunk(kind, content):
        check = zlib.crc32(kind + content)
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", check)

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    pixels = chunk(b"IDAT", zlib.compress(b"\0"))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + pixels + chunk(b"IEND", b"")


@pytest.mark.parametrize("size", [(13_000, 10_001), (100_000, 100_000), (2**31 - 1, 2**31 - 1)])
def test_a_picture_of_too_many_pixels_is_refused_before_it_is_decoded(manager, size):
    answer = put(manager, bomb(*size))
    assert answer.status_code == 415


def test_a_damaged_photograph_is_refused_when_it_is_shown(web_shop, manager):
    sha = web_shop.photos.put(bomb(60, 40))
    answer = manager.get(f"/api/photos/{sha}")
    assert answer.status_code == 415
    assert "damaged" in answer.json()["detail"]


def test_a_file_over_its_limit_is_cut_off(web_shop, manager):
    def pieces():
        for _ in range(MOST_BYTES // 2**20 + 2):
            yield b"\0" * 2**20

    answer = manager.put(f"/api/photos/{'0' * 64}", content=pieces())
    assert answer.status_code == 413
    assert not web_shop.photos.content


def test_a_large_photograph_is_taken_though_other_bodies_are_kept_small(manager):
    content = encoded("PNG", size=(1200, 1100), mode="RGB") + bytes(3 * 2**20)
    assert put(manager, content).status_code == 201


def test_transparent_and_grey_pictures_become_plain_rgb(manager):
    for mode, colour in (("RGBA", (10, 200, 10, 128)), ("L", 90), ("P", 3), ("CMYK", (0, 0, 0, 9))):
        kind = "JPEG" if mode == "CMYK" else "PNG"
        picture = picture_shown(manager, encoded(kind, mode=mode, colour=colour))
        assert picture.mode == "RGB"


def test_a_picture_is_described_without_its_name(manager):
    stored = put(manager, encoded("WEBP", size=(17, 19))).json()
    assert (stored["media_type"], stored["width"], stored["height"]) == ("image/webp", 17, 19)


def test_the_id_of_an_attachment_is_the_clients(hand):
    stored = put(hand.client, encoded()).json()
    id = new_id()
    hand.did("attach-photo", id=id, job_id=hand.job, card_id=hand.card(hand.batch()), **stored)
    photos = hand.client.get(f"/api/jobs/{hand.job}").json()["records"]["photos"]
    assert [photo["id"] for photo in photos] == [id]

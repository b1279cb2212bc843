"""Files made to do harm are refused within limits, and the next photograph is answered.

All of them go through one worker, whose memory is looked at in the end. Times are guards against
hanging only; what refusals take is measured in the benchmark.
"""

import struct
import sys
import time
import zlib
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import numpy as np
import pytest
from PIL import Image

from colour.photo.outcome import PhotoRefused
from service.photos.desk import PhotoDesk
from tests.photos import picture_files as files

MOST_RESIDENT = 400 * 10**6
GUARD_SECONDS = 30.0
DICE = np.random.default_rng(11)

GOOD = files.saved(files.smooth(1200, 900), "JPEG", quality=90)
GOOD_PNG = files.saved(files.smooth(300, 200), "PNG")
GOOD_TIFF = files.saved(files.smooth(300, 200), "TIFF", compression="tiff_adobe_deflate")
GOOD_WEBP = files.saved(files.smooth(300, 200), "WEBP")
KINDS = {"JPEG": GOOD, "PNG": GOOD_PNG, "TIFF": GOOD_TIFF, "WEBP": GOOD_WEBP}


@pytest.fixture(scope="module")
def desk():
    with PhotoDesk() as desk:
        yield desk
        worker = memory_of(desk)
        if worker is not None:
            assert worker < MOST_RESIDENT


def memory_of(desk):
    """The most that the worker has ever held (Linux), in bytes."""
    status = Path(f"/proc/{process_of(desk).pid}/status")
    if not status.exists():
        return None
    [line] = [line for line in status.read_text().splitlines() if line.startswith("VmHWM")]
    return int(line.split()[1]) * 1024


def process_of(desk):
    return desk._free[0]._process


WHY_NO_TARGET = {"blurred", "underexposed", "overexposed"}


def reasons_of(desk, content):
    """Codes of the refusal, after which an honest photograph is still described."""
    started = time.monotonic()
    with pytest.raises(PhotoRefused) as refusal:
        desk.read(content)
    assert time.monotonic() - started < GUARD_SECONDS
    assert all(len(reason.message) > 20 for reason in refusal.value.reasons)
    assert desk.describe(GOOD).width == 1200
    assert process_of(desk) is None or memory_of(desk) is None or memory_of(desk) < MOST_RESIDENT
    codes = {reason.code for reason in refusal.value.reasons}
    # Where no sheet is found, what may be why is said beside it.
    return codes - WHY_NO_TARGET if "no_target" in codes else codes


def zipped():
    file = BytesIO()
    with ZipFile(file, "w") as archive:
        archive.writestr("run.html", "<script>alert(1)</script>")
    return file.getvalue()


NO_IMAGES = {
    "nothing": b"",
    "one byte": b"\xff",
    "random bytes": DICE.bytes(50_000),
    "the start of a JPEG alone": b"\xff\xd8",
    "SVG": b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"/>',
    "SVG after spaces": b'\xef\xbb\xbf \n<svg onload="alert(1)"/>',
    "PDF": b"%PDF-1.7\n%\xe2\xe3",
    "a web page": b"<!DOCTYPE html><html><script>alert(1)</script></html>",
    "GIF": files.saved(files.smooth(20, 20), "GIF"),
    "BMP": files.saved(files.smooth(20, 20), "BMP"),
    "an archive before a JPEG": zipped() + GOOD,
    "a video": b"\x00\x00\x00\x18ftypmp42" + bytes(100),
    "AVIF": b"\x00\x00\x00\x18ftypavif" + bytes(100),
    "BigTIFF": b"II+\x00\x08\x00\x00\x00" + bytes(100),
    "PostScript": b"%!PS-Adobe-3.0 EPSF-3.0\n",
}


@pytest.mark.parametrize("content", NO_IMAGES.values(), ids=NO_IMAGES)
def test_what_is_no_photograph_is_told_by_its_content(desk, content):
    assert reasons_of(desk, content) == {"not_an_image"}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("share", [0.02, 0.1, 0.35, 0.6, 0.9, 0.99])
def test_a_photograph_cut_short_is_damaged(desk, kind, share):
    content = KINDS[kind]
    assert reasons_of(desk, content[: int(len(content) * share)]) == {"damaged"}


@pytest.mark.parametrize("kind", KINDS)
def test_bytes_changed_anywhere_never_end_in_anything_but_an_answer(desk, kind):
    """Whatever they decode to, there is no sheet in it."""
    dice = np.random.default_rng(len(kind))
    for _ in range(25):
        content = bytearray(KINDS[kind])
        for at in dice.integers(8, min(len(content), 2000), 6):
            content[at] = dice.integers(256)
        assert reasons_of(desk, bytes(content)) <= {
            "damaged", "no_target", "too_large", "unsupported", "not_an_image", "too_long",
        }  # fmt: skip


def huge_tiff(width, height):
    """A TIFF (revision 6.0) of little-endian entries that claims a size and holds nothing."""
    entries = [(256, 4, width), (257, 4, height), (258, 3, 8), (259, 3, 1), (262, 3, 1),
               (273, 4, 8), (277, 3, 1), (278, 4, height), (279, 4, 10)]  # fmt: skip
    table = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in entries)
    return b"II*\x00\x08\x00\x00\x00" + struct.pack("<H", len(entries)) + table + bytes(4)


def huge_jpeg():
    """A JPEG that says 65500 by 65500 in its frame header."""
    at = GOOD.index(b"\xff\xc0")
    return GOOD[: at + 5] + struct.pack(">HH", 65500, 65500) + GOOD[at + 9 :]


def huge_webp():
    head = b"VP8X" + struct.pack("<I", 10) + bytes(4) + b"\xff\x3f\x00" * 2
    body = b"WEBP" + head
    return b"RIFF" + struct.pack("<I", len(body)) + body


TOO_LARGE = {
    "a PNG bomb of 2500 megapixels": lambda: files.png(
        50_000, 50_000, files.zeros_packed(200_000_000)
    ),
    "a PNG of 100 megapixels": lambda: files.png(
        10_000, 10_000, files.zeros_packed(10_000 * 30_001)
    ),
    "a PNG of 16 bits and 49 megapixels": lambda: files.png(
        7000, 7000, files.zeros_packed(1_000_000), depth=16
    ),
    "a JPEG that claims 4290 megapixels": huge_jpeg,
    "a TIFF that claims 1000 megapixels": lambda: huge_tiff(100_000, 10_000),
    "a progressive JPEG of 60 megapixels": lambda: files.saved(
        Image.new("RGB", (10_000, 6000)), "JPEG", progressive=True, subsampling=0
    ),
    "a file of 41 MiB": lambda: GOOD + bytes(41 * 2**20),
}


@pytest.mark.parametrize("make", TOO_LARGE.values(), ids=TOO_LARGE)
def test_what_would_take_too_much_memory_is_refused(desk, make):
    assert reasons_of(desk, make()) == {"too_large"}


@pytest.mark.skipif(sys.platform != "linux", reason="memory is limited by the system on Linux only")
def test_memory_that_no_estimate_foresaw_is_refused_by_the_system(monkeypatch):
    """With the limits by pixels taken out of the worker, it stays small all the same."""
    boundless = (
        "from service.photos import opening, worker;"
        "opening.MOST_MEMORY = opening.MOST_PIXELS = 10**12; worker.main()"
    )
    monkeypatch.setattr("service.photos.desk.PROGRAM", ("-c", boundless))
    content = files.png(30_000, 4000, files.zeros_packed(4000 * 90_001))
    with PhotoDesk() as desk:
        for _ in range(2):
            with pytest.raises(PhotoRefused) as refusal:
                desk.read(content)
            assert {reason.code for reason in refusal.value.reasons} == {"too_large"}
        assert 100 * 10**6 < memory_of(desk) < MOST_RESIDENT


def test_a_jpeg_of_very_many_scans_is_ended_by_its_processor_time(desk):
    bomb = files.scan_bomb(6000, 5000, 20_000)
    assert reasons_of(desk, bomb) == {"too_long"}


ABSURD = {
    "a TIFF whose directory never ends": b"II*\x00\x08\x00\x00\x00" + b"\xff\xff" + bytes(300),
    "a TIFF whose directory is itself": b"II*\x00\x08\x00\x00\x00\x00\x00\x08\x00\x00\x00",
    "a TIFF of absurd tags": huge_tiff(64, 64).replace(
        struct.pack("<HHII", 258, 3, 1, 8), struct.pack("<HHII", 258, 12, 0x7FFFFFFF, 0xFFFFFFF0)
    ),
    "a WebP that claims a canvas of 268 megapixels": huge_webp(),
    "a PNG whose profile is a bomb": files.png(
        40, 30, files.zeros_packed(30 * 121),
        more=files.png_chunk(b"iCCP", b"p\x00\x00" + files.zeros_packed(200_000_000)),
    ),
    "a PNG of no size": files.png(0, 0, files.zeros_packed(1)),
    "a PNG with a broken checksum": GOOD_PNG[:30] + b"\x00\x00\x00\x00" + GOOD_PNG[34:],
    "a HEIC of nothing": b"\x00\x00\x00\x18ftypheic" + bytes(200),
}  # fmt: skip


@pytest.mark.parametrize("content", ABSURD.values(), ids=ABSURD)
def test_absurd_values_are_damage(desk, content):
    assert reasons_of(desk, content) <= {"damaged", "too_large", "not_an_image", "unsupported"}


def pages(count):
    """A TIFF of very many directories, each leading to the next."""
    page = huge_tiff(8, 8)[8:]
    parts = [b"II*\x00\x08\x00\x00\x00"]
    for number in range(count):
        following = 8 + (number + 1) * len(page) if number < count - 1 else 0
        parts.append(page[:-4] + struct.pack("<I", following))
    return b"".join(parts)


HOLDING_MORE = {
    "an archive behind it": GOOD + zipped(),
    "a web page behind it": GOOD + b"<html><script>alert(1)</script></html>",
    "a web page in its comment": GOOD[:2]
    + b"\xff\xfe"
    + struct.pack(">H", 27)
    + b"<script>alert(1)</script>"
    + GOOD[2:],
    "a broken profile": files.saved(files.smooth(1200, 900), "JPEG", icc_profile=b"x" * 3000),
    "broken Exif": files.saved(
        files.smooth(1200, 900), "JPEG", exif=b"Exif\x00\x00MM\x00*\xff\xff\xff\xff"
    ),
    "Exif of very many entries": files.saved(
        files.smooth(1200, 900),
        "JPEG",
        exif=b"Exif\x00\x00MM\x00*\x00\x00\x00\x08\xff\xff" + bytes(60),
    ),
}  # fmt: skip


@pytest.mark.parametrize("content", HOLDING_MORE.values(), ids=HOLDING_MORE)
def test_what_else_a_photograph_carries_is_passed_over(desk, content):
    described = desk.describe(content)
    assert (described.media_type, described.width, described.height) == ("image/jpeg", 1200, 900)
    shown = desk.shown(content, 400)
    with Image.open(BytesIO(shown)) as picture:
        assert (picture.format, picture.size) == ("JPEG", (400, 300))
        assert not picture.info.keys() & {"exif", "icc_profile", "comment", "xmp"}
    assert b"script" not in shown and b"PK\x03\x04" not in shown
    assert reasons_of(desk, content) == {"no_target"}


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_a_picture_of_one_pixel_holds_no_target(desk, kind):
    assert "no_target" in reasons_of(desk, files.saved(Image.new("RGB", (1, 1)), kind))


def test_a_tiff_of_very_many_pages_is_read_as_its_first(desk):
    content = pages(20_000)
    assert desk.describe(content).width == 8
    assert reasons_of(desk, content) <= {"no_target", "damaged"}


def test_a_small_bomb_of_rows_is_damage(desk):
    """More rows packed than the head speaks of."""
    content = files.png(100, 100, zlib.compress(bytes(50_000_000), 9))
    assert reasons_of(desk, content) <= {"damaged", "no_target"}

"""What reading a photograph of 12 megapixels costs, against decoding it once with Pillow.

Run: python tests/benchmarks/bench_photos.py

Goals: photograph to readings in a running process at most 1.5 times that decode into an array,
with at most 120 MiB more memory. Hostile files: answered within 2 s, the worker below 400 MB.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[2]))

from colour.photo.outcome import PhotoRefused
from colour.photo.sheet import sheet_target
from demo_cards.photographing.files import FileForm
from demo_cards.photographing.setups import plausible
from service.photos.decode import decode
from service.photos.desk import PhotoDesk
from service.photos.markers import find_codes
from service.photos.reading import read
from tests.photos import picture_files as files

RUNS = 9


def timed(do: Callable[[], object], runs: int = RUNS) -> float:
    """Median seconds, after one run to warm up."""
    do()
    times = []
    for _ in range(runs):
        started = time.perf_counter()
        do()
        times.append(time.perf_counter() - started)
    return statistics.median(times)


def refused(do: Callable[[], object]) -> str:
    try:
        do()
    except PhotoRefused as refusal:
        return ", ".join(reason.code for reason in refusal.reasons)
    return "answered"


def most_held(desk: PhotoDesk, which: str = "VmHWM") -> float:
    """MiB of the worker, or nan where the system does not tell."""
    process = desk._free[0]._process
    status = Path(f"/proc/{process.pid if process else 0}/status")
    if not status.exists():
        return float("nan")
    [line] = [line for line in status.read_text().splitlines() if line.startswith(which)]
    return int(line.split()[1]) / 1024


def photograph(quality: int) -> bytes:
    """A simulated photograph that is read without a refusal."""
    for seed in range(20):
        dice = np.random.default_rng(seed)
        form = FileForm(quality=quality)
        set_up = plausible(dice, sheet_target(), frame=(4032, 3024), form=form)
        content = set_up.take(dice).content
        with suppress(PhotoRefused):
            read(content, None, None, lambda code: None)
            return content
    raise SystemExit("no simulated photograph is read; the reading is at fault, not its speed")


def ways(content: bytes) -> None:
    picture = decode(content).picture
    decoded = timed(lambda: np.asarray(Image.open(BytesIO(content))))
    alone = timed(lambda: Image.open(BytesIO(content)).load())
    with PhotoDesk() as desk:
        desk.describe(content)
        before = most_held(desk, "VmRSS")
        rows = [
            ("Pillow, to an array (yardstick)", decoded),
            ("of that, before it is an array", alone),
            ("decode", timed(lambda: decode(content))),
            ("markers", timed(lambda: find_codes(picture))),
            ("decode, markers and reading, here", timed(lambda: here(content))),
            ("the same by a running worker", timed(lambda: desk.read(content))),
            ("describe, by the worker", timed(lambda: desk.describe(content))),
            ("shown at 1200 pixels, by the worker", timed(lambda: desk.shown(content, 1200))),
        ]
        print(f"A JPEG of 12 megapixels, {len(content) / 1e6:.1f} MB; medians of {RUNS}")
        for name, seconds in rows:
            print(f"  {name:38s} {seconds * 1e3:7.1f} ms  {seconds / decoded:5.2f} x")
        extra = most_held(desk) - before
        print(f"  extra memory of the worker at most     {extra:7.1f} MiB")


def here(content: bytes) -> object:
    return read(content, None, None, lambda code: None)


def cold(content: bytes) -> None:
    def once() -> None:
        with PhotoDesk() as desk:
            desk.describe(content)

    def once_read() -> None:
        with PhotoDesk() as desk:
            desk.read(content)

    print("A desk for one photograph: started, asked, closed")
    print(f"  describe {timed(once, 5) * 1e3:7.1f} ms")
    print(f"  read     {timed(once_read, 5) * 1e3:7.1f} ms")


HOSTILE = {
    "PNG bomb of 2500 megapixels": lambda: files.png(50_000, 50_000, files.zeros_packed(10**8)),
    "PNG of 40 megapixels of zeros": lambda: files.png(
        8000, 5000, files.zeros_packed(5000 * 24_001)
    ),
    "PNG of 16 bits, 28 megapixels": lambda: files.png(
        7000, 4000, files.zeros_packed(4000 * 42_001), depth=16
    ),
    "progressive JPEG, 40 megapixels": lambda: files.saved(
        files.smooth(8000, 5000), "JPEG", progressive=True, subsampling=0
    ),
    "JPEG of 108 megapixels": lambda: files.saved(files.smooth(12_000, 9000), "JPEG"),
    "JPEG of 20 000 scans": lambda: files.scan_bomb(6000, 5000, 20_000),
    "WebP of 15 megapixels": lambda: files.saved(files.smooth(5000, 3000), "WEBP", method=0),
    "random bytes": lambda: np.random.default_rng(0).bytes(10**7),
    "12 megapixels of noise": lambda: files.saved(
        np.random.default_rng(0).integers(0, 256, (3000, 4000, 3), dtype=np.uint8),
        "JPEG",
        quality=95,
    ),
}  # fmt: skip


def hostile() -> None:
    print("Files made to do harm: seconds until the answer, and the most the worker held")
    for name, make in HOSTILE.items():
        content = make()
        with PhotoDesk() as desk:
            desk.describe(files.saved(files.smooth(64, 48), "JPEG"))
            started = time.perf_counter()
            what = refused(lambda content=content: desk.read(content))
            seconds = time.perf_counter() - started
            held = most_held(desk)
        print(f"  {name:34s} {len(content) / 1e6:6.1f} MB {seconds:6.2f} s {held:6.0f} MiB  {what}")


if __name__ == "__main__":
    for quality in (88, 96):  # a light file and one as large as phones mostly make
        ways(photograph(quality))
    cold(photograph(96))
    hostile()

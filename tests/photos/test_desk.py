"""The desk: its worker is warm, bounded, replaced when it dies, and gone when the desk is."""

import os
import signal
import subprocess
import sys
import threading
import time
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from colour.photo.outcome import PhotoRefused
from colour.photo.sheet import sheet_target
from service.domain.refused import Invalid
from service.photos.desk import PhotoDesk
from tests.photos import picture_files as files
from tests.photos.test_markers import Sheet, sheet_texts

PICTURE = files.saved(files.smooth(640, 480), "JPEG", quality=90)
POSIX = pytest.mark.skipif(os.name != "posix", reason="signals and forks of POSIX")


@pytest.fixture
def desk():
    with PhotoDesk() as desk:
        yield desk


@pytest.fixture
def slow(monkeypatch):
    """Workers that say they are ready, and then take two seconds over everything."""
    program = (
        "import time; from service.photos import worker; done = worker._done;"
        "worker._done = lambda *asked: (time.sleep(2), done(*asked))[1]; worker.main()"
    )
    monkeypatch.setattr("service.photos.desk.PROGRAM", ("-c", program))


def process_of(desk):
    [worker] = desk._free
    return worker._process


def codes_of(call, *arguments, **named):
    with pytest.raises(PhotoRefused) as refusal:
        call(*arguments, **named)
    return [reason.code for reason in refusal.value.reasons]


def test_one_process_answers_one_photograph_after_the_other(desk):
    described = desk.describe(PICTURE)
    assert (described.media_type, described.width, described.height) == ("image/jpeg", 640, 480)
    first = process_of(desk).pid
    desk.shown(PICTURE, 200)
    assert process_of(desk).pid == first


def test_nothing_is_started_before_the_first_photograph():
    with PhotoDesk() as desk:
        assert desk._free == []
        assert codes_of(desk.describe, b"no photograph") == ["not_an_image"]
        assert desk._free == []


def test_warming_starts_a_worker_ahead():
    with PhotoDesk() as desk:
        desk.warm()
        started = process_of(desk).pid
        desk.describe(PICTURE)
        assert process_of(desk).pid == started


@POSIX
@pytest.mark.parametrize("signalled", [signal.SIGKILL, signal.SIGSEGV])
def test_a_worker_that_died_meanwhile_is_replaced_unnoticed(desk, signalled):
    desk.describe(PICTURE)
    first = process_of(desk)
    os.kill(first.pid, signalled)
    first.wait(timeout=10)
    assert desk.describe(PICTURE).width == 640
    assert process_of(desk).pid != first.pid


@POSIX
def test_a_worker_killed_over_a_photograph_refuses_that_one_and_answers_the_next(slow):
    with PhotoDesk() as desk:
        desk.warm()
        pid = process_of(desk).pid
        killer = threading.Timer(1.0, os.kill, (pid, signal.SIGKILL))
        killer.start()
        assert codes_of(desk.describe, PICTURE) == ["unreadable"]
        killer.join()
        assert desk.describe(PICTURE).width == 640
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)  # not even a zombie


def test_a_photograph_that_takes_too_long_by_the_clock_is_refused(slow):
    with PhotoDesk(patience=0.5) as desk:
        assert codes_of(desk.describe, PICTURE) == ["too_long"]


@POSIX
def test_processor_time_runs_out_before_patience_does(monkeypatch):
    program = (
        "import time; from service.photos import worker\n"
        "worker.SECONDS_PER_LOADING = 0\n"
        "def done(*asked):\n while True: pass\n"
        "worker._done = done; worker.main()"
    )
    monkeypatch.setattr("service.photos.desk.PROGRAM", ("-c", program))
    with PhotoDesk(seconds=0.2, patience=60) as desk:
        with pytest.raises(PhotoRefused, match="processor time") as refusal:
            desk.describe(PICTURE)
        assert refusal.value.reasons[0].code == "too_long"


def test_waiting_costs_no_processor_time(slow):
    """A machine under load must not refuse an honest photograph."""
    with PhotoDesk(seconds=1.5) as desk:
        assert desk.describe(PICTURE).width == 640


def test_a_fault_of_the_program_is_logged_and_refused_in_words(monkeypatch, caplog):
    program = (
        "from service.photos import worker; worker._done = lambda *asked: 1 / 0; worker.main()"
    )
    monkeypatch.setattr("service.photos.desk.PROGRAM", ("-c", program))
    with PhotoDesk() as desk:
        assert codes_of(desk.describe, PICTURE) == ["unreadable"]
    assert "ZeroDivisionError" in caplog.text


def test_a_worker_that_cannot_start_says_how_to_find_out_why(monkeypatch):
    monkeypatch.setattr("service.photos.desk.PROGRAM", ("-c", "raise SystemExit(3)"))
    with PhotoDesk() as desk, pytest.raises(RuntimeError, match=r"exit code 3.*to see why"):
        desk.describe(PICTURE)


def test_many_threads_are_answered_each_with_its_own():
    widths = list(range(100, 108))
    answers = {}

    def ask(desk, width):
        content = files.saved(files.smooth(width, 50), "PNG")
        answers[width] = [desk.describe(content).width for _ in range(5)]

    with PhotoDesk(workers=2, waiting=len(widths)) as desk:
        threads = [threading.Thread(target=ask, args=(desk, width)) for width in widths]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(desk._free) <= 2
    assert answers == {width: [width] * 5 for width in widths}


def test_more_than_may_wait_are_told_to_come_back(slow):
    with PhotoDesk(workers=1, waiting=0) as desk:
        reader = threading.Thread(target=desk.describe, args=(PICTURE,))
        reader.start()
        time.sleep(0.5)
        assert codes_of(desk.describe, PICTURE) == ["busy"]
        reader.join()


def test_closing_ends_the_process(desk):
    desk.describe(PICTURE)
    process = process_of(desk)
    desk.close()
    assert process.returncode == 0
    with pytest.raises(RuntimeError, match="closed"):
        desk.describe(PICTURE)


@POSIX
def test_a_desk_left_open_leaves_no_process_behind():
    program = (
        "from service.photos.desk import PhotoDesk; desk = PhotoDesk();"
        f"desk.describe({PICTURE!r}); print(desk._free[0]._process.pid)"
    )
    ended = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=True
    )
    assert ended.stderr == ""
    assert gone(int(ended.stdout))


@POSIX
def test_a_desk_whose_process_is_killed_leaves_none_behind():
    program = (
        "import os; from service.photos.desk import PhotoDesk; desk = PhotoDesk();"
        f"desk.describe({PICTURE!r}); print(desk._free[0]._process.pid, flush=True);"
        "os.kill(os.getpid(), 9)"
    )
    ended = subprocess.run([sys.executable, "-c", program], capture_output=True, timeout=60)
    assert gone(int(ended.stdout))


def gone(pid):
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        status = Path(f"/proc/{pid}/stat")
        # Its new parent may be slow to take note; a zombie holds nothing.
        if status.exists() and status.read_text().rpartition(")")[2].split()[0] == "Z":
            return True
        time.sleep(0.05)
    return False


@POSIX
@pytest.mark.filterwarnings("ignore:.*multi-threaded.*:DeprecationWarning")
def test_after_a_fork_the_child_has_a_worker_of_its_own(desk):
    desk.describe(PICTURE)
    pid = process_of(desk).pid
    child = os.fork()
    if child == 0:
        try:
            right = desk.describe(PICTURE).width == 640 and process_of(desk).pid != pid
            desk.close()
            os._exit(0 if right else 1)
        finally:
            os._exit(2)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert desk.describe(PICTURE).width == 640
    assert process_of(desk).pid == pid


@POSIX
def test_ctrl_c_leaves_the_worker_to_the_desk(desk):
    desk.describe(PICTURE)
    os.kill(process_of(desk).pid, signal.SIGINT)
    time.sleep(0.2)
    assert desk.describe(PICTURE).width == 640


@pytest.mark.parametrize("width", [0, 15, 4097])
def test_a_width_that_is_no_use_is_refused(desk, width):
    with pytest.raises(Invalid, match=f"{width}. Ask for 16 to 4096"):
        desk.shown(PICTURE, width)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_what_is_shown_stands_upright_and_says_nothing_more(desk, orientation):
    pixels = np.zeros((300, 400, 3), np.uint8)
    pixels[:100, :150] = (250, 20, 20)
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "maker"
    exif.get_ifd(0x8825)[1] = "N"
    content = files.saved(pixels, "JPEG", exif=exif, comment=b"secret", quality=95)

    with Image.open(BytesIO(desk.shown(content, 200))) as shown:
        assert shown.width == 200
        assert not shown.getexif()
        assert not shown.info.keys() & {"exif", "icc_profile", "comment", "xmp"}
        red = np.asarray(shown)[..., 0] > 128
    height, width = red.shape
    rows, columns = np.nonzero(red)
    # As Exif 2.32, tag 274 has it: where the file's first row and first column come to lie.
    top = orientation in (1, 2, 5, 6)
    left = orientation in (1, 4, 5, 8)
    assert (rows.mean() < height / 2, columns.mean() < width / 2) == (top, left)


def test_a_picture_smaller_than_asked_for_is_not_blown_up(desk):
    with Image.open(BytesIO(desk.shown(PICTURE, 2000))) as shown:
        assert shown.size == (640, 480)


def test_wide_colours_are_shown_in_srgb(desk):
    """Against LittleCMS on the whole picture; the JPEG made anew costs a few codes."""
    from tests.photos.test_profile import P3

    flat = Image.new("RGB", (64, 64), (30, 200, 90))
    with Image.open(BytesIO(desk.shown(files.saved(flat, "PNG", icc_profile=P3), 64))) as shown:
        seen = np.asarray(shown, float).mean((0, 1))
    expected = ImageCms.profileToProfile(
        flat, ImageCms.ImageCmsProfile(BytesIO(P3)), ImageCms.createProfile("sRGB")
    )
    np.testing.assert_allclose(seen, np.asarray(expected)[0, 0], atol=3)


@pytest.mark.parametrize(
    "make",
    [
        lambda codes: files.png_16(codes),
        lambda codes: files.tiff_16(codes),
        lambda codes: files.png_16(codes[..., 0]),
    ],
    ids=["PNG", "TIFF", "grey"],
)
def test_deep_pictures_are_shown_too(desk, make):
    codes = np.full((50, 60, 3), 40_000, np.uint16)
    with Image.open(BytesIO(desk.shown(make(codes), 60))) as shown:
        np.testing.assert_allclose(np.asarray(shown, float).mean((0, 1)), 40_000 / 257, atol=2)


def sheet_photograph(**sheet):
    """A sheet of which nothing is printed but its codes."""
    return files.saved(Sheet().picture(**sheet), "JPEG", quality=95)


def test_a_sheet_without_its_patches_is_refused_by_what_is_wrong_with_it(desk):
    codes = codes_of(desk.read, sheet_photograph())
    assert codes
    assert not set(codes) & {"no_target", "unreadable"}


def test_a_registered_print_is_asked_for_by_its_code():
    asked = []

    class Prints(dict):
        def get(self, code, default=None):
            asked.append(code)
            return super().get(code, default)

    photograph = sheet_photograph(texts=sheet_texts("A4", "7K2M"))
    target = replace(sheet_target("a4", "7K2M"), values="measured")
    with PhotoDesk() as desk:
        codes_of(desk.read, photograph, targets=Prints({"7K2M": target}))
    assert asked == ["7K2M"]


def test_codes_of_two_sheets_are_refused(desk):
    texts = {**sheet_texts(), "KC/A4/TL/7K2M": (140.0, 100.0)}
    assert codes_of(desk.read, sheet_photograph(texts=texts)) == ["several_targets"]


def test_a_sheet_in_a_mirror_is_refused(desk):
    mirrored = np.ascontiguousarray(Sheet().picture()[:, ::-1])
    assert codes_of(desk.read, files.saved(mirrored, "PNG")) == ["mirrored"]


def test_corners_that_are_no_outline_are_refused(desk):
    crossed = [(0, 0), (600, 400), (600, 0), (0, 400)]
    assert codes_of(desk.read, PICTURE, target=sheet_target(), corners=crossed) == ["bad_corners"]

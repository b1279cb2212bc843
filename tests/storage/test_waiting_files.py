"""Files between the two steps of taking them in: kept a day, bounded, read back as they came."""

from __future__ import annotations

import os
import stat
import time
from hashlib import sha256

from service.storage.waiting_files import FOLDER, WaitingFiles

SHOP = "a-shop"


def test_a_file_comes_back_as_it_was_sent(tmp_path):
    waiting = WaitingFiles(tmp_path, SHOP)
    content = bytes(range(256)) * 100
    name = waiting.put(content)
    assert name == sha256(content).hexdigest()
    assert waiting.get(name) == content
    assert waiting.put(content) == name
    assert WaitingFiles(tmp_path, "another-shop").get(name) is None


def test_the_folder_is_nobody_elses_to_read(tmp_path):
    WaitingFiles(tmp_path, SHOP).put(b"L,a,b")
    assert stat.S_IMODE((tmp_path / FOLDER / SHOP).stat().st_mode) == 0o700


def test_what_is_no_sha_256_is_looked_for_nowhere(tmp_path):
    (tmp_path / "secret").write_bytes(b"x")
    waiting = WaitingFiles(tmp_path, SHOP)
    for name in ("../../secret", "", "0" * 63, "0" * 64):
        assert waiting.get(name) is None


def test_after_a_day_it_is_gone_and_the_next_one_clears_it_away(tmp_path):
    waiting = WaitingFiles(tmp_path, SHOP)
    name = waiting.put(b"monday")
    path = tmp_path / FOLDER / SHOP / name
    yesterday = time.time() - 24 * 60 * 60 - 1
    os.utime(path, (yesterday, yesterday))
    assert waiting.get(name) is None
    waiting.put(b"tuesday")
    assert not path.exists()


def test_what_is_left_from_an_earlier_day_goes_at_the_start(tmp_path):
    name = WaitingFiles(tmp_path, SHOP).put(b"monday")
    path = tmp_path / FOLDER / SHOP / name
    WaitingFiles(tmp_path, SHOP)
    assert path.exists()
    yesterday = time.time() - 24 * 60 * 60 - 1
    os.utime(path, (yesterday, yesterday))
    WaitingFiles(tmp_path, SHOP)
    assert not path.exists()


def test_the_oldest_make_room_for_the_newest(tmp_path):
    waiting = WaitingFiles(tmp_path, SHOP, most_bytes=250)
    names = []
    for n in range(3):
        names.append(waiting.put(bytes([n]) * 100))
        path = tmp_path / FOLDER / SHOP / names[-1]
        os.utime(path, (time.time() - 10 + n, time.time() - 10 + n))
    assert [waiting.get(name) is not None for name in names] == [False, True, True]


def test_bytes_that_changed_on_the_disk_are_not_given_back(tmp_path):
    waiting = WaitingFiles(tmp_path, SHOP)
    name = waiting.put(b"monday")
    (tmp_path / FOLDER / SHOP / name).write_bytes(b"sunday")
    assert waiting.get(name) is None

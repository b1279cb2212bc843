"""The thread readings files are read in: one at a time, few waiting, the rest to come again."""

from __future__ import annotations

import asyncio
import threading

import pytest

from service.web.files_taken import MOST_WAITING, FilesBusy, file_name, in_reading_thread


def test_one_file_is_read_at_a_time_and_only_so_many_wait():
    running: list[int] = []
    most: list[int] = []
    begun, go_on = threading.Event(), threading.Event()

    def read() -> str:
        running.append(1)
        most.append(len(running))
        begun.set()
        assert go_on.wait(20)
        running.pop()
        return "read"

    async def many() -> list[str]:
        first = [asyncio.create_task(in_reading_thread(read)) for _ in range(1 + MOST_WAITING)]
        while not begun.is_set():
            await asyncio.sleep(0.01)
        with pytest.raises(FilesBusy, match="Send this one again in a minute"):
            await in_reading_thread(read)
        go_on.set()
        return list(await asyncio.gather(*first))

    assert asyncio.run(many()) == ["read"] * (1 + MOST_WAITING)
    assert max(most) == 1


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("C:\\exports\\monday.csv", "monday.csv"),
        ("../../etc/monday.csv", "monday.csv"),
        ("mon\x1bday\n.csv", "monday.csv"),
        ("x" * 300, "x" * 120),
        ("", ""),
    ],
)
def test_a_files_name_is_kept_without_its_folder_and_what_cannot_be_shown(given, kept):
    assert file_name(given) == kept

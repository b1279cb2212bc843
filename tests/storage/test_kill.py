"""What was acknowledged survives ``kill -9`` at any moment, and the record stays whole."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.storage.database import open_database
from service.storage.journal import Head
from service.storage.verify import verify
from tests.storage.samples import fill

ROOT = Path(__file__).parents[2]
FOLDERS, KILLS = 5, 11
"""Kills to a folder; a new folder now and then keeps the verifications short."""


class Killed:
    """Starts writers and kills them."""

    def __init__(self) -> None:
        self._server = subprocess.Popen(
            [sys.executable, "-m", "tests.storage.killed_writer"],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def write_and_kill(self, folder: Path, noted: Path, after_seconds: float) -> None:
        """Let a writer run for so long, then kill it."""
        assert self._server.stdin is not None and self._server.stdout is not None
        self._server.stdin.write(f"{folder} {noted}\n")
        self._server.stdin.flush()
        pid = int(self._server.stdout.readline())
        time.sleep(after_seconds)
        os.kill(pid, signal.SIGKILL)
        assert self._server.stdout.readline() == "dead\n"

    def close(self) -> None:
        """End the process that starts the writers."""
        self._server.communicate()


@pytest.fixture(scope="module")
def killed() -> Iterator[Killed]:
    """One process for all the kills, so that Python starts once."""
    killed = Killed()
    yield killed
    killed.close()


def acknowledged(noted: Path) -> dict[str, Head]:
    """The receipts a writer had, by the key of their change."""
    found = {}
    for line in noted.read_text().splitlines(keepends=True) if noted.exists() else ():
        if line.endswith("\n"):
            key, chain, position, hash = line.split()
            found[key] = Head(chain, int(position), hash)
    return found


def test_nothing_acknowledged_is_lost_in_55_kills(killed: Killed, tmp_path: Path) -> None:
    chance = random.Random(20261125)
    total = 0
    for number in range(FOLDERS):
        folder, noted = tmp_path / f"record{number}", tmp_path / f"acknowledged{number}"
        with open_database(folder) as database:
            fill(database.create_shop("Shop", manager="A"))
        for _ in range(KILLS):
            killed.write_and_kill(folder, noted, chance.uniform(0.0, 0.2))
            receipts = acknowledged(noted)
            with open_database(folder, read_only=True) as database:
                store = database.store()
                with store.reading() as sql:
                    kept = {
                        row[0]: Head(*row[1:])
                        for row in sql.rows("SELECT change_id, chain, position, hash FROM journal")
                    }
                lost = {key for key, head in receipts.items() if kept.get(key) != head}
                assert lost == set()
                report = verify(store, heads=receipts.values())
                assert report.ok, report.problems
        total += len(receipts)
    assert total > FOLDERS * KILLS, "most of the kills hit a writer that had written"


def test_a_first_start_killed_half_way_is_done_again(killed: Killed, tmp_path: Path) -> None:
    began = 0
    for number in range(12):
        folder = tmp_path / f"record{number}"
        killed.write_and_kill(folder, tmp_path / "acknowledged", number * 0.02)
        with open_database(folder) as database:
            if database.shops():
                began += 1
                assert verify(database.store()).ok
            else:
                fill(database.create_shop("Shop", manager="A"))
                assert verify(database.store()).ok
    assert began < 12, "some of the kills came before there was a shop"

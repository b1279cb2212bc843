"""The heads of the chains, noted in a file beside the data.

Whoever cuts the tail of a journal and sets the heads in the database right has this file to
cut too, and the heads in every backup. A line is written after the commit it tells of, so the
file never knows more than the record.
"""

from __future__ import annotations

import json
import os
import threading
import time
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from service.domain.moment import as_text
from service.domain.refused import Refused
from service.storage.clock import utc_now
from service.storage.journal import Head

NAME = "heads.jsonl"
COMPACT_ABOVE_BYTES = 8 * 2**20


class HeadsFile:
    """Appends the heads that moved, about once a second."""

    def __init__(self, folder: Path, *, every_seconds: float = 1.0) -> None:
        self._path = folder / NAME
        self._every = every_seconds
        self._moved: dict[str, Head] = {}
        self._lock = threading.Lock()
        self._written_at = float("-inf")
        if self._path.exists() and self._path.stat().st_size > COMPACT_ABOVE_BYTES:
            self._compact()

    def note(self, heads: Iterable[Head]) -> None:
        """Heads that a commit moved; written when the last writing is a second ago."""
        with self._lock:
            for head in heads:
                self._moved[head.chain] = head
            due = time.monotonic() - self._written_at >= self._every
        if due:
            self.write()

    @property
    def waiting(self) -> bool:
        """Whether heads moved that are not written yet."""
        return bool(self._moved)

    def write(self, *, durable: bool = False) -> None:
        """Write what moved since the last time; ``durable`` waits for the disk.

        The changes it tells of are committed whatever becomes of the note: without ``durable``
        a full disk is passed over, and what could not be noted is noted next time.
        """
        with self._lock:
            self._written_at = time.monotonic()
            if not self._moved and not durable:
                return
            try:
                with self._path.open("a", encoding="utf-8") as file:
                    file.write("".join(_line(head) for head in self._moved.values()))
                    file.flush()
                    if durable:
                        os.fsync(file.fileno())
            except OSError:
                if durable:
                    raise
                return
            self._moved = {}

    def _compact(self) -> None:
        latest: dict[str, Head] = {}
        for head in recorded_heads(self._path.parent):
            if head.chain not in latest or head.position >= latest[head.chain].position:
                latest[head.chain] = head
        new = self._path.with_suffix(".new")
        with new.open("w", encoding="utf-8") as file:
            file.write("".join(_line(head) for head in latest.values()))
            file.flush()
            os.fsync(file.fileno())
        new.replace(self._path)


def _line(head: Head) -> str:
    noted: Mapping[str, object] = {
        "at": as_text(utc_now()),
        "chain": head.chain,
        "position": head.position,
        "hash": head.hash,
    }
    return json.dumps(noted) + "\n"


def recorded_heads(folder: Path) -> Iterator[Head]:
    """Heads as they were noted, oldest first.

    A last line without its end is what a crash leaves and is passed over; any other line that
    cannot be read is refused.
    """
    path = folder / NAME
    if not path.exists():
        return
    with path.open(encoding="utf-8", errors="replace") as file:
        for number, line in enumerate(file, 1):
            if not line.strip():
                continue
            try:
                noted = json.loads(line)
                head = Head(str(noted["chain"]), int(noted["position"]), str(noted["hash"]))
            except (ValueError, KeyError, TypeError):
                if not line.endswith("\n"):
                    return
                raise Refused(
                    f"Line {number} of {path} is not a noted head. "
                    "Put the file back from a backup, or move it away and keep it."
                ) from None
            yield head

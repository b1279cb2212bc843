"""Files that were sent and not yet decided on: kept a day, under the SHA-256 of their bytes.

They are no part of the record: nothing refers to them, no backup holds them, and any of them may
be gone at any time.
"""

from __future__ import annotations

import os
import re
import secrets
import threading
import time
from hashlib import sha256
from pathlib import Path

FOLDER = "waiting"
SECONDS_KEPT = 24 * 60 * 60
MOST_BYTES = 200 * 2**20
"""Of all waiting files of a shop together; beyond it the oldest go."""

_NAME = re.compile(r"[0-9a-f]{64}")


class WaitingFiles:
    """A shop's waiting files, in a folder of the data folder that nobody else may read."""

    def __init__(
        self,
        data_dir: Path,
        shop_id: str,
        *,
        seconds_kept: float = SECONDS_KEPT,
        most_bytes: int = MOST_BYTES,
    ) -> None:
        self._folder = data_dir / FOLDER / shop_id
        self._seconds_kept = seconds_kept
        self._most_bytes = most_bytes
        self._lock = threading.Lock()
        # What was left from an earlier day goes when the service starts, not only with the next.
        if self._folder.is_dir():
            self._make_room(0)

    def put(self, content: bytes) -> str:
        """Keep bytes from now on for a day and return their SHA-256."""
        sha = sha256(content).hexdigest()
        with self._lock:
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._make_room(len(content))
            # Not synchronised to the disk: losing one costs its sender another choice of file.
            temporary = self._folder / f".{secrets.token_hex(8)}.part"
            try:
                temporary.write_bytes(content)
                temporary.replace(self._folder / sha)
            except BaseException:
                temporary.unlink(missing_ok=True)
                raise
        return sha

    def get(self, sha: str) -> bytes | None:
        """The bytes under that SHA-256, None when they wait no longer."""
        if not _NAME.fullmatch(sha):
            return None
        path = self._folder / sha
        try:
            if path.stat().st_mtime < time.time() - self._seconds_kept:
                return None
            content = path.read_bytes()
        except FileNotFoundError:
            return None
        return content if sha256(content).hexdigest() == sha else None

    def _make_room(self, size: int) -> None:
        """Take away what is past its day, then the oldest until so many bytes more fit."""
        oldest = time.time() - self._seconds_kept
        found: list[tuple[float, int, Path]] = []
        for entry in os.scandir(self._folder):
            stat = entry.stat()
            found.append((stat.st_mtime, stat.st_size, Path(entry.path)))
        kept = sum(one[1] for one in found)
        for modified, bytes_of, path in sorted(found):
            if modified >= oldest and kept + size <= self._most_bytes:
                break
            path.unlink(missing_ok=True)
            kept -= bytes_of

"""Photo files, each named by the SHA-256 of its bytes."""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

from service.domain.refused import Refused, Unknown

FOLDER = "photos"


class PhotoChanged(Refused):
    """The bytes on disk are not the ones that were stored."""

    def __init__(self, sha: str) -> None:
        super().__init__(
            f"The photo {sha} is not as it was stored. Run keepcard verify, "
            "then put it back from a backup."
        )
        self.sha256 = sha


class LocalPhotos:
    """Photos in a folder of the data folder; a file never changes once it has its name."""

    def __init__(self, data_dir: Path) -> None:
        self._folder = data_dir / FOLDER

    def put(self, content: bytes) -> str:
        """Store bytes durably and return their SHA-256; the same bytes twice are one file."""
        sha = sha256(content).hexdigest()
        path = self.path(sha)
        if path.exists():
            # What lies there may have been damaged; the bytes at hand are good.
            if sha256(path.read_bytes()).hexdigest() == sha:
                return sha
        for folder in (self._folder, path.parent):
            if not folder.exists():
                folder.mkdir(parents=True, exist_ok=True)
                sync_folder(folder.parent)
        temporary = path.parent / f".{secrets.token_hex(8)}.part"
        try:
            with temporary.open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            temporary.replace(path)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
        sync_folder(path.parent)
        return sha

    def get(self, sha: str) -> bytes:
        """The bytes under that SHA-256, hashed again on the way."""
        try:
            content = self.path(sha).read_bytes()
        except FileNotFoundError:
            raise Unknown("photo", sha) from None
        if sha256(content).hexdigest() != sha:
            raise PhotoChanged(sha)
        return content

    def raw(self, sha: str) -> bytes:
        """The bytes under that SHA-256, whatever their hash is now."""
        return self.path(sha).read_bytes()

    def has(self, sha: str) -> bool:
        """Whether there is a file of that name."""
        return self.path(sha).exists()

    def all(self) -> Iterator[str]:
        """Every SHA-256 there is a file for."""
        for path in sorted(self._folder.glob("??/*")):
            if re.fullmatch(r"[0-9a-f]{64}", path.name):
                yield path.name

    def path(self, sha: str) -> Path:
        """Where the file lies; the name is checked, for it may come from a request."""
        if not re.fullmatch(r"[0-9a-f]{64}", sha):
            raise Unknown("photo", sha)
        return self._folder / sha[:2] / sha


def sync_folder(folder: Path) -> None:
    """Have the disk keep a name that was just given in a folder."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)

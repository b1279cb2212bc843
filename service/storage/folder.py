"""The lock on a data folder: who serves it, and at what address."""

from __future__ import annotations

import fcntl
import json
import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from service.domain.refused import Refused

NAME = "keepcard.lock"


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """Who holds a folder; the address is empty for a command, which serves nothing."""

    address: str
    pid: int


class FolderInUse(Refused):
    """Another process writes in this folder."""

    def __init__(self, folder: Path, holder: Holder) -> None:
        where = f"a server at {holder.address}" if holder.address else "a command"
        super().__init__(
            f"The folder {folder} is in use by {where} (process {holder.pid}). "
            "Stop it first, or use it where it runs."
        )
        self.holder = holder


class FolderLock:
    """Held from ``acquire`` until ``release``, or until the process ends in whatever way."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._descriptor: int | None = None

    def acquire(self, address: str = "") -> Self:
        """Take the lock and write the address into it.

        Raises
        ------
        FolderInUse
            When another process has it.
        """
        descriptor = os.open(self._folder / NAME, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            _lock(descriptor, self._folder)
            text = json.dumps({"address": address, "pid": os.getpid()})
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, text.encode(), 0)
        except BaseException:
            os.close(descriptor)
            raise
        self._descriptor = descriptor
        return self

    def release(self) -> None:
        """Give the lock back."""
        if self._descriptor is not None:
            os.ftruncate(self._descriptor, 0)
            os.close(self._descriptor)
            self._descriptor = None


def holder_of(folder: Path) -> Holder | None:
    """Who holds the folder now, None when nobody does."""
    try:
        descriptor = os.open(folder / NAME, os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError:
        return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
        return None
    except BlockingIOError:
        return _read(descriptor)
    finally:
        os.close(descriptor)


def _lock(descriptor: int, folder: Path) -> None:
    # Somebody asking who holds the folder has it for an instant; that is waited out.
    for attempt in range(10):
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return
        except BlockingIOError:
            holder = _read(descriptor)
            if holder.pid and attempt >= 2 or attempt == 9:
                raise FolderInUse(folder, holder) from None
            time.sleep(0.03)


def _read(descriptor: int) -> Holder:
    try:
        noted = json.loads(os.pread(descriptor, 4096, 0))
        return Holder(address=str(noted["address"]), pid=int(noted["pid"]))
    except (ValueError, KeyError, TypeError):
        return Holder(address="", pid=0)

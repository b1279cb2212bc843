"""Which folder the demo may use: a new or empty one, or its own from an earlier run."""

from __future__ import annotations

import shutil
from pathlib import Path

from service.domain.records.shop import Shop
from service.domain.refused import Refused
from service.storage.database import FILE, open_database
from service.storage.folder import NAME as LOCK
from service.storage.folder import FolderLock
from service.storage.heads_file import NAME as HEADS
from service.storage.photo_files import FOLDER as PHOTOS


class NotForTheDemo(Refused):
    """A folder the demo must leave alone."""


def make_ready(folder: Path) -> None:
    """Leave a folder without a record; an earlier demo in it is removed, all else refused.

    Raises
    ------
    Refused
        When it holds a real shop or anything else that is not the demo's, or is in use.
    """
    if not folder.exists():
        return
    if not folder.is_dir():
        raise NotForTheDemo(f"{folder} is a file. Name a folder with --data.")
    if not any(folder.iterdir()):
        return
    if not (folder / FILE).exists():
        raise NotForTheDemo(
            f"The folder {folder} holds other files. The demo wants a folder of its own: "
            "name a new or empty one with --data."
        )
    # The lock is held while the files go, so that no server starts in between.
    lock = FolderLock(folder).acquire()
    try:
        refuse_real_shops(folder)
        _remove_record(folder)
    finally:
        lock.release()
    (folder / LOCK).unlink(missing_ok=True)


def refuse_real_shops(folder: Path) -> None:
    """Refuse a record unless every shop in it is a demo, and there is one."""
    with open_database(folder, read_only=True) as database:
        shops = [database.store(id).shop().get(Shop, id) for id, _ in database.shops()]
    real = [shop.name for shop in shops if not shop.is_demo]
    if real or not shops:
        what = f"the real shop {real[0]}" if real else "a record in which a shop is to be set up"
        raise NotForTheDemo(
            f"The folder {folder} holds {what}, and the demo would replace it. "
            "Nothing was changed. Name a new or empty folder with --data."
        )


def _remove_record(folder: Path) -> None:
    for name in (f"{FILE}-wal", f"{FILE}-shm", f"{FILE}-journal", HEADS, FILE):
        (folder / name).unlink(missing_ok=True)
    shutil.rmtree(folder / PHOTOS, ignore_errors=True)

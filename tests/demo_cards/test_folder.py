"""Which folders the demo takes, and which it leaves alone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from demo_cards.folder import NotForTheDemo, make_ready
from service.storage.database import FILE, open_database
from service.storage.folder import FolderInUse


def contents(folder: Path) -> dict[str, bytes]:
    return {
        p.name: p.read_bytes() for p in folder.rglob("*") if p.is_file() and "lock" not in p.name
    }


def test_a_new_and_an_empty_folder_are_taken(tmp_path: Path):
    make_ready(tmp_path / "new")
    make_ready(tmp_path)


def test_a_real_shop_is_refused_by_name_and_left_as_it_is(tmp_path: Path):
    with open_database(tmp_path) as database:
        database.create_shop("Harbour Road Paint", manager="First Manager")
    before = contents(tmp_path)
    with pytest.raises(NotForTheDemo, match="Harbour Road Paint.*Nothing was changed.*--data"):
        make_ready(tmp_path)
    assert contents(tmp_path)[FILE] == before[FILE]


def test_a_shop_still_to_be_set_up_is_refused(tmp_path: Path):
    open_database(tmp_path).close()
    with pytest.raises(NotForTheDemo, match="to be set up"):
        make_ready(tmp_path)


def test_a_real_shop_beside_the_demo_is_refused(demo_copy: Callable[[], Path]):
    folder = demo_copy()
    with open_database(folder) as database:
        database.create_shop("Harbour Road Paint", manager="First Manager")
    with pytest.raises(NotForTheDemo, match="Harbour Road Paint"):
        make_ready(folder)
    assert (folder / FILE).exists()


def test_a_folder_with_other_files_is_refused(tmp_path: Path):
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "mine.jpg").write_bytes(b"mine")
    with pytest.raises(NotForTheDemo, match="holds other files"):
        make_ready(tmp_path)
    assert (tmp_path / "photos" / "mine.jpg").exists()


def test_a_file_is_refused(tmp_path: Path):
    (tmp_path / "file").write_text("")
    with pytest.raises(NotForTheDemo, match="is a file"):
        make_ready(tmp_path / "file")


def test_an_earlier_demo_goes_and_what_else_lies_there_stays(demo_copy: Callable[[], Path]):
    folder = demo_copy()
    (folder / "mine.txt").write_text("mine")
    make_ready(folder)
    assert contents(folder) == {"mine.txt": b"mine"}


def test_a_demo_that_is_being_served_is_refused(demo_copy: Callable[[], Path]):
    folder = demo_copy()
    with open_database(folder, address="http://127.0.0.1:8470"):
        with pytest.raises(FolderInUse, match="127.0.0.1:8470"):
            make_ready(folder)
    assert (folder / FILE).exists()

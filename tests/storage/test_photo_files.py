"""Photo files have the name of their bytes, and are what they were or are refused."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

import pytest

from service.domain.refused import Unknown
from service.storage.photo_files import LocalPhotos, PhotoChanged


def test_a_photo_is_found_under_its_sha256(tmp_path: Path) -> None:
    photos = LocalPhotos(tmp_path)
    sha = photos.put(b"picture")
    assert sha == sha256(b"picture").hexdigest()
    assert photos.get(sha) == b"picture"
    assert photos.put(b"picture") == sha
    assert list(photos.all()) == [sha]


def test_changed_bytes_are_never_handed_out(tmp_path: Path) -> None:
    photos = LocalPhotos(tmp_path)
    sha = photos.put(b"picture")
    photos.path(sha).write_bytes(b"pictura")
    with pytest.raises(PhotoChanged, match=f"{sha} is not as it was stored"):
        photos.get(sha)
    assert photos.put(b"picture") == sha
    assert photos.get(sha) == b"picture"


def test_a_photo_that_is_not_there_is_unknown(tmp_path: Path) -> None:
    photos = LocalPhotos(tmp_path)
    with pytest.raises(Unknown):
        photos.get("0" * 64)
    assert list(photos.all()) == []


@pytest.mark.parametrize("name", ["../../etc/passwd", "a" * 63, "A" * 64, "", "0" * 62 + "/x"])
def test_a_name_that_is_no_sha256_reaches_no_file(tmp_path: Path, name: str) -> None:
    with pytest.raises(Unknown):
        LocalPhotos(tmp_path).get(name)


def test_a_write_that_fails_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import os

    photos = LocalPhotos(tmp_path)

    def fail(_: int) -> None:
        raise OSError(28, "No space left on device")

    photos.put(b"first")
    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(OSError, match="No space left"):
        photos.put(b"second")
    monkeypatch.undo()
    assert list(photos.all()) == [sha256(b"first").hexdigest()]
    assert [p for p in tmp_path.rglob("*.part")] == []

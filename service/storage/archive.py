"""The one file of a backup or an export: the journal as text, its heads, and the photos.

A zip archive with
  manifest.json   what this is, and the head of every chain in it
  journal.jsonl   one entry a line, canonical JSON; the SHA-256 of a line is the entry's hash
  secrets.jsonl   password and token hashes, of which the journal holds digests only
  photos/SHA      the photographs, each under the SHA-256 of its bytes

Nothing in it depends on the engine, so it is restored into either, and to the same heads.
"""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from service.domain.refused import Refused
from service.storage.journal import Head

FORMAT = "keepcard-record"
VERSION = 1
MANIFEST, JOURNAL, SECRETS, PHOTOS = "manifest.json", "journal.jsonl", "secrets.jsonl", "photos/"


class NotABackup(Refused):
    """A file that is no backup, or is damaged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What an archive holds."""

    shop_id: str
    made_at: str
    schema: str
    heads: tuple[Head, ...]
    left_out: tuple[str, ...]
    """Jobs of the shop that are not in it, as in the export of single jobs."""
    has_secrets: bool

    def as_json(self) -> dict[str, Any]:
        """The manifest as it stands in the archive."""
        return {
            "format": FORMAT,
            "version": VERSION,
            "shop_id": self.shop_id,
            "made_at": self.made_at,
            "schema": self.schema,
            "heads": [
                {"chain": h.chain, "position": h.position, "hash": h.hash} for h in self.heads
            ],
            "left_out": list(self.left_out),
            "has_secrets": self.has_secrets,
        }


class Archive:
    """An archive open for reading."""

    def __init__(self, file: Path) -> None:
        try:
            self._held = file.open("rb")
        except OSError as error:
            raise NotABackup(
                f"{file} cannot be read as a backup ({error}). Check its name and its rights."
            ) from error
        try:
            self._zip = zipfile.ZipFile(self._held)
        except (OSError, zipfile.BadZipFile) as error:
            self._held.close()
            raise NotABackup(
                f"{file} cannot be read as a backup ({error}). Check that it is the right file "
                "and was copied whole."
            ) from error
        self.file = file
        try:
            self.manifest = _manifest(json.loads(self._zip.read(MANIFEST)))
        except (KeyError, ValueError, TypeError, zipfile.BadZipFile) as error:
            self.close()
            raise NotABackup(
                f"{file} is no backup of this program, or is damaged ({error}). Take another one."
            ) from error

    def entries(self) -> Iterator[str]:
        """The text of every entry, the shop's chain first, each chain in its order."""
        yield from self._lines(JOURNAL)

    def secrets(self) -> dict[tuple[str, str], str]:
        """Secrets by the table and id of their row."""
        found = {}
        for line in self._lines(SECRETS):
            noted = json.loads(line)
            found[noted["table"], noted["id"]] = str(noted["value"])
        return found

    def all(self) -> Iterator[str]:
        """The SHA-256 of every photograph in it."""
        for name in self._zip.namelist():
            if re.fullmatch(f"{PHOTOS}[0-9a-f]{{64}}", name):
                yield name.removeprefix(PHOTOS)

    def raw(self, sha: str) -> bytes:
        """The bytes of a photograph, whatever their hash is."""
        return self._zip.read(PHOTOS + sha)

    def close(self) -> None:
        """Close the file, also where a part of it is still being read."""
        self._zip.close()
        self._held.close()

    def _lines(self, name: str) -> Iterator[str]:
        try:
            with self._zip.open(name) as file:
                for line in file:
                    yield line.decode().rstrip("\n")
        except (KeyError, zipfile.BadZipFile, UnicodeDecodeError) as error:
            raise NotABackup(
                f"{self.file} is damaged in {name} ({error}). Take another backup."
            ) from error


class ArchiveWriter:
    """Fills an archive."""

    def __init__(self, file: IO[bytes]) -> None:
        self._zip = zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=6)

    def lines(self, name: str, lines: Iterator[str]) -> None:
        """Write a part of text, line by line."""
        with self._zip.open(name, "w", force_zip64=True) as part:
            for line in lines:
                part.write(line.encode() + b"\n")

    def photo(self, sha: str, content: bytes) -> None:
        """Add a photograph, as it is: photographs do not shrink."""
        self._zip.writestr(PHOTOS + sha, content, zipfile.ZIP_STORED)

    def finish(self, manifest: Manifest) -> None:
        """Write the manifest, which comes last."""
        self._zip.writestr(MANIFEST, json.dumps(manifest.as_json(), indent=1))

    def close(self) -> None:
        """End the archive."""
        self._zip.close()


def _manifest(noted: dict[str, Any]) -> Manifest:
    if noted["format"] != FORMAT:
        raise ValueError(f"its format is {noted['format']!r}")
    if noted["version"] != VERSION:
        raise ValueError(f"it is of version {noted['version']}, this program reads {VERSION}")
    return Manifest(
        shop_id=str(noted["shop_id"]),
        made_at=str(noted["made_at"]),
        schema=str(noted["schema"]),
        heads=tuple(
            Head(str(h["chain"]), int(h["position"]), str(h["hash"])) for h in noted["heads"]
        ),
        left_out=tuple(map(str, noted["left_out"])),
        has_secrets=bool(noted["has_secrets"]),
    )

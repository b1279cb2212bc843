"""Verification: the journal is hashed again and everything is worked out from it once more.

This shares little with what writes: it reads the journal's text by its own rules, holds every
column of every record against it, and works the lines out from all records of a job. Only the
reading of a record from its journal row, and the rules of the lines themselves, are the
program's own.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from typing import Any, Protocol

from service.domain.line_making import all_lines
from service.domain.record_file import RecordFile
from service.storage.heads_file import recorded_heads
from service.storage.journal import Head
from service.storage.left_out import LeftOut, read_left_out
from service.storage.report import Report
from service.storage.schema import CODECS, LINE_CODECS
from service.storage.sql import Sql
from service.storage.store import ShopStore
from service.storage.verify_schema import check_schema
from service.storage.verify_tables import LineRows, RecordRows

_ENTRY = (
    "chain", "position", "shop_id", "change_id", "kind", "fingerprint", "person_id",
    "received_at", "payload", "hash",
)  # fmt: skip
_PAYLOAD = {*_ENTRY, "previous", "rows", "heads"} - {"payload", "hash"}


class PhotoBytes(Protocol):
    """Where the photographs lie."""

    def all(self) -> Iterable[str]:
        """The SHA-256 each one is named by."""

    def raw(self, sha: str) -> bytes:
        """Its bytes as they are."""


def verify(
    store: ShopStore, *, heads: Iterable[Head] = (), photos: PhotoBytes | None = None
) -> Report:
    """Verify the record of a shop; ``heads`` are those noted elsewhere, as in a backup.

    Works on one moment's state, beside a running service too.
    """
    database = store.database
    database.note_heads()
    report = Report()
    # Read before the snapshot is taken, so that no head in it is newer than the snapshot.
    noted = [*recorded_heads(database.data_dir), *heads]
    left_out = read_left_out(database.data_dir)
    with database.snapshot() as sql:
        _Verification(sql, store.shop_id, photos or database.photos, left_out, report).run(noted)
    return report


class _Verification:
    def __init__(
        self, sql: Sql, shop_id: str, photos: PhotoBytes, left_out: LeftOut, report: Report
    ) -> None:
        self._sql = sql
        self._shop_id = shop_id
        self._photos = photos
        self._left_out = left_out
        self._report = report
        self._ends: dict[str, tuple[int, str]] = {}
        """Where each chain of the journal ends."""
        self._named: list[tuple[Head, str]] = []
        """Heads named in the shop's chain, and where."""
        self._opened: set[str] = set()
        """Jobs whose opening stands in the shop's chain."""
        self._photo_rows: dict[str, str] = {}

    def run(self, noted: list[Head]) -> None:
        check_schema(self._sql, self._report)
        self._chains()
        self._heads()
        self._compare_heads(noted)
        self._photo_files()

    def _chains(self) -> None:
        """Go through the journal, and beside it through every table in the same order."""
        with closing(
            RecordRows(self._sql, self._shop_id, self._report, secrets=not self._left_out.secrets)
        ) as records:
            self._walk(records)

    def _walk(self, records: RecordRows) -> None:
        lines = LineRows(self._sql, self._shop_id, self._report)
        chain = ""
        last = Head("", 0, "")
        rows: list[Mapping[str, Any]] = []
        for entry in self._journal():
            if entry["chain"] != chain:
                self._end_chain(chain, last, rows, lines)
                chain, last, rows = str(entry["chain"]), Head(str(entry["chain"]), 0, ""), []
            added = self._entry(entry, last)
            for ordinal, item in enumerate(added):
                records.expect(chain, entry["position"], ordinal, item)
                sha = _photo_named(item)
                if sha is not None:
                    self._photo_rows.setdefault(sha, _place(entry))
            if chain != self._shop_id:
                rows += added
            last = Head(chain, entry["position"], entry["hash"])
            self._report.count("entries")
        self._end_chain(chain, last, rows, lines)
        records.finish()
        lines.finish()

    def _journal(self) -> Iterator[dict[str, Any]]:
        """Every entry, in the order of the chains; the shop's first, for it names the others."""
        columns = ", ".join(f'"{name}"' for name in _ENTRY)
        for which in ("=", "<>"):
            for row in self._sql.each(
                f"SELECT {columns} FROM journal WHERE shop_id = ? AND chain {which} ? "
                "ORDER BY chain, position",
                (self._shop_id, self._shop_id),
            ):
                entry = dict(zip(_ENTRY, row, strict=True))
                yield entry | {"payload": str(entry["payload"])}

    def _entry(self, entry: dict[str, Any], last: Head) -> list[dict[str, Any]]:
        """Check one entry against its text and the one before it; the rows it adds."""
        where = _place(entry)
        text = entry["payload"]
        if hashlib.sha256(text.encode(errors="replace")).hexdigest() != entry["hash"]:
            self._report.found(where, "its text does not have the hash that stands beside it")
        if entry["position"] != last.position + 1:
            self._report.found(where, f"it follows entry {last.position}")
        try:
            payload = json.loads(text)
            rows = [dict(table=item["table"], row=dict(item["row"])) for item in payload["rows"]]
            heads = [(h["chain"], h["position"], h["hash"]) for h in payload["heads"]]
        except (ValueError, KeyError, TypeError) as error:
            self._report.found(where, f"its text cannot be read ({error!r})")
            return []
        if set(payload) != _PAYLOAD:
            self._report.found(where, f"its text has other parts than it should: {set(payload)}")
        again = json.dumps(payload, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        if again != text:
            self._report.found(where, "its text is not in the one form it may have")
        for name in _ENTRY[:-2]:
            if payload.get(name) != entry[name]:
                self._report.found(
                    where, f"{name} is {entry[name]!r}, its text says {payload.get(name)!r}"
                )
        if payload.get("previous") != last.hash:
            self._report.found(where, "it does not name the hash of the entry before it")
        for chain, position, hash in heads:
            self._named.append((Head(chain, position, hash), where))
            if position == 1:
                self._opened.add(chain)
        if heads and entry["chain"] != self._shop_id:
            self._report.found(where, "an entry of a job names other chains")
        return rows

    def _end_chain(
        self, chain: str, last: Head, rows: list[Mapping[str, Any]], lines: LineRows
    ) -> None:
        if not chain:
            return
        self._ends[chain] = (last.position, last.hash)
        self._report.count("chains")
        if chain == self._shop_id:
            return
        if chain not in self._opened:
            self._report.found(f"job {chain}", "its opening is not in the chain of the shop")
        try:
            decoded = [CODECS[item["table"]].decode(item["row"]) for item in rows]
            expected = all_lines(RecordFile(chain).with_records(decoded))
        except Exception as error:
            # Whatever a damaged journal makes of the rules, it is a finding and not an end.
            self._report.found(f"job {chain}", f"its records cannot be read ({error!r})")
            return
        for line in expected:
            codec = LINE_CODECS[line.table]
            lines.expect(line.table, dict(zip(codec.names, codec.encode(line)[0], strict=True)))

    def _heads(self) -> None:
        """The heads in the database are the ends of the chains, and those named are in them."""
        if self._left_out.jobs:
            # Told rather than passed over: whoever verifies can see whether that is as it was.
            self._report.count("jobs left out of the export", len(self._left_out.jobs))
        if self._shop_id not in self._ends:
            self._report.found(f"shop {self._shop_id}", "its chain has no entry")
        held = {
            str(chain): (position, hash, checkpointed)
            for chain, position, hash, checkpointed in self._sql.rows(
                "SELECT chain, position, hash, checkpointed FROM heads WHERE shop_id = ?",
                (self._shop_id,),
            )
        }
        for chain in sorted(held.keys() | self._ends.keys()):
            end = self._ends.get(chain)
            head = held.get(chain)
            if head is None or end is None or head[:2] != end:
                self._report.found(
                    f"chain {chain}",
                    f"it ends at entry {end[0] if end else 'none'}, the head written last is "
                    f"{head[0] if head else 'none'}"
                    + (" with another hash" if head and end and head[0] == end[0] else ""),
                )
            elif type(head[2]) is not int or not 0 <= head[2] <= head[0]:
                self._report.found(f"chain {chain}", f"its checkpoint {head[2]} cannot be")
        for head_named, where in self._named:
            if head_named.chain in self._left_out.jobs and head_named.chain not in self._ends:
                continue
            self._compare(head_named, f"named in {where}")

    def _compare_heads(self, noted: list[Head]) -> None:
        # A file may note a chain's every position; each place is asked for once.
        for head in dict.fromkeys(noted):
            self._compare(head, "noted outside the database")
            self._report.count("noted heads")

    def _compare(self, head: Head, how: str) -> None:
        end = self._ends.get(head.chain)
        if end == (head.position, head.hash):
            return
        row = self._sql.row(
            "SELECT hash FROM journal WHERE chain = ? AND position = ?",
            (head.chain, head.position),
        )
        if row is None:
            self._report.found(
                f"chain {head.chain}",
                f"entry {head.position} is missing, which was {how}; "
                f"the chain ends at entry {end[0] if end else 'none'}",
            )
        elif row[0] != head.hash:
            self._report.found(
                f"chain {head.chain}, entry {head.position}",
                f"its hash is not the one {how}",
            )

    def _photo_files(self) -> None:
        seen = set()
        for sha in self._photos.all():
            seen.add(sha)
            self._report.count("photo files")
            if hashlib.sha256(self._photos.raw(sha)).hexdigest() != sha:
                self._report.found(f"photo {sha}", "its bytes were changed")
        for sha, where in self._photo_rows.items():
            if sha not in seen:
                self._report.found(f"photo {sha}", f"the file is missing, named in {where}")
        self._report.counts["photo files named by no record"] = len(seen - set(self._photo_rows))


def _photo_named(item: Mapping[str, Any]) -> str | None:
    """The photograph a record rests on, by its SHA-256; None when on none."""
    if item["table"] == "photos":
        return str(item["row"].get("sha256", ""))
    if item["table"] == "frames" and item["row"].get("photo_sha256"):
        return str(item["row"]["photo_sha256"])
    return None


def _place(entry: Mapping[str, Any]) -> str:
    if entry["chain"] == entry["shop_id"]:
        return f"entry {entry['position']} of the shop"
    return f"entry {entry['position']} of job {entry['chain']}"

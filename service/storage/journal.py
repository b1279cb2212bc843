"""The journal: one hash chain for the shop and one for each job, an entry for each change."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple
from uuid import UUID, uuid5

from service.domain.record_file import RecordFile
from service.domain.records.base import Record
from service.domain.refused import Invalid
from service.storage.canonical import canonical, sha256_of
from service.storage.schema import CODECS
from service.storage.sql import Sql, insert_into

JOURNAL_COLUMNS = (
    "chain",
    "position",
    "shop_id",
    "change_id",
    "kind",
    "fingerprint",
    "person_id",
    "received_at",
    "payload",
    "hash",
)
INSERT_ENTRY = insert_into("journal", JOURNAL_COLUMNS)
BEFORE_FIRST = ""
"""The hash that the first entry of a chain names as the one before it."""


class Head(NamedTuple):
    """The last entry of a chain; position 0 before the first."""

    chain: str
    position: int
    hash: str


class Entry(NamedTuple):
    """One journal entry, ready to be written: its columns in order."""

    chain: str
    position: int
    shop_id: str
    change_id: str
    kind: str
    fingerprint: str
    person_id: str
    received_at: str
    payload: str
    hash: str

    @property
    def head(self) -> Head:
        """The chain's head once this entry is written."""
        return Head(self.chain, self.position, self.hash)


class Known(NamedTuple):
    """A chain's file and the entry up to which it was read."""

    position: int
    hash: str
    file: RecordFile


def make_entry(
    previous: Head,
    *,
    shop_id: str,
    change_id: str,
    kind: str,
    fingerprint: str,
    person_id: str,
    received_at: str,
    rows: Sequence[dict[str, Any]],
    heads: Sequence[Head] = (),
) -> Entry:
    """The entry that follows ``previous`` in its chain.

    ``rows`` are the records it adds, each ``{"table", "row"}``. ``heads`` names entries of
    other chains: the first entry of a job that was opened, or where all jobs stood.
    """
    position = previous.position + 1
    payload = canonical(
        {
            "chain": previous.chain,
            "change_id": change_id,
            "fingerprint": fingerprint,
            "heads": [{"chain": h.chain, "hash": h.hash, "position": h.position} for h in heads],
            "kind": kind,
            "person_id": person_id,
            "position": position,
            "previous": previous.hash,
            "received_at": received_at,
            "rows": rows,
            "shop_id": shop_id,
        }
    )
    if "\\u0000" in payload:
        _refuse_nul(rows)
    try:
        hash = sha256_of(payload)
    except UnicodeEncodeError as error:
        raise Invalid(
            "text", f"The text holds half a character ({error.reason}). Type it again."
        ) from error
    return Entry(
        previous.chain,
        position,
        shop_id,
        change_id,
        kind,
        fingerprint,
        person_id,
        received_at,
        payload,
        hash,
    )


def _refuse_nul(rows: Sequence[dict[str, Any]]) -> None:
    # PostgreSQL cannot keep U+0000 in a text, so neither engine takes it.
    for item in rows:
        for name, value in item["row"].items():
            if _holds_nul(value):
                raise Invalid(name, f"{name} holds a NUL character. Type the text again.")


def _holds_nul(value: Any) -> bool:
    if isinstance(value, dict):
        return any(map(_holds_nul, value)) or any(map(_holds_nul, value.values()))
    if isinstance(value, list):
        return any(map(_holds_nul, value))
    return isinstance(value, str) and "\0" in value


def derived_id(change_id: str, chain: str) -> str:
    """Change id of the further entries of a change that touches several chains."""
    return str(uuid5(UUID(change_id), chain))


_ENTRIES_FROM = (
    "SELECT position, hash, CASE WHEN position > ? THEN payload END FROM journal "
    "WHERE chain = ? AND shop_id = ? AND position >= ? ORDER BY position"
)


def read_file(sql: Sql, shop_id: str, chain: str, known: Known | None) -> Known | None:
    """The chain's file as it stands, from what was known of it; None when it has no entry.

    One statement, so what it reads is of one moment. The entry up to which the file is known is
    read again: when its hash is another, the file is built anew.
    """
    start = known.position if known else 0
    rows = sql.rows(_ENTRIES_FROM, (start, chain, shop_id, start))
    if known is not None:
        if not rows or rows[0][0] != start or rows[0][1] != known.hash:
            return read_file(sql, shop_id, chain, None)
        if len(rows) == 1:
            return known
        file = known.file.with_records(records_of(row[2] for row in rows[1:]))
    elif not rows:
        return None
    else:
        file = RecordFile(chain).with_records(records_of(row[2] for row in rows))
    return Known(rows[-1][0], rows[-1][1], file)


def records_of(payloads: Iterable[str]) -> list[Record]:
    """The records that entries added, in order."""
    return [
        CODECS[item["table"]].decode(item["row"])
        for payload in payloads
        for item in json.loads(payload)["rows"]
    ]

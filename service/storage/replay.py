"""From the text of a journal to all tables again, on either engine, to the same heads."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from service.domain.line_making import all_lines
from service.domain.record_file import RecordFile
from service.domain.records.base import Record
from service.domain.refused import Refused
from service.storage.canonical import sha256_of
from service.storage.codec import SECRETS, digest
from service.storage.journal import BEFORE_FIRST, JOURNAL_COLUMNS, Head
from service.storage.lines import put_lines
from service.storage.schema import CODECS, PLACE, RANK
from service.storage.sql import Sql

AT_ONCE = 5_000


class CannotReplay(Refused):
    """A journal that does not fit together."""


class Replay:
    """Puts entries down in the order they come: each chain whole, in its own order."""

    def __init__(self, sql: Sql, shop_id: str, secrets: Mapping[tuple[str, str], str]) -> None:
        self._sql = sql
        self._shop_id = shop_id
        self._secrets = secrets
        self._last = Head("", 0, BEFORE_FIRST)
        self._records: list[Record] = []
        self._heads: list[Head] = []
        self._checkpointed: dict[str, int] = {}
        self._entries: list[list[Any]] = []
        self._rows: dict[str, list[list[Any]]] = {}
        self._waiting = 0

    def run(self, entries: Iterable[str]) -> list[Head]:
        """Write everything; the heads of the chains."""
        # Chains name each other, so references are looked at when all are there.
        self._sql.run(
            "SET CONSTRAINTS ALL DEFERRED"
            if self._sql.postgresql
            else "PRAGMA defer_foreign_keys = ON"
        )
        for text in entries:
            self._entry(text)
            if self._waiting >= AT_ONCE:
                self._put_down()
        self._end_chain()
        self._put_down()
        self._sql.put(
            "heads",
            ("chain", "shop_id", "position", "hash", "checkpointed"),
            [
                (h.chain, self._shop_id, h.position, h.hash, self._checkpointed.get(h.chain, 0))
                for h in self._heads
            ],
        )
        return self._heads

    def _entry(self, text: str) -> None:
        payload = json.loads(text)
        chain = payload["chain"]
        if chain != self._last.chain:
            self._end_chain()
            self._last = Head(chain, 0, BEFORE_FIRST)
        position = self._last.position + 1
        if (payload["position"], payload["previous"], payload["shop_id"]) != (
            position,
            self._last.hash,
            self._shop_id,
        ):
            raise CannotReplay(
                f"Entry {payload['position']} of chain {chain} does not follow entry "
                f"{self._last.position}. The file was changed or cut; take another backup."
            )
        hash = sha256_of(text)
        self._last = Head(chain, position, hash)
        named = payload | {"payload": text, "hash": hash}
        self._entries.append([named[name] for name in JOURNAL_COLUMNS])
        for head in payload["heads"]:
            # The opening of a job names its first entry; a checkpoint is what counts here.
            if payload["kind"] == "checkpoint":
                self._checkpointed[head["chain"]] = head["position"]
        for ordinal, item in enumerate(payload["rows"]):
            self._row(item["table"], item["row"], position, ordinal)

    def _row(self, table: str, told: Mapping[str, Any], position: int, ordinal: int) -> None:
        codec = CODECS[table]
        record = codec.decode(told)
        values, _, _ = codec.encode(record)
        for number, name in enumerate(codec.names):
            if (table, name) in SECRETS:
                secret = self._secrets.get((table, record.id))
                if secret is not None and digest(secret) != told[name]:
                    raise CannotReplay(
                        f"The secret of {table} {record.id} is not the one its entry tells of. "
                        "The file was changed; take another backup."
                    )
                # Without the secret its digest stands there, with which nobody signs in.
                values[number] = told[name] if secret is None else secret
        self._rows.setdefault(table, []).append([*values, position, ordinal])
        self._waiting += 1
        if self._last.chain != self._shop_id:
            self._records.append(record)

    def _end_chain(self) -> None:
        if self._last.position:
            self._heads.append(self._last)
        if self._records:
            self._put_down()
            file = RecordFile(self._last.chain).with_records(self._records)
            put_lines(self._sql, all_lines(file))
            self._records = []

    def _put_down(self) -> None:
        for table in sorted(self._rows, key=RANK.__getitem__):
            names = (*CODECS[table].names, *PLACE)
            self._sql.put(table, names, self._rows[table])
        self._sql.put("journal", JOURNAL_COLUMNS, self._entries)
        self._rows, self._entries, self._waiting = {}, [], 0

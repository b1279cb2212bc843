"""The first entry of a shop: the shop itself, its first manager, and the manager's password."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4

from service.domain.moment import as_text
from service.domain.records.base import Record
from service.domain.records.shop import Credential, Person, Shop
from service.domain.terms import Role
from service.storage.journal import BEFORE_FIRST, INSERT_ENTRY, Head, make_entry
from service.storage.schema import CODECS, PLACE
from service.storage.sql import Sql, insert_into

KIND = "create_shop"


@dataclass(frozen=True, slots=True)
class FirstEntry:
    """What a new shop's chain begins with."""

    records: tuple[Record, ...]
    shop_id: str
    manager_id: str
    now: datetime

    def write(self, sql: Sql) -> Head:
        """Write the records, the entry and the head."""
        rows = []
        for ordinal, record in enumerate(self.records):
            codec = CODECS[record.table]
            values, plain, _ = codec.encode(record)
            rows.append({"table": record.table, "row": plain})
            sql.run(
                insert_into(record.table, (*codec.names, *PLACE)),
                [*values, 1, ordinal],
            )
        entry = make_entry(
            Head(self.shop_id, 0, BEFORE_FIRST),
            shop_id=self.shop_id,
            change_id=str(uuid4()),
            kind=KIND,
            fingerprint="",
            person_id=self.manager_id,
            received_at=as_text(self.now),
            rows=rows,
        )
        sql.run(INSERT_ENTRY, entry)
        sql.run(
            insert_into("heads", ("chain", "shop_id", "position", "hash")),
            (entry.chain, self.shop_id, entry.position, entry.hash),
        )
        return entry.head


def first_entry(
    name: str,
    *,
    manager: str,
    password_hash: str | None,
    is_demo: bool,
    shop_id: str | None,
    manager_id: str | None,
    now: datetime,
) -> FirstEntry:
    """Make the records of a new shop."""
    shop_id = shop_id or str(uuid4())
    manager_id = manager_id or str(uuid4())
    every: dict[str, Any] = {
        "shop_id": shop_id,
        "author_id": manager_id,
        "observed_at": now,
        "received_at": now,
    }
    records: list[Record] = [
        Shop(id=shop_id, name=name, is_demo=is_demo, **every),
        Person(id=manager_id, name=manager, roles=(Role.MANAGER,), **every),
    ]
    if password_hash is not None:
        records.append(
            Credential(id=str(uuid4()), person_id=manager_id, password_hash=password_hash, **every)
        )
    return FirstEntry(tuple(records), shop_id, manager_id, now)

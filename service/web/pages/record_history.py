"""The revisions of a record, read off the journal: who changed what, when and why."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from service.domain.records.base import JobRecord
from service.use_cases.queries import JournalEntry, Queries
from service.web.pages.record_fields import shown
from service.web.pages.record_words import Files, label_of

AT_A_TIME = 400
STAMPED = {name for name in JobRecord.__dataclass_fields__ if name != "observed_at"}
"""What every row carries of its own; the rest is what the record says."""

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Revision:
    """One row of a record as the journal has it, with the entry it came in."""

    row: Row
    entry: JournalEntry


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldChange:
    """A field before and after."""

    label: str
    was: str
    now: str


def entries_of(queries: Queries, chain: str) -> Iterator[JournalEntry]:
    """Every entry of a chain, newest first."""
    before = None
    while True:
        entries = queries.journal(chain, before=before, limit=AT_A_TIME)
        yield from entries
        if len(entries) < AT_A_TIME:
            return
        before = entries[-1].position


def revisions_of(queries: Queries, chain: str, table: str, id: str) -> list[Revision]:
    """Every row of a record, the newest first, back to the one that began it."""
    found: list[Revision] = []
    for entry in entries_of(queries, chain):
        # Most entries do not name it, and telling so is far cheaper than reading them.
        if id not in entry.payload:
            continue
        for item in json.loads(entry.payload).get("rows", ()):
            row = item["row"]
            if item["table"] == table and id in (row["id"], row["corrects"]):
                found.append(Revision(row=row, entry=entry))
                if row["revision"] == 1:
                    return found
    return found


def earlier_rows(queries: Queries, chain: str, rows: Sequence[tuple[str, Row]]) -> dict[str, Row]:
    """By the id of each of these rows, given with its table, the row it took the place of."""
    waiting = {(table, row["corrects"], row["revision"] - 1): row["id"] for table, row in rows}
    found: dict[str, Row] = {}
    if not waiting:
        return found
    for entry in entries_of(queries, chain):
        if not any(root in entry.payload for _, root, _ in waiting):
            continue
        for item in json.loads(entry.payload).get("rows", ()):
            row = item["row"]
            key = (item["table"], row["corrects"] or row["id"], row["revision"])
            later = waiting.pop(key, None)
            if later is not None:
                found[later] = row
        if not waiting:
            break
    return found


def changes_between(before: Row, after: Row, files: Files, zone: str) -> tuple[FieldChange, ...]:
    """The fields in which two rows of one record differ."""
    return tuple(
        FieldChange(
            label=label_of(name),
            was=shown(name, before.get(name), files, zone),
            now=shown(name, value, files, zone),
        )
        for name, value in after.items()
        if name not in STAMPED and before.get(name) != value
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RevisionShown:
    """A revision as it is listed; ``changes`` are those from the one before it."""

    number: int
    at: datetime
    by: str
    reason: str
    withdrawn: bool
    changes: tuple[FieldChange, ...]
    position: int
    hash: str


def shown_revisions(
    revisions: Sequence[Revision], files: Files, zone: str, name: Mapping[str, str]
) -> tuple[RevisionShown, ...]:
    """The revisions, newest first, each with what it changed; ``name`` gives people by id."""
    befores = [*revisions[1:], None]
    return tuple(
        RevisionShown(
            number=revision.row["revision"],
            at=revision.entry.received_at,
            by=name.get(revision.entry.person_id, "somebody unknown"),
            reason=revision.row["reason"] or "",
            withdrawn=revision.row["withdrawn"],
            changes=changes_between(before.row, revision.row, files, zone)
            if before is not None
            else (),
            position=revision.entry.position,
            hash=revision.entry.hash,
        )
        for revision, before in zip(revisions, befores, strict=True)
    )

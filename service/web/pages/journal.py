"""The journal of a job and of the shop: who did what, when, under which hash."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.lookups import the_job
from service.domain.moment import from_text
from service.domain.terms import Role
from service.use_cases.queries import JournalEntry
from service.web.access import ANYBODY_HERE, Rule, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.pages.bench_views import person_name
from service.web.pages.journal_words import sentence_of
from service.web.pages.office import office_frame
from service.web.pages.record_history import FieldChange, changes_between, earlier_rows
from service.web.pages.record_words import Files

router = APIRouter()
page_rules(
    {
        ("GET", "/jobs/{job_id}/journal"): ANYBODY_HERE,
        ("GET", "/shop/journal"): Rule(frozenset({Role.MANAGER}), "read the shop's journal"),
    }
)

ENTRIES = 50

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryShown:
    """An entry as it is listed."""

    position: int
    hash: str
    at: datetime
    happened: datetime | None
    person: str
    sentence: str
    followed: int
    reason: str
    changes: tuple[FieldChange, ...]
    job_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalPage:
    """Some entries of a chain, newest first."""

    frame: Frame
    of_shop: bool
    name: str
    back_href: str
    entries: tuple[EntryShown, ...]
    next_href: str
    first_href: str


@router.get("/jobs/{job_id}/journal", name="journal")
def journal(here: Here, job_id: str, before: int | None = None) -> Response:
    """The journal of a job."""
    file = here.store.job(job_id)
    files = Files(file, here.store.shop())
    entries, older = _entries(here, job_id, files, before)
    job = the_job(file)
    page = JournalPage(
        frame=office_frame(here),
        of_shop=False,
        name=f"{job.title}, {job.work_order}",
        back_href=here.link("job", job_id=job_id),
        entries=entries,
        next_href=here.link("journal", job_id=job_id, before=older) if older else "",
        first_href=here.link("journal", job_id=job_id) if before else "",
    )
    return here.render("journal.html", page)


@router.get("/shop/journal", name="shop_journal")
def shop_journal(here: Here, before: int | None = None) -> Response:
    """The shop's own journal: people, instruments, product sheets, the opening of each job."""
    shop = here.store.shop()
    entries, older = _entries(here, here.store.shop_id, Files(shop, shop), before)
    page = JournalPage(
        frame=office_frame(here),
        of_shop=True,
        name=here.services.shop_name,
        back_href=here.link("shop_book"),
        entries=entries,
        next_href=here.link("shop_journal", before=older) if older else "",
        first_href=here.link("shop_journal") if before else "",
    )
    return here.render("journal.html", page)


def _entries(
    here: PageContext, chain: str, files: Files, before: int | None
) -> tuple[tuple[EntryShown, ...], int | None]:
    """One page of a chain, and the position to go on from."""
    found = here.queries.journal(chain, before=before, limit=ENTRIES)
    payloads = [json.loads(entry.payload) for entry in found]
    rows = [
        [(item["table"], item["row"]) for item in payload.get("rows", ())] for payload in payloads
    ]
    corrected = [(table, row) for of in rows for table, row in of if row["corrects"]]
    before_rows = earlier_rows(here.queries, chain, corrected)
    shown = tuple(
        _shown(here, files, entry, payload, of, before_rows)
        for entry, payload, of in zip(found, payloads, rows, strict=True)
    )
    return shown, found[-1].position if found and found[-1].position > 1 else None


def _shown(
    here: PageContext,
    files: Files,
    entry: JournalEntry,
    payload: Row,
    rows: Sequence[tuple[str, Row]],
    before: Mapping[str, Row],
) -> EntryShown:
    happened = from_text(rows[0][1]["observed_at"]) if rows else None
    is_correction = bool(rows) and rows[0][1]["corrects"] is not None
    heads = payload.get("heads", ())
    opened = heads[0]["chain"] if entry.kind == "open_job" and heads else ""
    return EntryShown(
        position=entry.position,
        hash=entry.hash,
        at=entry.received_at,
        happened=None if is_correction else happened,
        person=person_name(files.shop, entry.person_id),
        sentence=_sentence(entry, rows, files),
        followed=sum(table == "verdicts" for table, _ in rows),
        reason=next((row["reason"] for _, row in rows if row["reason"]), ""),
        changes=tuple(_changes(rows, before, files, here.zone)),
        job_href=here.link("journal", job_id=opened) if opened else "",
    )


def _sentence(entry: JournalEntry, rows: Sequence[tuple[str, Row]], files: Files) -> str:
    said = sentence_of(entry.kind, rows, files)
    if any(row["withdrawn"] for _, row in rows) and entry.kind in ("correct", "correct_shop"):
        return said.replace("corrected the entry of", "withdrew")
    return said


def _changes(
    rows: Sequence[tuple[str, Row]], before: Mapping[str, Row], files: Files, zone: str
) -> Iterable[FieldChange]:
    for _, row in rows:
        if row["id"] in before:
            yield from changes_between(before[row["id"]], row, files, zone)

"""Cards whose colour moved since they were first read, the most first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.ageing import span
from service.domain.drift import MOVED_BY, Drift, drifts_of, read_while_curing
from service.domain.lines import CardLine
from service.domain.lookups import readings_of_card
from service.domain.pooling import same_age
from service.domain.records.cards import Card
from service.domain.terms import Role
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext

router = APIRouter()
page_rules({("GET", "/audit/moved"): ANYBODY_HERE})

CARDS = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class CardMoved:
    """A card with the drift of the stage and angle at which it moved most.

    ``range`` bounds 95 % of where its ΔE00 lies, None when the readings are too few to say.
    ``cure`` says that part of it may be cure.
    """

    line: CardLine
    href: str
    drift: Drift
    range: tuple[float, float] | None
    within: str
    cure: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedPage:
    """The cards that moved, one page of them; ``shown`` counts those of it that noise does not
    explain, ``more`` says that others are on other pages."""

    frame: Frame
    cards: tuple[CardMoved, ...]
    shown: int
    more: bool
    least: float
    next_href: str
    first_href: str
    due_href: str


@router.get("/audit/moved", name="audit_moved")
def audit_moved(here: Here, after: str = "") -> Response:
    """The list, worst first."""
    return here.render("audit_moved.html", moved_page(here, after))


def moved_page(here: PageContext, after: str) -> MovedPage:
    """Everything the page shows."""
    found = here.queries.moved_cards(at_least=MOVED_BY, after=after or None, limit=CARDS)
    cards = tuple(_moved(here, found.lines))
    return MovedPage(
        frame=here.frame("audit" if Role.MANAGER in here.roles else "rack"),
        cards=cards,
        shown=sum(one.drift.moved is True for one in cards),
        more=bool(found.after or after),
        least=MOVED_BY,
        next_href=here.link("audit_moved", after=found.after) if found.after else "",
        first_href=here.link("audit_moved") if after else "",
        due_href=here.link("audit_due"),
    )


def _moved(here: PageContext, lines: Iterable[CardLine]) -> Iterable[CardMoved]:
    for line in lines:
        file = here.store.job(line.job_id)
        drift = _most(drifts_of(readings_of_card(file, line.id)))
        if drift is None:
            # Somebody dropped a reading since the list was read.
            continue
        reach = None
        if drift.low is not None and drift.high is not None:
            reach = (drift.low, drift.high)
        yield CardMoved(
            line=line,
            href=here.link("card", code=line.code),
            drift=drift,
            range=reach,
            within=span(drift.newest.observed_at - drift.first.observed_at),
            cure=read_while_curing(drift, file.get(Card, line.id).observed_at),
        )


def _most(drifts: list[Drift]) -> Drift | None:
    aged = [d for d in drifts if not same_age(d.first.observed_at, d.newest.observed_at)]
    return max(aged, key=lambda drift: drift.delta_e_2000, default=None)

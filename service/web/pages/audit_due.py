"""Cards that are due to be read again: which, where they hang, and what they are kept for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.ageing import DUE_MONTHS, months_before
from service.domain.lines import CardLine
from service.domain.moment import from_text
from service.domain.refused import Invalid
from service.domain.terms import Role
from service.use_cases.queries import DueCounts, DueOrder
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.forms import Form
from service.web.pages.audit_slots import slot_order

router = APIRouter()
page_rules({("GET", "/audit/due"): ANYBODY_HERE})

BY_NEED, ON_A_WALK = 50, 200
"""Cards on a page; a walk is to be one list, as far as anybody walks with one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CardDue:
    """A card with when it was read last, and by how many days it is over."""

    line: CardLine
    href: str
    read_href: str
    read_at: datetime
    days_over: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DuePage:
    """The cards that are due, one page of them; ``today`` is when the list was made."""

    frame: Frame
    form: Form
    months: int
    by_slot: bool
    counts: DueCounts
    cards: tuple[CardDue, ...]
    today: datetime
    other_order_href: str
    next_href: str
    first_href: str
    csv_href: str
    moved_href: str


@router.get("/audit/due", name="audit_due")
def audit_due(here: Here, months: str = "", order: str = "", after: str = "") -> Response:
    """The list; how many months, and in which order, stands in the address."""
    form = Form({"months": [months or str(DUE_MONTHS)]})
    asked = _months(form, months)
    page = due_page(here, form, asked, order == DueOrder.SLOT, after)
    return here.render("audit_due.html", page, 422 if form.errors else 200)


def _months(form: Form, typed: str) -> int:
    """The months that were asked for; a year where none were, or none that can be."""
    try:
        if not typed.strip():
            return DUE_MONTHS
        if not typed.strip().isdecimal():
            raise Invalid("months", f"{typed!r} is no number of months. Enter one, such as 12.")
        months_before(datetime.now(UTC), int(typed[:9]))
        return int(typed)
    except Invalid as invalid:
        form.refuse(invalid)
        return DUE_MONTHS


def due_page(here: PageContext, form: Form, months: int, by_slot: bool, after: str) -> DuePage:
    """Everything the page shows."""
    now = datetime.now(UTC)
    before = months_before(now, months)
    order = DueOrder.SLOT if by_slot else DueOrder.NEED
    found = here.queries.due_cards(
        read_before=before,
        order=order,
        after=after or None,
        limit=ON_A_WALK if by_slot else BY_NEED,
    )
    lines = list(found.lines)
    if by_slot and not after and found.after is None:
        # Only a whole list can be put as people count: A-2 before A-10.
        lines.sort(key=lambda line: slot_order(line.slot))
    asked = {"months": str(months)} if months != DUE_MONTHS else {}
    ordered = asked | ({"order": DueOrder.SLOT.value} if by_slot else {})
    other = asked if by_slot else asked | {"order": DueOrder.SLOT.value}
    manager = Role.MANAGER in here.roles
    return DuePage(
        frame=here.frame("audit" if manager else "rack", refused=bool(form.errors)),
        form=form,
        months=months,
        by_slot=by_slot,
        counts=here.queries.due_counts(read_before=before),
        cards=tuple(_due(here, lines, before)),
        today=now,
        other_order_href=here.link("audit_due", **other),
        next_href=here.link("audit_due", **ordered, after=found.after) if found.after else "",
        first_href=here.link("audit_due", **ordered) if after else "",
        csv_href=here.link("due_csv", months=str(months), order=order.value),
        moved_href=here.link("audit_moved"),
    )


def _due(here: PageContext, lines: Iterable[CardLine], before: datetime) -> Iterable[CardDue]:
    for line in lines:
        read_at = from_text(line.read_at or "")
        yield CardDue(
            line=line,
            href=here.link("card", code=line.code),
            read_href=here.link("reading_new", code=line.code, again="yes"),
            read_at=read_at,
            days_over=(before - read_at).days,
        )

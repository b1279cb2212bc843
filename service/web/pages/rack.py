"""The rack: one search box for every card, with filters that stay in the address."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Depends
from starlette.responses import Response

from service.domain.card_code import check_card_code, grouped
from service.domain.code_slips import as_a_code, one_slip_away
from service.domain.lines import CardLine, JobLine
from service.domain.records.shop import Person
from service.domain.refused import Invalid, Refused
from service.use_cases.queries import CardSearch, Page
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Option
from service.web.pages.bench_views import person_name
from service.web.pages.rack_hits import CardHit, card_hits

router = APIRouter()
page_rules({("GET", "/rack"): ANYBODY_HERE})

Search = Annotated[CardSearch, Depends(CardSearch)]

HITS = 24
MOST_SLOTS = 200
OPEN_JOBS = 50
NOTHING = CardSearch()

WHERE = (
    Option("", "Anywhere"),
    Option("in", "In its slot"),
    Option("out", "Out with somebody"),
    Option("missing", "Missing"),
)


class NoSuchCode(Invalid):
    """A code that is right and belongs to no card."""

    def __init__(self, code: str) -> None:
        super().__init__(
            "text",
            f"No card has the code {grouped(code)}. Compare it with the label, or log the card "
            "from the bench if its label is new.",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class AppliedFilter:
    """A filter in force, with the address that takes it off."""

    text: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairInHand:
    """An open repair."""

    line: JobLine
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RackPage:
    """What was asked, what fits, and what else is here."""

    frame: Frame
    form: Filled
    asked: bool
    narrowed: bool
    hits: tuple[CardHit, ...]
    near: tuple[CardHit, ...]
    kept: tuple[tuple[str, str], ...]
    applied: tuple[AppliedFilter, ...]
    painters: tuple[Option, ...]
    slots: tuple[str, ...]
    wheres: tuple[Option, ...]
    next_href: str
    first_href: str
    repairs: tuple[RepairInHand, ...]


@router.get("/rack", name="rack")
def rack(here: Here, search: Search, after: str = "") -> Response:
    """Cards that fit, newest first; a whole code leads straight to its card."""
    typed = as_a_code(search.text)
    found = _under_code(here, typed)
    if found is not None:
        return here.see_other("card", code=found.code)
    form = _form(search)
    near = _near(here, typed)
    try:
        page = _found(here, search, after, near)
    except Refused as refusal:
        empty: Page[CardLine] = Page(lines=())
        return here.refused(
            form, refusal, "rack.html", lambda f: _page(here, f, form, search, empty), "rack"
        )
    if typed is not None and not page.lines:
        form.refuse(about_code(typed, search.text))
    frame = here.frame("rack")
    return here.render("rack.html", _page(here, frame, form, search, page, after, near))


def _found(
    here: PageContext, search: CardSearch, after: str, near: Sequence[CardLine]
) -> Page[CardLine]:
    """The cards that fit; none where the text is a slip away from a code, for it is no word."""
    if near:
        return Page(lines=())
    return here.queries.cards(search, after=after or None, limit=HITS)


def about_code(code: str, typed: str) -> Invalid:
    """What is to be said of a code no card has: that it has a typo, or that there is none."""
    try:
        check_card_code(code, typed)
    except Invalid as invalid:
        return Invalid("text", str(invalid))
    return NoSuchCode(code)


def _under_code(here: PageContext, code: str | None) -> CardLine | None:
    try:
        return here.queries.card_by_code(code) if code else None
    except Invalid:
        return None


def _near(here: PageContext, code: str | None) -> tuple[CardLine, ...]:
    """The cards one slip of the finger away from what was typed."""
    if code is None:
        return ()
    found = (here.queries.card_by_code(one) for one in one_slip_away(code))
    return tuple(line for line in found if line is not None)


def _form(search: CardSearch) -> Form:
    given = _given(search)
    return Form({name: [value] for name, value in given.items()} if given else None)


def _given(search: CardSearch) -> dict[str, str]:
    return {name: value for name, value in asdict(search).items() if value}


def _page(
    here: PageContext,
    frame: Frame,
    form: Form,
    search: CardSearch,
    page: Page[CardLine],
    after: str = "",
    near: Iterable[CardLine] = (),
) -> RackPage:
    given = _given(search)
    narrowing = {name: value for name, value in given.items() if name != "text"}
    return RackPage(
        frame=frame,
        form=Filled(form=form),
        asked=bool(given),
        narrowed=bool(narrowing),
        hits=card_hits(here, page.lines),
        near=card_hits(here, near),
        kept=tuple(narrowing.items()),
        applied=tuple(_applied(here, search)),
        painters=(Option("", "Anybody"), *_painters(here)),
        slots=here.queries.values("slot", limit=MOST_SLOTS),
        wheres=WHERE,
        next_href=here.link("rack", **given, after=page.after) if page.after else "",
        first_href=here.link("rack", **given) if after else "",
        repairs=tuple(_repairs(here)) if not given and not after else (),
    )


def _painters(here: PageContext) -> Iterable[Option]:
    people = here.store.shop().all(Person)
    return [Option(person.root, person.name) for person in sorted(people, key=lambda p: p.name)]


def _applied(here: PageContext, search: CardSearch) -> Iterable[AppliedFilter]:
    """Each filter in words. Its address keeps the others and leaves this one out."""
    shop = here.store.shop()
    wheres = {option.value: option.text for option in WHERE}
    said = {
        "slot": f"Slot {search.slot}",
        "panel": f"Panel {search.panel}",
        "colour": f"Colour {search.colour}",
        "painter_id": f"Sprayed by {person_name(shop, search.painter_id)}",
        "whereabouts": wheres.get(search.whereabouts, search.whereabouts),
        "sprayed_from": f"From {search.sprayed_from}",
        "sprayed_to": f"Until {search.sprayed_to}",
        "job_id": "One job",
        "finish_id": "One finish",
        "batch_id": "One batch",
    }
    for name in _given(search):
        if name in said:
            without = replace(search, **{name: ""})
            yield AppliedFilter(text=said[name], href=here.link("rack", **_given(without)))


def _repairs(here: PageContext) -> Iterable[RepairInHand]:
    """The repairs among the newest open jobs."""
    for summary in here.queries.jobs(open_only=True, limit=OPEN_JOBS).lines:
        if summary.line.repairs_job_id:
            href = here.link("repair", job_id=summary.line.id)
            yield RepairInHand(line=summary.line, href=href)

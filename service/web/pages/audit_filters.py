"""The filters of the audit: read from the address, shown as applied, taken off one by one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, datetime

from starlette.requests import Request

from service.domain.lookups import the_job
from service.domain.records.job import Finish
from service.domain.records.shop import Person
from service.domain.refused import Invalid, Unknown
from service.domain.terms import Word
from service.use_cases.queries import BatchFilter
from service.web.context import PageContext
from service.web.filters import VERDICT_WORDS, local_date
from service.web.forms import Form
from service.web.pages.bench_forms import Option
from service.web.pages.bench_views import Action, person_name

NAMES = tuple(field.name for field in fields(BatchFilter))
"""The parameters of the address, the same as those of the API."""

GAPS: Mapping[str, str] = {
    "no_card": "No card",
    "no_reading": "Card not read",
    "no_master": "No master yet",
    "no_verdict": "Not judged yet",
}
WORDS = (Word.SHOWS, Word.NOT_COMPARABLE, Word.CANNOT_TELL, Word.BLENDS)
MOST_VALUES = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What the filters offer."""

    products: tuple[str, ...]
    lots: tuple[str, ...]
    booths: tuple[Option, ...]
    guns: tuple[Option, ...]
    painters: tuple[Option, ...]
    words: tuple[Option, ...]
    gaps: tuple[Option, ...]


def read_filter(request: Request) -> tuple[BatchFilter, Form]:
    """The filter of an address and what was typed; what cannot be taken is refused in the form
    and left out of the filter."""
    given = {name: request.query_params.get(name, "").strip() for name in NAMES}
    form = Form({name: [value] for name, value in given.items() if value})
    good = dict(given)
    for name, check in (
        ("word", _known(Word)),
        ("gap", _known(GAPS)),
        ("sprayed_from", _day),
        ("sprayed_to", _day),
    ):
        try:
            check(name, given[name])
        except Invalid as invalid:
            form.refuse(invalid)
            good[name] = ""
    if good["sprayed_from"] and good["sprayed_to"] and good["sprayed_from"] > good["sprayed_to"]:
        form.refuse(
            Invalid(
                "sprayed_to",
                f"The period ends on {good['sprayed_to']}, before it begins on "
                f"{good['sprayed_from']}. Swap the two days.",
            )
        )
        good["sprayed_to"] = ""
    return BatchFilter(**good), form


def _known(words: Iterable[str]) -> Callable[[str, str], None]:
    known = [str(word) for word in words]

    def check(name: str, value: str) -> None:
        if value and value not in known:
            raise Invalid(name, f"{value!r} is not listed. Pick one of the list.")

    return check


def _day(name: str, value: str) -> None:
    try:
        if value:
            date.fromisoformat(value)
    except ValueError:
        raise Invalid(name, f"{value!r} is no day. Write it like 2026-11-25.") from None


def address(here: PageContext, filter: BatchFilter, name: str = "audit", **more: str) -> str:
    """The address of the audit, or of its file, with this filter."""
    return here.link(name, **{field: getattr(filter, field) for field in NAMES}, **more)


def narrowed(here: PageContext, filter: BatchFilter, **more: str) -> str:
    """The address of the audit with this filter and something more in it."""
    return address(here, replace(filter, **more))


def applied(here: PageContext, filter: BatchFilter) -> tuple[Action, ...]:
    """The filters in force, each leading to the address without it."""
    return tuple(
        Action(
            text=_said(here, name, getattr(filter, name)),
            href=address(here, replace(filter, **{name: ""})),
        )
        for name in NAMES
        if getattr(filter, name)
    )


def _said(here: PageContext, name: str, value: str) -> str:
    """A filter in words."""
    if name == "painter_id":
        return f"Painter: {person_name(here.store.shop(), value)}"
    if name == "job_id":
        return f"Job: {_job_name(here, value)}"
    if name == "finish_id":
        return f"Finish: {_finish_name(here, value)}"
    if name == "word":
        return f"Verdict: {VERDICT_WORDS[value].lower()}"
    if name == "gap":
        return GAPS[value]
    if name in ("sprayed_from", "sprayed_to"):
        which = "From" if name == "sprayed_from" else "To"
        return f"{which} {local_date(datetime.fromisoformat(value + 'T12:00+00:00'), 'UTC')}"
    return f"{name.capitalize()}: {value}"


def _job_name(here: PageContext, job_id: str) -> str:
    try:
        return the_job(here.store.job(job_id)).work_order
    except Unknown:
        return "unknown"


def _finish_name(here: PageContext, finish_id: str) -> str:
    lines = here.queries.batches(BatchFilter(finish_id=finish_id), limit=1).lines
    if not lines:
        return "without a batch"
    finish = here.store.job(lines[0].job_id).find(Finish, finish_id)
    return finish.name if finish is not None else "withdrawn"


def choices(here: PageContext, filter: BatchFilter) -> Choices:
    """Values in use for every filter; what the address asks for is among them."""
    values = here.queries.values
    people = here.store.shop().all(Person)
    painters = [Option(person.root, person.name) for person in people]
    if filter.painter_id and filter.painter_id not in [option.value for option in painters]:
        name = person_name(here.store.shop(), filter.painter_id)
        painters.append(Option(filter.painter_id, name))
    return Choices(
        products=tuple(sorted(values("product", limit=MOST_VALUES))),
        lots=values("lot", limit=MOST_VALUES),
        booths=_options("Any booth", values("booth", limit=MOST_VALUES), filter.booth),
        guns=_options("Any gun", values("gun", limit=MOST_VALUES), filter.gun),
        painters=(Option("", "Anybody"), *painters),
        words=(Option("", "Any"), *(Option(word, VERDICT_WORDS[word]) for word in WORDS)),
        gaps=(Option("", "Any"), *(Option(gap, text) for gap, text in GAPS.items())),
    )


def _options(none: str, values: Iterable[str], asked: str) -> tuple[Option, ...]:
    known = sorted({*values, asked} - {""})
    return (Option("", none), *(Option(value, value) for value in known))

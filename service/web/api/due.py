"""Cards that are due to be read again, as JSON and as a file for a spreadsheet, and those moved."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from itertools import islice
from typing import Annotated

from fastapi import APIRouter, Depends, Query
from starlette.responses import Response, StreamingResponse

from service.domain.ageing import DUE_MONTHS, MOST_MONTHS, months_before
from service.domain.drift import MOVED_BY
from service.domain.lines import CardLine
from service.domain.moment import from_text
from service.use_cases.queries import DueCounts, DueOrder, Page, Queries
from service.web.api.describing import Described, Descriptions
from service.web.api.plain import answer
from service.web.api.reads import After, Limit, only_known_parameters
from service.web.context import Here

PAGE = 200
COLUMNS = (*(f.name for f in fields(CardLine) if f.name not in ("shop_id", "search")), "days_over")

Months = Annotated[
    int, Query(ge=1, le=MOST_MONTHS, description="Due so many months after the last reading")
]
Order = Annotated[
    DueOrder, Query(description="need: masters, last cards, then the rest; slot: along the rack")
]


@dataclass(frozen=True, slots=True, kw_only=True)
class CardsDue:
    """How many cards are due in all, and one page of them."""

    counts: DueCounts
    cards: Page[CardLine]


def due_routes() -> APIRouter:
    """The three routes."""
    router = APIRouter(dependencies=[Depends(only_known_parameters)])
    for path, endpoint, name in (
        ("/api/due", due, "api_due"),
        ("/api/due.csv", due_csv, "due_csv"),
        ("/api/moved", moved, "api_moved"),
    ):
        router.add_api_route(
            path,
            endpoint,
            methods=["GET"],
            name=name,
            operation_id=f"get_{endpoint.__name__}",
            tags=["audit"],
            response_model=None,
        )
    return router


def due_descriptions() -> Descriptions:
    """What OpenAPI tells of them."""
    return {
        ("GET", "/api/due"): Described(answer=CardsDue),
        ("GET", "/api/due.csv"): Described(gives_media=("text/csv",)),
        ("GET", "/api/moved"): Described(answer=Page[CardLine]),
    }


def due(
    here: Here,
    months: Months = DUE_MONTHS,
    order: Order = DueOrder.NEED,
    after: After = None,
    limit: Limit = 50,
) -> Response:
    """Cards in the rack that are due to be read again, with how many there are in all."""
    before = months_before(datetime.now(UTC), months)
    cards = here.queries.due_cards(read_before=before, order=order, after=after, limit=limit)
    return answer(CardsDue(counts=here.queries.due_counts(read_before=before), cards=cards))


def moved(
    here: Here,
    at_least: Annotated[float, Query(ge=0, le=100, description="CIEDE2000")] = MOVED_BY,
    after: After = None,
    limit: Limit = 50,
) -> Response:
    """Cards whose newest reading lies so far from their own first, the most first."""
    return answer(here.queries.moved_cards(at_least=at_least, after=after, limit=limit))


def due_csv(here: Here, months: Months = DUE_MONTHS, order: Order = DueOrder.NEED) -> Response:
    """Every card that is due, one row each; a spreadsheet runs none of it."""
    before = months_before(datetime.now(UTC), months)
    lines = here.services.csv_lines(COLUMNS, _rows(here.queries, before, order))
    return StreamingResponse(
        _in_pieces(lines),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="due.csv"'},
    )


def _in_pieces(lines: Iterator[str]) -> Iterator[str]:
    """Some hundred lines at a time: each piece that is sent costs a turn of a thread."""
    while piece := "".join(islice(lines, PAGE)):
        yield piece


def _rows(
    queries: Queries, before: datetime, order: DueOrder
) -> Iterable[Sequence[str | int | float | datetime | None]]:
    after = None
    while True:
        page = queries.due_cards(read_before=before, order=order, after=after, limit=PAGE)
        for line in page.lines:
            over = (before - from_text(line.read_at or "")).days
            yield [*(getattr(line, name) for name in COLUMNS[:-1]), over]
        if page.after is None:
            return
        after = page.after

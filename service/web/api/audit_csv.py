"""The audit's batches as a file for a spreadsheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields
from datetime import datetime
from itertools import islice
from typing import Annotated

from fastapi import APIRouter, Depends
from starlette.responses import Response, StreamingResponse

from service.domain.lines import BatchLine
from service.use_cases.queries import BatchFilter, Queries
from service.web.api.describing import Described, Descriptions
from service.web.api.reads import only_known_parameters
from service.web.context import Here

PAGE = 200
COLUMNS = tuple(field.name for field in fields(BatchLine) if field.name != "shop_id")


def csv_routes() -> APIRouter:
    """The one route."""
    router = APIRouter(dependencies=[Depends(only_known_parameters)])
    router.add_api_route(
        "/api/audit.csv",
        audit_csv,
        methods=["GET"],
        name="audit_csv",
        operation_id="get_audit_csv",
        tags=["audit"],
        response_model=None,
    )
    return router


def csv_descriptions() -> Descriptions:
    """What OpenAPI tells of it."""
    return {("GET", "/api/audit.csv"): Described(gives_media=("text/csv",))}


def audit_csv(here: Here, filter: Annotated[BatchFilter, Depends(BatchFilter)]) -> Response:
    """Every batch that fits, newest first, one row each; a spreadsheet runs none of it."""
    lines = here.services.csv_lines(COLUMNS, _rows(here.queries, filter))
    return StreamingResponse(
        _in_pieces(lines),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="audit.csv"'},
    )


def _in_pieces(lines: Iterator[str]) -> Iterator[str]:
    """Some hundred lines at a time: each piece that is sent costs a turn of a thread."""
    while piece := "".join(islice(lines, PAGE)):
        yield piece


def _rows(
    queries: Queries, filter: BatchFilter
) -> Iterable[Sequence[str | int | float | datetime | None]]:
    for line in _lines(queries, filter):
        yield [getattr(line, name) for name in COLUMNS]


def _lines(queries: Queries, filter: BatchFilter) -> Iterator[BatchLine]:
    after = None
    while True:
        page = queries.batches(filter, after=after, limit=PAGE)
        yield from page.lines
        if page.after is None:
            return
        after = page.after

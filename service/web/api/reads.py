"""The GET routes: lists and searches over many jobs, a whole job, a whole card."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query
from fastapi.dependencies.models import Dependant
from starlette.requests import Request
from starlette.responses import Response

from service.domain.card_code import new_card_code, read_card_code
from service.domain.lines import BatchLine, CardLine
from service.domain.records.measuring import Reading
from service.domain.records.shop import (
    CheckTile,
    Instrument,
    Person,
    PhotoTarget,
    Product,
    TileReading,
)
from service.domain.refused import Invalid, Unknown
from service.use_cases.queries import (
    Audit,
    BatchFilter,
    CardSearch,
    JobSummary,
    JournalEntry,
    NearCard,
    Page,
)
from service.use_cases.side_by_side import SideBySide, lay_side_by_side
from service.use_cases.under_lights import lights_of_batch
from service.web.api.answers import (
    BatchWhole,
    CardWhole,
    CheckTiles,
    Codes,
    Health,
    Instruments,
    JobWhole,
    Me,
    People,
    PhotoTargets,
    Products,
    Values,
)
from service.web.api.describing import Described, Descriptions
from service.web.api.plain import answer
from service.web.api.whole import batch_whole, card_whole, job_to_answer
from service.web.context import Here
from service.web.services import services_of

Limit = Annotated[int, Query(ge=1, le=200, description="How many lines at most")]
After = Annotated[str | None, Query(description="The `after` of the page before, for the next")]


async def only_known_parameters(request: Request) -> None:
    """Refuse a query parameter the route does not have: a misspelt filter filters nothing."""
    known = _parameters(request.scope["route"].dependant)
    for name in request.query_params:
        if name not in known:
            takes = f"It takes {', '.join(sorted(known))}." if known else "It takes none."
            raise Invalid(name, f"{name!r} is no parameter of this request. {takes}")


def _parameters(dependant: Dependant) -> set[str]:
    """Names of the query parameters of a route and of what it depends on."""
    own = {parameter.alias for parameter in dependant.query_params}
    return own.union(*(_parameters(inner) for inner in dependant.dependencies))


def read_routes() -> APIRouter:
    """All of them."""
    router = APIRouter(dependencies=[Depends(only_known_parameters)])
    for path, (endpoint, _, tag) in _reads().items():
        router.add_api_route(
            path,
            endpoint,
            methods=["GET"],
            response_model=None,
            tags=[tag],
            name=f"api_{endpoint.__name__}",
            operation_id=f"get_{endpoint.__name__}",
        )
    return router


def read_descriptions() -> Descriptions:
    """What OpenAPI tells of them."""
    return {
        ("GET", path): Described(
            answer=model,
            errors=() if path == "/healthz" else (401, 403, 404, 422, 503),
            public=path == "/healthz",
        )
        for path, (_, model, _) in _reads().items()
    }


def _reads() -> dict[str, tuple[Callable[..., Any], Any, str]]:
    """By path: what answers, what it answers, and under which heading it is described."""
    return {
        "/api/jobs": (jobs, Page[JobSummary], "job"),
        "/api/jobs/by-work-order/{work_order}": (job_by_work_order, JobWhole, "job"),
        "/api/jobs/{job_id}": (job, JobWhole, "job"),
        "/api/jobs/{job_id}/batches/{batch_id}": (batch, BatchWhole, "job"),
        "/api/jobs/{job_id}/readings/{reading_id}": (reading, Reading, "job"),
        "/api/cards": (cards, Page[CardLine], "cards"),
        "/api/cards/{code}": (card, CardWhole, "cards"),
        "/api/card-codes": (card_codes, Codes, "cards"),
        "/api/nearest": (nearest, list[NearCard], "cards"),
        "/api/compare": (compare, SideBySide, "cards"),
        "/api/batches": (batches, Page[BatchLine], "audit"),
        "/api/audit": (audit, Audit, "audit"),
        "/api/values/{field}": (values, Values, "audit"),
        "/api/journal/{chain}": (journal, list[JournalEntry], "audit"),
        "/api/instruments": (instruments, Instruments, "shop"),
        "/api/check-tiles": (check_tiles, CheckTiles, "shop"),
        "/api/products": (products, Products, "shop"),
        "/api/photo-targets": (photo_targets, PhotoTargets, "shop"),
        "/api/people": (people, People, "shop"),
        "/api/me": (me, Me, "shop"),
        "/healthz": (healthz, Health, "service"),
    }


async def healthz(request: Request) -> Response:
    """Whether the service answers."""
    services = services_of(request)
    return answer({"status": "ok", "version": services.version, "shop": services.shop_name or None})


def jobs(
    here: Here, text: str = "", open_only: bool = False, after: After = None, limit: Limit = 50
) -> Response:
    """Jobs, newest first; `text` is any words of work order and title."""
    return answer(here.queries.jobs(text=text, open_only=open_only, after=after, limit=limit))


def job(here: Here, job_id: str) -> Response:
    """A whole job: records by table, findings with the worst first, joints with both sides."""
    return answer(job_to_answer(here.store.job(job_id)))


def batch(here: Here, job_id: str, batch_id: str) -> Response:
    """A batch: its mix, coats, cards and verdicts, and how it looks under other lights."""
    file = here.store.job(job_id)
    found = batch_whole(file, batch_id, lights_of_batch(here.store, file, batch_id))
    return answer(found)


def reading(here: Here, job_id: str, reading_id: str) -> Response:
    """A reading of a card or of the car, with its spectra where it has them."""
    return answer(here.store.job(job_id).get(Reading, reading_id))


def job_by_work_order(here: Here, work_order: str) -> Response:
    """A whole job by the number on its work order."""
    after = None
    while True:
        page = here.queries.jobs(text=work_order, after=after, limit=200)
        for summary in page.lines:
            if summary.line.work_order == work_order:
                return answer(job_to_answer(here.store.job(summary.line.job_id)))
        if page.after is None:
            raise Unknown("work order", work_order)
        after = page.after


def cards(
    here: Here,
    search: Annotated[CardSearch, Depends(CardSearch)],
    after: After = None,
    limit: Limit = 50,
) -> Response:
    """Cards that fit everything given, newest first."""
    return answer(here.queries.cards(search, after=after, limit=limit))


def card(here: Here, code: str) -> Response:
    """A whole card by its code, typed in any way."""
    line = here.card(code)
    return answer(card_whole(here.store.job(line.job_id), here.store.shop(), line))


def card_codes(count: Annotated[int, Query(ge=1, le=500)] = 1) -> Response:
    """Fresh codes for labels; a code is taken once a card is logged under it."""
    return answer({"codes": [new_card_code() for _ in range(count)]})


def nearest(
    here: Here,
    lab: Annotated[str, Query(description="L*,a*,b* with points, for instance 44.1,-2.3,-8.0")],
    illuminant: str,
    observer: int,
    geometry: str,
    angle: Annotated[int | None, Query(ge=-90, le=175)] = None,
    count: Annotated[int, Query(ge=1, le=100)] = 8,
) -> Response:
    """The stored cards nearest to a colour by CIEDE2000, among those read alike."""
    return answer(
        here.queries.nearest_cards(
            _lab(lab),
            illuminant=illuminant,
            observer=observer,
            geometry=geometry,
            angle=angle,
            count=count,
        )
    )


def compare(
    here: Here, codes: Annotated[list[str], Query(description="Two card codes or more")]
) -> Response:
    """Any cards side by side: how far apart each pair looks, and in which direction."""
    wanted = list(dict.fromkeys(read_card_code(code) for code in codes))
    return answer(lay_side_by_side([here.card(code) for code in wanted]))


def batches(
    here: Here,
    filter: Annotated[BatchFilter, Depends(BatchFilter)],
    after: After = None,
    limit: Limit = 50,
) -> Response:
    """Batches that fit everything given, newest first."""
    return answer(here.queries.batches(filter, after=after, limit=limit))


def audit(
    here: Here,
    filter: Annotated[BatchFilter, Depends(BatchFilter)],
    finishes: Annotated[int, Query(ge=1, le=200)] = 50,
) -> Response:
    """Counts over all batches that fit, and the finishes with the most that shows."""
    return answer(here.queries.audit(filter, finishes=finishes))


def values(here: Here, field: str, limit: Limit = 200) -> Response:
    """Values of product, lot, booth, gun or slot in use."""
    known = ("product", "lot", "booth", "gun", "slot")
    if field not in known:
        raise Invalid("field", f"{field!r} is not listed. Ask for one of: {', '.join(known)}.")
    return answer({"values": here.queries.values(field, limit=limit)})


def journal(
    here: Here,
    chain: Annotated[str, Path(description="A job's id, or `shop` for the shop's own chain")],
    before: Annotated[int | None, Query(ge=1, le=2**53)] = None,
    limit: Limit = 50,
) -> Response:
    """Entries of a chain of the journal, newest first."""
    wanted = here.store.shop_id if chain == "shop" else chain
    return answer(here.queries.journal(wanted, before=before, limit=limit))


def instruments(here: Here) -> Response:
    """The instruments of the shop."""
    return answer({"instruments": here.store.shop().all(Instrument)})


def check_tiles(here: Here) -> Response:
    """The check tiles of the shop, and what the instruments read of them."""
    book = here.store.shop()
    return answer({"check_tiles": book.all(CheckTile), "tile_readings": book.all(TileReading)})


def products(here: Here) -> Response:
    """The product sheets of the shop."""
    return answer({"products": here.store.shop().all(Product)})


def photo_targets(here: Here) -> Response:
    """The photo sheets and charts of the shop, each with its target file."""
    return answer({"photo_targets": here.store.shop().all(PhotoTarget)})


def people(here: Here) -> Response:
    """The people of the shop."""
    return answer({"people": here.store.shop().all(Person)})


async def me(here: Here) -> Response:
    """Who this request comes from."""
    return answer({"person": here.person, "roles": sorted(here.roles), "acting_as": here.acting_as})


def _lab(text: str) -> tuple[float, float, float]:
    from service.domain.records.measuring import AngleReading

    parts: list[Any] = text.split(",")
    try:
        l, a, b = (float(part) for part in parts)  # noqa: E741
    except ValueError:
        raise Invalid(
            "lab", f"{text!r} is not a colour. Write L*, a*, b* like 44.1,-2.3,-8.0."
        ) from None
    AngleReading(repeats=((l, a, b),))
    return (l, a, b)

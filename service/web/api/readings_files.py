"""Readings files over the API: what one would store, and storing it."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query
from starlette.requests import Request
from starlette.responses import Response

from service.domain.records.measuring import Verdict
from service.domain.terms import Specular, Stage
from service.use_cases.importing import (
    MOST_TOLD,
    ImportPlan,
    ImportRefused,
    Stated,
    as_json,
    store_import,
    verdicts_after,
)
from service.web.api.answers import ReadingsFileTaken
from service.web.api.describing import Described, Descriptions
from service.web.api.photos import read_body
from service.web.api.plain import answer
from service.web.context import Here, PageContext
from service.web.files_taken import MOST_BYTES, file_name, in_reading_thread, plan_of
from service.web.refusals import problem

PATH = "/api/readings-files"


def readings_file_routes() -> APIRouter:
    """The one of them."""
    router = APIRouter(tags=["readings"])
    router.add_api_route(
        PATH,
        take_readings_file,
        methods=["POST"],
        name="take_readings_file",
        operation_id="take_readings_file",
        response_model=None,
        max_body_size=MOST_BYTES + 1,
    )
    return router


def readings_file_descriptions() -> Descriptions:
    """What OpenAPI tells of it."""
    return {
        ("POST", PATH): Described(
            answer=ReadingsFileTaken,
            answers=(201, 200),
            errors=(401, 403, 413, 422, 503),
            takes_media=("application/octet-stream",),
        )
    }


async def take_readings_file(
    request: Request,
    here: Here,
    name: Annotated[str, Query(description="The file's own name")] = "",
    card: Annotated[str | None, Query(description="Code of the one card the file is of")] = None,
    stage: Annotated[Stage | None, Query()] = None,
    illuminant: Annotated[str | None, Query(max_length=20)] = None,
    observer: Annotated[int | None, Query(ge=2, le=10)] = None,
    geometry: Annotated[str | None, Query(max_length=30)] = None,
    specular: Annotated[Specular | None, Query()] = None,
    instrument: Annotated[
        str | None, Query(description="Name of a registered one; empty for one that is not")
    ] = None,
    temperature_c: Annotated[float | None, Query(ge=-20, le=120)] = None,
    read_at: Annotated[
        datetime | None, Query(description="When they were read, with a zone; else just now")
    ] = None,
    leave_out_unknown: Annotated[
        bool, Query(description="Pass over samples that name no card here")
    ] = False,
    dry_run: bool = False,
) -> Response:
    """Take in the readings of an instrument's file: CSV, CGATS.17 or CxF3, told by content.

    Send the file's own bytes, at most 10 MiB. Each sample goes to the card whose code is its
    name. The query states what the file leaves open; it must not contradict the file. All of it
    is stored and judged, or nothing, and a reading that is on record is not stored again: 201
    when something was stored, 200 when all was on record. With `dry_run` nothing is stored, and
    what stands against it is told under `problems`.
    """
    content = await read_body(request, "The file", MOST_BYTES)
    stated = Stated(
        stage=stage,
        illuminant=illuminant,
        observer=observer,
        geometry=geometry,
        specular=specular,
        instrument=instrument,
        temperature_c=temperature_c,
    )

    def taken() -> Response:
        plan = plan_of(
            here,
            content,
            stated,
            source=file_name(name),
            card=card or None,
            leave_out_unknown=leave_out_unknown,
            read_at=read_at,
        )
        return _answer(here, plan, dry_run)

    return await in_reading_thread(taken)


def _answer(here: PageContext, plan: ImportPlan, dry_run: bool) -> Response:
    told = {**as_json(plan), "stored": 0, "receipt": None, "verdicts": []}
    if dry_run:
        return answer(told)
    fresh = len(plan.fresh)
    try:
        receipt = store_import(here.store, here.person.root, plan, here.acting_as)
    except ImportRefused as refused:
        errors = [
            {"field": p.missing[0] if p.missing else "file", "detail": p.sentence}
            for p in refused.problems[:MOST_TOLD]
        ]
        return problem(422, str(refused), errors=errors, field="file")
    verdicts: list[Verdict] = verdicts_after(here.store, plan)
    done = {"stored": fresh if receipt else 0, "receipt": receipt, "verdicts": verdicts}
    return answer({**told, **done}, 201 if receipt and fresh else 200)

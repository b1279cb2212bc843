"""The POST routes: one for each verb, answered once the change is on disk."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypedDict

from fastapi.routing import APIRoute
from pydantic import TypeAdapter, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from service.domain.findings import findings_of
from service.domain.record_file import RecordFile
from service.domain.records.measuring import Verdict
from service.domain.refused import Invalid
from service.use_cases import passwords
from service.use_cases.all_verbs import VERBS
from service.use_cases.command import Command, change_for
from service.use_cases.job import OpenJob
from service.use_cases.photographs import NewPhotograph, as_read
from service.use_cases.ports import Receipt, Unit
from service.use_cases.shop import AddPerson, GiveToken, SetPassword
from service.use_cases.sign_in import Visitor, confirm_password, hash_of_token, new_token
from service.web.access import check_access, write_path
from service.web.api.answers import Written
from service.web.api.bodies import (
    NewPassword,
    NewPerson,
    NewToken,
    adapter_of,
    body_of,
    with_zones,
)
from service.web.api.describing import Described, Descriptions
from service.web.api.plain import answer
from service.web.api.wording import malformed
from service.web.refusals import NotJson
from service.web.security import client_address, in_password_thread, known_visitors
from service.web.services import ShopServices, services_of

MOST_FINDINGS = 20

# The table of routes is searched from its head: what is sent most stands first.
_OFTEN = ("log_card", "log_reading", "spray_coat", "mix_batch", "attach_photo")

_Answer = Callable[[Request], Awaitable[Response]]


def write_descriptions() -> Descriptions:
    """What OpenAPI tells of them."""
    return {
        ("POST", write_path(kind)): Described(
            body=body_of(kind),
            answer=Written,
            answers=(201, 200),
            errors=(401, 403, 404, 409, 413, 415, 422, 503),
        )
        for kind in VERBS
    }


def write_routes() -> list[APIRoute]:
    """A route for every verb; each is put into the application's own table of routes.

    Behind a router of their own they would be found a tenth of a millisecond later.
    """
    routes: list[APIRoute] = []
    for kind in sorted(VERBS, key=_place):
        entry = VERBS[kind]
        route = _route_class(_answering(kind))(
            write_path(kind),
            _never_called,
            methods=["POST"],
            status_code=201,
            name=entry.name,
            operation_id=entry.name,
            summary=entry.doing.capitalize(),
            description=_description(kind),
            tags=[kind.__module__.rpartition(".")[2]],
            response_model=None,
        )
        routes.append(route)
    return routes


def _place(kind: type[Command]) -> tuple[int, str]:
    name = VERBS[kind].name
    return (_OFTEN.index(name) if name in _OFTEN else len(_OFTEN), name)


def _description(kind: type[Command]) -> str:
    roles = " or ".join(sorted(VERBS[kind].roles))
    return f"{(VERBS[kind].handler.__doc__ or '').strip()}\n\nFor a {roles}."


async def _never_called() -> None:
    raise AssertionError("the route class answers")


def _route_class(handler: _Answer) -> type[APIRoute]:
    class WriteRoute(APIRoute):
        """A route answered straight: access first, then the body.

        FastAPI would read and decode the body of a stranger before it asks who they are, and
        its general machinery takes longer than the change itself.
        """

        def get_route_handler(self) -> Callable[[Request], Any]:
            return handler

    return WriteRoute


def _answering(kind: type[Command]) -> _Answer:
    # Made when the verb is first sent: all of them at once would be felt at every start.
    adapter: TypeAdapter[Command] | None = None

    async def answer_write(request: Request) -> Response:
        visitor = await check_access(request)
        assert visitor is not None, "no verb is public"
        if not is_json(request.headers.get("content-type", "")):
            raise NotJson
        nonlocal adapter
        adapter = adapter or adapter_of(kind)
        try:
            sent = adapter.validate_json(await request.body())
        except ValidationError as error:
            return malformed(error.errors(include_url=False))
        command, token = await _ready(request, visitor, with_zones(sent))
        return await carry_out(request, visitor, command, token)

    return answer_write


def is_json(content_type: str) -> bool:
    """Whether a body says it is JSON; a form of another site cannot say so."""
    kind = content_type.partition(";")[0].strip().lower()
    return kind == "application/json" or (
        kind.startswith("application/") and kind.endswith("+json")
    )


@dataclass(slots=True)
class _Seen:
    """What the work of a change saw at its end; nothing when the change had come before."""

    file: RecordFile | None = None
    ran: bool = False


async def carry_out(
    request: Request, visitor: Visitor, command: Command, token: str | None = None
) -> Response:
    """Make a change and answer when it is on disk."""
    shop = services_of(request).the_shop()
    change = change_for(shop.store, visitor.person.root, command, visitor.acting_as)
    seen = _Seen()
    job_id = command.id if isinstance(command, OpenJob) else getattr(command, "job_id", None)
    work = change["work"]

    def work_and_see(unit: Unit) -> None:
        work(unit)
        # The file as this change leaves it, a value: reading it here costs nothing more.
        seen.file = unit.job(job_id) if job_id is not None else None
        seen.ran = True

    change["work"] = work_and_see
    try:
        receipt = await asyncio.wrap_future(shop.store.submit(**change))
    except OverflowError:
        raise Invalid("", "A number is too large to be kept. Check the numbers.") from None
    if receipt.chain == shop.store.shop_id:
        known_visitors(request).forget()
        if isinstance(command, SetPassword) and seen.ran:
            await run_in_threadpool(shop.sessions.revoke_all, command.person_id)
    return await _answer(request, shop, receipt, seen, token)


async def _answer(
    request: Request, shop: ShopServices, receipt: Receipt, seen: _Seen, token: str | None
) -> Response:
    status = 201 if seen.ran else 200
    content: dict[str, Any] = {"receipt": receipt}
    if token is not None:
        content["token"] = token if seen.ran else None
    if request.headers.get("prefer") == "return=minimal":
        # RFC 7240: an outbox wants its receipt and nothing worked out for it.
        minimal = answer(content, status)
        minimal.headers["Preference-Applied"] = "return=minimal"
        return minimal
    file = seen.file
    if file is None and receipt.chain != shop.store.shop_id:
        file = await run_in_threadpool(shop.store.job, receipt.chain)
    content["verdicts"] = verdicts_of(file, receipt) if file is not None else []
    content["findings"] = findings_of(file)[:MOST_FINDINGS] if file is not None else []
    return answer(content, status)


def verdicts_of(file: RecordFile, receipt: Receipt) -> list[Verdict]:
    """The verdicts that a change recorded: they arrived in the moment it did."""
    return [v for v in file.all(Verdict) if v.received_at == receipt.received_at]


class _Common(TypedDict):
    """The fields of every command."""

    id: str
    observed_at: datetime | None


async def _ready(request: Request, visitor: Visitor, sent: Command) -> tuple[Command, str | None]:
    """The command of a body: a password hashed, a token made, a photograph read, where needed."""
    if isinstance(sent, NewPerson):
        hash = None
        if sent.password is not None:
            known = (sent.name, services_of(request).shop_name)
            hash = await _hashed(sent.password, known)
        given = _Common(id=sent.id, observed_at=sent.observed_at)
        return AddPerson(**given, name=sent.name, roles=sent.roles, password_hash=hash), None
    if isinstance(sent, NewPassword):
        if sent.person_id == visitor.person.root:
            shop = services_of(request).the_shop()
            await in_password_thread(
                confirm_password,
                shop.keys,
                shop.attempts,
                visitor.person,
                sent.current_password or "",
                client_address(request),
            )
        hash = await _hashed(sent.password, (visitor.person.name, services_of(request).shop_name))
        given = _Common(id=sent.id, observed_at=sent.observed_at)
        return SetPassword(**given, person_id=sent.person_id, password_hash=hash), None
    if isinstance(sent, NewToken):
        token = new_token()
        given = _Common(id=sent.id, observed_at=sent.observed_at)
        return GiveToken(
            **given,
            person_id=sent.person_id,
            role=sent.role,
            label=sent.label,
            token_hash=hash_of_token(token),
            expires_at=sent.expires_at,
        ), token
    if isinstance(sent, NewPhotograph):
        shop, desk = services_of(request).the_shop(), services_of(request).desk
        return await run_in_threadpool(as_read, shop.store, desk, shop.photos, sent), None
    return sent, None


async def _hashed(password: str, known: tuple[str, ...]) -> str:
    passwords.check_password(password, known=known)
    return await in_password_thread(passwords.hash_password, password)

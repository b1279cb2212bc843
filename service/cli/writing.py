"""Writing from the command line: through the server that holds the folder, else by itself."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.error import HTTPError, URLError
from urllib.request import Request, urlopen

import click

from service.cli.frame import Refusal, ports
from service.cli.opening import opened, person_named
from service.domain.moment import as_text
from service.settings import authority_file
from service.use_cases.command import Command

if TYPE_CHECKING:
    from ssl import SSLContext

    from service.use_cases.photographs import NewPhotograph
    from service.use_cases.ports import PhotoReader

TOKEN = "KEEPCARD_TOKEN"


def as_option(command: Any) -> Any:
    """The option that names the person who writes."""
    return click.option(
        "--as",
        "person",
        metavar="NAME",
        help=f"Who writes. With a server running, {TOKEN} in the environment says it instead.",
    )(command)


def write(
    command: Command, data: Path, database: str | None, shop: str | None, person: str | None
) -> Mapping[str, Any]:
    """Carry out a command and return what the API would: the receipt, verdicts and findings.

    Raises
    ------
    Refusal
        With what is wrong and what to do.
    """
    holder = ports().holder_of(data)
    if holder:
        return _send(holder, command)
    from service.use_cases.all_verbs import VERBS
    from service.use_cases.command import perform

    assert type(command) in VERBS
    with opened(data, database, shop, read_only=False) as store:
        receipt = perform(store, person_named(store, person).root, command)
        return {"receipt": {**asdict(receipt), "received_at": as_text(receipt.received_at)}}


def write_photograph(
    said: NewPhotograph,
    content: bytes,
    desk: PhotoReader,
    data: Path,
    database: str | None,
    shop: str | None,
    person: str | None,
) -> Mapping[str, Any]:
    """Store a photograph and log what is said of it; its numbers are read from the stored bytes.

    Raises
    ------
    Refusal
        With what is wrong and what to do.
    """
    holder = ports().holder_of(data)
    if holder:
        sent = {"Content-Type": "application/octet-stream", **_as_token(holder)}
        _answer(
            holder,
            Request(
                f"{holder}/api/photos/{said.photo_sha256}", data=content, headers=sent, method="PUT"
            ),
        )
        return _send(holder, said, "log-photograph")
    from service.use_cases.photographs import log_photographed

    with opened(data, database, shop, read_only=False) as store:
        author = person_named(store, person)
        store.photos.put(content)
        receipt = log_photographed(store, desk, store.photos, author.root, said)
        return {"receipt": {**asdict(receipt), "received_at": as_text(receipt.received_at)}}


def send_file(holder: str, path: str, content: bytes) -> Mapping[str, Any]:
    """Send a file to the server that holds the folder, and return its answer.

    Raises
    ------
    Refusal
        With what is wrong and what to do.
    """
    sent = {"Content-Type": "application/octet-stream", **_as_token(holder)}
    return _answer(holder, Request(f"{holder}/api/{path}", data=content, headers=sent))


def _as_token(address: str) -> dict[str, str]:
    token = os.environ.get(TOKEN)
    if not token:
        raise Refusal(
            f"The folder is served at {address}, so this must go through that server. "
            f"Put an API token in {TOKEN}; a manager gives one out in the shop's book."
        )
    return {"Authorization": f"Bearer {token}"}


def _send(address: str, command: Command, path: str = "") -> Mapping[str, Any]:
    from service.use_cases.all_verbs import VERBS

    path = path or VERBS[type(command)].name.replace("_", "-")
    # The server makes hashes of secrets itself; a client never sends one.
    said = {name: value for name, value in asdict(command).items() if not name.endswith("_hash")}
    body = json.dumps(said, default=as_text).encode()
    request = Request(
        f"{address}/api/{path}",
        data=body,
        headers={"Content-Type": "application/json", **_as_token(address)},
    )
    return _answer(address, request)


def _answer(address: str, request: Request) -> Mapping[str, Any]:
    try:
        with urlopen(request, timeout=120, context=_context(address)) as answer:
            found: Mapping[str, Any] = json.load(answer)
            return found
    except HTTPError as refused:
        raise Refusal(_detail(refused)) from None
    except URLError as unreachable:
        raise Refusal(
            f"The server at {address} does not answer: {unreachable.reason}. Is it still running?"
        ) from None


def _context(address: str) -> SSLContext | None:
    """Trust in the authority of the folder that is written to, beside those of the machine."""
    if not address.startswith("https:"):
        return None
    import ssl

    context = ssl.create_default_context()
    data = click.get_current_context().params.get("data")
    authority = authority_file(Path(data or "."))
    if authority.exists():
        context.load_verify_locations(authority)
    return context


def _detail(refused: HTTPError) -> str:
    try:
        said = json.load(refused)
    except ValueError:
        return f"The server refused this with status {refused.code}."
    return str(said.get("detail") or said.get("title") or refused.code)

"""The one place that wires the program together; nothing heavy is imported before it is needed."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    from socket import socket

    from fastapi import FastAPI

    from colour.photo.target import Target
    from service.certificates import ServerCertificate
    from service.cli.frame import CommandPorts
    from service.cli.ports import ManifestWritten, RecordRestored, RecordStore, VerifyReport
    from service.domain.record_file import RecordFile
    from service.domain.records.shop import ApiToken
    from service.exchange.readings import ReadingsFile
    from service.photos.desk import PhotoDesk
    from service.settings import Settings
    from service.storage.database import Database
    from service.storage.store import ShopStore
    from service.use_cases.papers import PaperPress
    from service.use_cases.queries import Queries
    from service.web.services import Services, ShopServices

PAGE_THREADS = 4
"""Threads for plain ``def`` routes; more of them only wait for each other (one process, one
interpreter lock), and fewer are evener."""


def main() -> None:
    """Run the command line."""
    from service.cli import cli

    cli(obj=command_ports())


def command_ports() -> CommandPorts:
    """What the command line is given of the rest of the program."""
    from service.cli.frame import CommandPorts

    return CommandPorts(
        read_readings=_read_readings,
        open_store=_open_store,
        queries=_queries,
        holder_of=_holder_of,
        serve=_serve,
        verify=_verify,
        backup=_backup,
        restore=_restore,
        job_as=_job_as,
        photo_sheet_as=_photo_sheet_as,
        press=_press,
        photo_desk=_photo_desk,
    )


def _read_readings(data: bytes) -> ReadingsFile:
    from service.exchange.reading_files import read_readings

    return read_readings(data)


def _open_store(data: Path, url: str | None, shop_id: str | None, read_only: bool) -> ShopStore:
    from service.storage.database import open_store

    return open_store(data, url, shop_id, read_only=read_only)


def _queries(store: RecordStore) -> Queries:
    from service.storage.queries.sql_queries import SqlQueries

    return SqlQueries(cast("ShopStore", store))


def _holder_of(data: Path) -> str:
    from service.storage.folder import holder_of

    holder = holder_of(data)
    return holder.address if holder else ""


def _serve(given: Mapping[str, Any], say: Callable[[str], None]) -> None:
    from service.settings import settings_from

    serve(settings_from(given), say)


def _verify(store: RecordStore) -> VerifyReport:
    from service.storage.verify import verify

    return verify(cast("ShopStore", store))


def _backup(store: RecordStore, file: Path, jobs: Sequence[str] | None) -> ManifestWritten:
    from service.storage.backup import backup

    return backup(cast("ShopStore", store), file, jobs=jobs)


def _restore(file: Path, data: Path, url: str | None) -> RecordRestored:
    from service.storage.backup import restore

    return restore(file, data, url)


def _job_as(form: str, file: RecordFile) -> bytes:
    if form == "csv":
        from service.exchange.job_csv import job_csv

        return job_csv(file)
    if form in ("cgats", "cxf"):
        from service.exchange.job_samples import job_as

        return job_as(form, file)
    from pydantic_core import to_json

    from service.web.api.plain import plain
    from service.web.api.whole import job_whole

    return to_json(plain(job_whole(file)), indent=1)


def _photo_desk() -> PhotoDesk:
    from service.photos.desk import PhotoDesk

    return PhotoDesk()


def _photo_sheet_as(form: str, target: Target) -> bytes:
    from service.paper import photo_sheet

    draw = {
        "pdf": photo_sheet.sheet_pdf,
        "png": photo_sheet.sheet_png,
        "svg": photo_sheet.sheet_svg,
    }
    return draw[form](target)


def create_app(settings: Settings) -> FastAPI:
    """The web application over the record of these settings, opened now and closed at its end.

    Raises
    ------
    Refused
        When the folder is in use by another server, or the record cannot be opened.
    """
    from service.storage.database import open_database

    database = open_database(settings.data_dir, settings.database_url, address=settings.own_address)
    try:
        return _app_over(database, settings)
    except BaseException:
        database.close()
        raise


def serve(settings: Settings, say: Callable[[str], None] = print) -> None:
    """Serve the record of these settings until the process is told to stop.

    ``say`` is given the lines a person should read: the address, warnings, the set-up link.

    Raises
    ------
    Refused
        When the folder is in use, the record cannot be opened, or nothing can listen there.
    """
    import logging
    import signal
    import sys

    logging.basicConfig(format="%(asctime)s %(levelname)s %(message)s")
    # uvicorn ends a stopped server by the signal's own handler, when all is answered and closed;
    # with this one the process ends with code 0 and its callers can clean up.
    earlier = signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    try:
        _until_stopped(*_certified(settings), say)
    finally:
        signal.signal(signal.SIGTERM, earlier)


def _until_stopped(
    settings: Settings, certificate: ServerCertificate | None, say: Callable[[str], None]
) -> None:
    import uvicorn

    app = create_app(settings)
    database: Database = app.state.database
    try:
        listener = _listening(settings.host, settings.port)
        if database.warning:
            say(f"Caution: {database.warning}")
        if certificate is not None and certificate.authority is not None:
            app.state.services.authority = certificate.authority.read_bytes()
            app.state.services.authority_fingerprint = certificate.fingerprint
        for line in (*_greeting(settings, app.state.services), *_trust(settings, certificate)):
            say(line)
        config = uvicorn.Config(
            app,
            access_log=False,
            server_header=False,
            log_level="warning",
            timeout_graceful_shutdown=20,
            ssl_certfile=certificate.certificate if certificate else None,
            ssl_keyfile=certificate.key if certificate else None,
        )
        uvicorn.Server(config).run(sockets=[listener])
    finally:
        database.close()


def _certified(settings: Settings) -> tuple[Settings, ServerCertificate | None]:
    """What the server shows, if it is served over HTTPS, and the settings with its names."""
    from dataclasses import replace

    if not settings.secure:
        return settings, None
    from service.certificates import local_certificate, names_of_machine, own_certificate

    if settings.certificate is not None and settings.certificate_key is not None:
        found = own_certificate(settings.certificate, settings.certificate_key)
        plain = [name for name in found.names if not name.startswith("*")]
        names = settings.known_names or tuple(plain)
    else:
        wildcard = settings.host in ("0.0.0.0", "::", "")
        given = (*settings.known_names, *(() if wildcard else (settings.host,)))
        found = local_certificate(settings.data_dir, names_of_machine(given))
        # Served here alone, or at one address, it has no name that devices know it by.
        names = settings.known_names or (found.names if wildcard else ())
    return replace(settings, names=",".join(names)), found


def _trust(settings: Settings, certificate: ServerCertificate | None) -> list[str]:
    if certificate is None or certificate.authority is None:
        return []
    return [
        "Each device trusts this shop's own authority once. Open on it, past the warning:",
        f"  {settings.address}/trust",
        "and compare the fingerprint there before you install it:",
        f"  {certificate.fingerprint}",
    ]


def _greeting(settings: Settings, services: Services) -> list[str]:
    if services.set_up_token is None:
        return [f"{services.shop_name} is served at {settings.address}"]
    return [
        "There is no shop here yet. Open this link once to set it up:",
        f"  {settings.address}/set-up/{services.set_up_token}",
    ]


def _listening(host: str, port: int) -> socket:
    """A socket bound to the address; uvicorn would end the process without a word on what to do."""
    import socket

    from service.domain.refused import Invalid

    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # Named as TCP, so that asyncio turns Nagle's algorithm off; else each answer waits 40 ms for
    # the other side's delayed acknowledgement.
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
    except OSError as error:
        listener.close()
        raise Invalid(
            "port",
            f"Nothing can listen at {host}, port {port} ({error.strerror or error}). "
            "Give another with --port or --host, or stop what runs there.",
        ) from error
    return listener


def _app_over(database: Database, settings: Settings) -> FastAPI:
    import secrets

    from service.domain.version import program_version
    from service.exchange.csv_out import csv_lines
    from service.photos.desk import PhotoDesk
    from service.web.application import web_app
    from service.web.services import Services

    has_shop = bool(database.shops())
    # It starts its processes with the first photograph.
    desk = PhotoDesk()

    def set_up(shop_name: str, manager: str, password_hash: str) -> ShopServices:
        store = database.create_shop(
            shop_name, manager=manager, password_hash=password_hash, shop_id=settings.shop_id
        )
        return _shop_services(store)

    services = Services(
        settings=settings,
        version=program_version(),
        csv_lines=csv_lines,
        desk=desk,
        sheets=_Sheets(),
        press=_press(),
        read_readings=_read_readings,
        shop=_shop_services(database.store(settings.shop_id)) if has_shop else None,
        set_up=set_up,
        set_up_token=None if has_shop else secrets.token_urlsafe(24),
    )
    app = web_app(services, lifespan=_lifespan(database, desk))
    app.state.database = database
    return app


def _lifespan(
    database: Database, desk: PhotoDesk
) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    """What is done when the server is up, and when it goes down."""

    @asynccontextmanager
    async def running(app: FastAPI) -> AsyncIterator[None]:
        import gc

        import anyio.to_thread

        anyio.to_thread.current_default_thread_limiter().total_tokens = PAGE_THREADS
        # What lives as long as the process is not looked through again by the collector; that
        # alone takes the slowest hundredth of page requests from 40 ms to 1 ms.
        gc.collect()
        gc.freeze()
        gc.set_threshold(50_000, 20, 100)
        try:
            yield
        finally:
            gc.unfreeze()
            desk.close()
            database.close()

    return running


def _shop_services(store: ShopStore) -> ShopServices:
    from service.storage.queries.sql_queries import SqlQueries
    from service.storage.sessions import Sessions, SignInAttempts
    from service.storage.waiting_files import WaitingFiles
    from service.web.services import ShopServices

    return ShopServices(
        store=store,
        queries=SqlQueries(store),
        photos=store.photos,
        waiting=WaitingFiles(store.database.data_dir, store.shop_id),
        sessions=Sessions(store),
        attempts=SignInAttempts(store),
        keys=_Keys(store),
    )


def _press() -> PaperPress:
    from service.paper.press import Press

    return Press()


class _Sheets:
    """The photo sheet as paper; what draws it is read when somebody prints one."""

    def pdf(self, target: Target) -> bytes:
        from service.paper.photo_sheet import sheet_pdf

        return sheet_pdf(target)

    def png(self, target: Target) -> bytes:
        from service.paper.photo_sheet import sheet_png

        return sheet_png(target)

    def svg(self, target: Target) -> bytes:
        from service.paper.photo_sheet import sheet_svg

        return sheet_svg(target)


class _Keys:
    """What storage keeps of passwords and tokens, as signing in asks for it."""

    def __init__(self, store: ShopStore) -> None:
        self._store = store

    def password_hash_of(self, person_id: str) -> str | None:
        from service.storage.sessions import password_hash_of

        return password_hash_of(self._store, person_id)

    def token_by_hash(self, token_hash: str) -> ApiToken | None:
        from service.storage.sessions import token_by_hash

        return token_by_hash(self._store, token_hash)

"""What the web side is given: the record, its searches, its photos, and who may come in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

from starlette.requests import HTTPConnection

from service.domain.records.shop import Shop
from service.domain.refused import Refused
from service.settings import Settings
from service.use_cases.import_ports import FileRead
from service.use_cases.papers import PaperPress
from service.use_cases.ports import PhotoFiles, PhotoReader, Receipt, Store, Unit
from service.use_cases.queries import Queries
from service.use_cases.sign_in import Attempts, Keys, Sessions

if TYPE_CHECKING:
    from colour.photo.target import Target


class NoShopYet(Refused):
    """Nobody has set the shop up."""

    def __init__(self) -> None:
        super().__init__(
            "This shop is not set up yet. Open the set-up link that the service printed "
            "when it was started."
        )


class WebStore(Store, Protocol):
    """The store, for callers that do not wait in a thread of their own."""

    def submit(
        self,
        *,
        change_id: str,
        kind: str,
        fingerprint: str,
        person_id: str,
        work: Callable[[Unit], None],
    ) -> Future[Receipt]:
        """``write`` without waiting: the future is done when the change is on disk."""


class WaitingFiles(Protocol):
    """Files that were sent and not yet decided on, under the SHA-256 of their bytes."""

    def put(self, content: bytes) -> str:
        """Keep bytes for a day and return their SHA-256."""

    def get(self, sha: str) -> bytes | None:
        """The bytes under that SHA-256, None when they wait no longer."""


class PhotoSheets(Protocol):
    """The photo sheet as paper, in the forms a shop can print."""

    def pdf(self, target: Target) -> bytes: ...
    def png(self, target: Target) -> bytes: ...
    def svg(self, target: Target) -> bytes: ...


CsvLines = Callable[[Sequence[str], Iterable[Sequence[Any]]], Iterator[str]]
"""Makes CSV of headings and rows, line by line, that a spreadsheet opens without running it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopServices:
    """All that hangs on one shop."""

    store: WebStore
    queries: Queries
    photos: PhotoFiles
    waiting: WaitingFiles
    sessions: Sessions
    attempts: Attempts
    keys: Keys


@dataclass(slots=True, kw_only=True)
class Services:
    """What the application was wired with.

    Before the first set-up there is no shop; ``set_up`` makes one from its name, the first
    manager's name and the hash of their password, and ``set_up_token`` is the secret part of
    the link that leads there, None when there is nothing to set up. ``desk`` reads photographs,
    ``sheets`` makes the sheet to print for them, ``press`` every other paper, ``read_readings``
    reads an instrument's file.
    ``authority`` is the certificate of the shop's own authority (PEM) where it is served by one.
    """

    settings: Settings
    version: str
    csv_lines: CsvLines
    desk: PhotoReader
    sheets: PhotoSheets
    press: PaperPress
    read_readings: Callable[[bytes], FileRead]
    shop: ShopServices | None = None
    set_up: Callable[[str, str, str], ShopServices] | None = None
    set_up_token: str | None = None
    authority: bytes | None = None
    authority_fingerprint: str = ""
    shop_name: str = field(default="", init=False)
    is_demo: bool = field(default=False, init=False)

    def __post_init__(self) -> None:
        self.read_shop()

    def read_shop(self) -> None:
        """Take the shop's name from its record."""
        if self.shop is not None:
            found = self.shop.store.shop().all(Shop)[0]
            self.shop_name, self.is_demo = found.name, found.is_demo

    def the_shop(self) -> ShopServices:
        """What hangs on the shop; refuses before it is set up."""
        if self.shop is None:
            raise NoShopYet
        return self.shop


def services_of(connection: HTTPConnection) -> Services:
    """The services of the application a request came to."""
    found: Services = connection.app.state.services
    return found

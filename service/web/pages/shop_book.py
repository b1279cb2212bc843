"""The shop's book: its people, instruments, product and photo sheets, and tokens for programs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.instrument_findings import InstrumentFinding, instrument_findings
from service.domain.record_file import RecordFile
from service.domain.records.base import Record
from service.domain.records.shop import (
    ApiToken,
    CheckTile,
    Instrument,
    Person,
    PhotoTarget,
    Product,
    TileReading,
)
from service.use_cases.check_tiles import RegisterCheckTile
from service.use_cases.correcting import CorrectShop
from service.use_cases.shop import (
    AddPerson,
    GiveToken,
    RegisterInstrument,
    RegisterPhotoTarget,
    RegisterProduct,
)
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.pages.bench_views import Action, allowed, person_name
from service.web.pages.office import office_frame

router = APIRouter()
page_rules({("GET", "/shop"): ANYBODY_HERE})

SAVED = {
    "person": "The person is added and can sign in.",
    "password": "The password is set. Every session of the person has ended.",
    "instrument": "The instrument is registered.",
    "tile": "The check tile is registered. Read it with each instrument, on one day.",
    "product": "The product sheet is registered.",
    "photo_target": "The sheet is registered, and known in photographs from now on.",
}
"""What is said after a form was taken, by the word in the address."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonListed:
    """Somebody who works here."""

    person: Person
    password_href: str
    correct_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentListed:
    """An instrument; ``past`` when its calibration is over."""

    instrument: Instrument
    past: bool
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TileListed:
    """A check tile, how often it was read, and by what last."""

    tile: CheckTile
    count: int
    last_at: datetime | None
    last_by: str
    last_by_href: str
    correct_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductListed:
    """A product sheet."""

    product: Product
    correct_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoTargetListed:
    """A photo sheet or a chart."""

    sheet: PhotoTarget
    instrument: str
    patches: int
    correct_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TokenListed:
    """A token a program signs in with."""

    token: ApiToken
    person: str
    given_by: str
    over: bool
    revoke_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopBookPage:
    """Everything in the book."""

    frame: Frame
    saved: str
    people: tuple[PersonListed, ...]
    findings: tuple[InstrumentFinding, ...]
    instruments: tuple[InstrumentListed, ...]
    tiles: tuple[TileListed, ...]
    products: tuple[ProductListed, ...]
    photo_targets: tuple[PhotoTargetListed, ...]
    photo_sheet_href: str
    tokens: tuple[TokenListed, ...]
    shows_tokens: bool
    past: tuple[str, ...]
    actions: tuple[Action, ...]
    journal_href: str


@router.get("/shop", name="shop_book")
def shop_book(here: Here, saved: str = "") -> Response:
    """The page of the book; tokens are for managers to see."""
    return here.render("shop_book.html", _page(here, SAVED.get(saved, "")))


def _page(here: PageContext, saved: str) -> ShopBookPage:
    shop = here.store.shop()
    now = datetime.now(UTC)
    manages = here.may(CorrectShop)
    correct = _correct_links(here, manages)
    instruments = tuple(
        InstrumentListed(
            instrument=one,
            past=one.calibration_due is not None and one.calibration_due < now,
            href=here.link("instrument", instrument_id=one.root),
        )
        for one in shop.all(Instrument)
    )
    tokens = shop.all(ApiToken) if manages else []
    return ShopBookPage(
        frame=office_frame(here),
        saved=saved,
        people=tuple(
            PersonListed(
                person=one,
                password_href=here.link("person_password_set", person_id=one.root)
                if manages
                else "",
                correct_href=correct(one),
            )
            for one in sorted(shop.all(Person), key=lambda one: one.name.casefold())
        ),
        findings=tuple(instrument_findings(shop, now)),
        instruments=instruments,
        tiles=tuple(_tile(here, shop, one, correct(one)) for one in shop.all(CheckTile)),
        products=tuple(
            ProductListed(product=one, correct_href=correct(one)) for one in shop.all(Product)
        ),
        photo_targets=tuple(
            PhotoTargetListed(
                sheet=one,
                instrument=_instrument_name(shop, one.instrument_id),
                patches=len(one.as_target().patches),
                correct_href=correct(one),
            )
            for one in shop.all(PhotoTarget)
        ),
        photo_sheet_href=here.link("photo_sheet"),
        tokens=tuple(
            TokenListed(
                token=one,
                person=person_name(shop, one.person_id),
                given_by=person_name(shop, one.author_id),
                over=one.expires_at is not None and one.expires_at < now,
                revoke_href=correct(one),
            )
            for one in tokens
        ),
        shows_tokens=manages,
        past=tuple(one.instrument.name for one in instruments if one.past),
        actions=allowed(
            (
                (here.may(AddPerson), Action(text="Add a person", href=here.link("person_new"))),
                (
                    here.may(RegisterInstrument),
                    Action(text="Register an instrument", href=here.link("instrument_new")),
                ),
                (
                    here.may(RegisterCheckTile),
                    Action(text="Register a check tile", href=here.link("tile_new")),
                ),
                (
                    here.may(RegisterProduct),
                    Action(text="Register a product sheet", href=here.link("product_new")),
                ),
                (
                    here.may(RegisterPhotoTarget),
                    Action(text="Register a photo sheet", href=here.link("photo_target_new")),
                ),
                (here.may(GiveToken), Action(text="Give out a token", href=here.link("token_new"))),
            )
        ),
        journal_href=here.link("shop_journal") if manages else "",
    )


def _tile(here: PageContext, shop: RecordFile, tile: CheckTile, correct_href: str) -> TileListed:
    read = shop.by(TileReading, "tile_id", tile.root)
    last = max(read, key=lambda one: one.observed_at, default=None)
    by = shop.find(Instrument, last.instrument_id) if last is not None else None
    return TileListed(
        tile=tile,
        count=len(read),
        last_at=last.observed_at if last is not None else None,
        last_by=by.name if by is not None else "",
        last_by_href=here.link("instrument", instrument_id=by.root) if by is not None else "",
        correct_href=correct_href,
    )


def _instrument_name(shop: RecordFile, id: str | None) -> str:
    found = shop.latest_revision(Instrument, id or "")
    return found.name if found is not None else ""


def _correct_links(here: PageContext, manages: bool) -> Callable[[Record], str]:
    def link(record: Record) -> str:
        if not manages:
            return ""
        return here.link("correct_shop", table=record.table, record_id=record.root)

    return link

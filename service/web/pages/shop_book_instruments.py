"""The page of an instrument: what is known of it, and what the check tiles say of that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.ageing import span
from service.domain.instrument_agreement import (
    LEAST_DEGREES,
    Apart,
    Repeatability,
    apart_from_others,
    repeatability_of,
)
from service.domain.instrument_findings import InstrumentFinding, instrument_findings
from service.domain.records.shop import CheckTile, Instrument, TileReading
from service.domain.refused import Invalid, Refused
from service.domain.tile_history import TileCourse, courses_of, drift_words, tile_readings
from service.use_cases.check_tiles import LogTileReading, RegisterCheckTile
from service.use_cases.correcting import CorrectShop
from service.web.access import ANYBODY_HERE, page_rules
from service.web.charts_lines import Line, LineChart, line_chart
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_forms import Filled
from service.web.pages.bench_views import Action, allowed, person_name
from service.web.pages.office import entrance_of, office_frame

router = APIRouter()
_PAGE = "/shop/instruments/{instrument_id}"
page_rules({("GET", _PAGE): ANYBODY_HERE, ("POST", _PAGE): CorrectShop})

NEWEST = 30
"""Readings of a tile that are drawn and listed at each angle; older ones stay on record."""
READINGS = 60
SAVED = {
    "tile_reading": "The reading of the tile is on record.",
    "figure": "The figure is in the book, with your name and reason. It holds for what is read "
    "from now on; readings already on record keep what was known then, until somebody corrects "
    "them.",
}
FIGURES = {
    "standard_uncertainty": "known repeatability",
    "inter_instrument_uncertainty": "how far it stands from others",
}
"""The two figures that may be taken over from the tiles, by their names in the book."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseShown:
    """A history on a tile at one angle, drawn and in words."""

    course: TileCourse
    said: str
    chart: LineChart | None
    log_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TileReadingShown:
    """One reading of a tile; ``correct_href`` for who may correct it."""

    reading: TileReading
    tile: str
    by: str
    correct_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A figure that the tiles give for the book, and the reason that would stand with it."""

    field: str
    figure: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentPage:
    """Everything about an instrument."""

    frame: Frame
    form: Filled
    saved: str
    instrument: Instrument
    past: bool
    due: str
    findings: tuple[InstrumentFinding, ...]
    courses: tuple[CourseShown, ...]
    repeatability: Repeatability | None
    least_degrees: int
    apart: tuple[Apart, ...]
    offers: dict[str, Offer]
    readings: tuple[TileReadingShown, ...]
    older: int
    has_tiles: bool
    actions: tuple[Action, ...]


@router.get(_PAGE, name="instrument")
def instrument(here: Here, instrument_id: str, saved: str = "") -> Response:
    """The page."""
    page = _page(here, instrument_id, office_frame(here), Form(), SAVED.get(saved, ""))
    return here.render("shop_book_one_instrument.html", page)


@router.post(_PAGE, name="instrument")
def take_over(here: Here, form: SentForm, instrument_id: str) -> Response:
    """Put a figure the tiles gave into the book, as a correction with its reason."""
    found = here.store.shop().get(Instrument, instrument_id)
    try:
        here.perform(_correction(form, found))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "shop_book_one_instrument.html",
            lambda frame: _page(here, found.root, frame, form, ""),
            entrance_of(here),
        )
    return here.see_other("instrument", instrument_id=found.root, saved="figure")


def _correction(form: Form, instrument: Instrument) -> CorrectShop:
    field = form.value("field")
    if field not in FIGURES:
        raise Invalid("field", f"{field!r} is none of the figures that tiles give. Go back.")
    figure = form.number(field)
    if figure is None:
        raise Invalid(field, "The figure is missing. Enter it, or leave the book as it is.")
    why = form.value(f"why.{field}")
    if not why:
        raise Invalid(f"why.{field}", "The reason is missing. Say why the entry changes.")
    return CorrectShop(
        id=form.id,
        table=Instrument.table,
        record_id=instrument.root,
        why=why,
        changes={field: figure},
    )


def _page(
    here: PageContext, instrument_id: str, frame: Frame, form: Form, saved: str
) -> InstrumentPage:
    shop = here.store.shop()
    found = shop.get(Instrument, instrument_id)
    now = datetime.now(UTC)
    due = found.calibration_due
    read = tile_readings(shop, found.root)
    repeats = repeatability_of(shop, found.root)
    apart = apart_from_others(shop, found.root)
    offers = _offers(found, repeats, apart) if here.may(CorrectShop) else {}
    return InstrumentPage(
        frame=frame,
        form=Filled(
            form=form,
            start={offer.field: offer.figure for offer in offers.values()}
            | {f"why.{offer.field}": offer.why for offer in offers.values()},
        ),
        saved=saved,
        instrument=found,
        past=due is not None and due < now,
        due=_due_words(due, now),
        findings=tuple(
            one for one in instrument_findings(shop, now) if one.instrument.root == found.root
        ),
        courses=tuple(
            CourseShown(
                course=course,
                said=drift_words(course),
                chart=_chart(course),
                log_href=here.link("tile_reading_new", instrument_id=found.root)
                + f"?tile={course.tile.root}",
            )
            for course in courses_of(shop, found.root, newest=NEWEST)
        ),
        repeatability=repeats,
        least_degrees=LEAST_DEGREES,
        apart=tuple(apart),
        offers=offers,
        readings=tuple(_shown(here, one) for one in reversed(read[-READINGS:])),
        older=max(0, len(read) - READINGS),
        has_tiles=bool(shop.all(CheckTile)),
        actions=_actions(here, found, bool(shop.all(CheckTile))),
    )


def _due_words(due: datetime | None, now: datetime) -> str:
    """How long until the calibration is due, or how long it has been over."""
    if due is None:
        return ""
    if due < now:
        return f"over for {span(now - due)}" if (now - due).days else "over since today"
    return f"in {span(due - now)}" if (due - now).days else "within a day"


def _offers(
    instrument: Instrument, repeats: Repeatability | None, apart: Sequence[Apart]
) -> dict[str, Offer]:
    """The figures a manager may take over; none that the book holds already."""
    found: list[Offer] = []
    if repeats is not None and repeats.offered:
        at = "" if repeats.angle is None else f" at {repeats.angle}°"
        found.append(
            Offer(
                field="standard_uncertainty",
                figure=_rounded(repeats.figure),
                why=f"Pooled over {repeats.readings} readings of check tiles in {repeats.sets} "
                f"sets{at}, {repeats.degrees} degrees of freedom.",
            )
        )
    if apart:
        widest = max(apart, key=lambda one: one.figure)
        tiles = f"{widest.tiles} check tile{'' if widest.tiles == 1 else 's'}"
        found.append(
            Offer(
                field="inter_instrument_uncertainty",
                figure=_rounded(widest.figure),
                why=f"Read beside {widest.other.name} on {tiles}.",
            )
        )
    return {
        offer.field: offer
        for offer in found
        if float(offer.figure) >= 0.001
        and offer.figure != _rounded(getattr(instrument, offer.field) or 0.0)
    }


def _rounded(figure: float) -> str:
    """To two figures, which is all that so few readings know."""
    return f"{float(f'{figure:.2g}'):.6g}"


def _chart(course: TileCourse) -> LineChart | None:
    """ΔL*, Δa*, Δb* from the reference over days; None while there is nothing later."""
    if not course.steps:
        return None
    days = [0.0, *(step.days for step in course.steps)]
    return line_chart(
        [
            Line(
                name=name,
                stroke=stroke,
                xs=days,
                ys=[0.0, *(step.difference[axis] for step in course.steps)],
            )
            for axis, (name, stroke) in enumerate(
                (("ΔL*", "solid"), ("Δa*", "dashed"), ("Δb*", "dotted"))
            )
        ],
        difference=True,
        least=0.4,
        right=440.0,
        dots=True,
    )


def _shown(here: PageContext, reading: TileReading) -> TileReadingShown:
    shop = here.store.shop()
    tile = shop.get(CheckTile, reading.tile_id)
    may = here.may(CorrectShop)
    return TileReadingShown(
        reading=reading,
        tile=tile.name,
        by=person_name(shop, reading.author_id),
        correct_href=here.link("correct_shop", table=reading.table, record_id=reading.root)
        if may
        else "",
    )


def _actions(here: PageContext, found: Instrument, has_tiles: bool) -> tuple[Action, ...]:
    read = Action(
        text="Read a check tile", href=here.link("tile_reading_new", instrument_id=found.root)
    )
    register = Action(text="Register a check tile", href=here.link("tile_new"))
    correct = Action(
        text="Correct what is known of it",
        href=here.link("correct_shop", table=found.table, record_id=found.root),
    )
    return allowed(
        (
            (has_tiles and here.may(LogTileReading), read),
            (here.may(RegisterCheckTile), register),
            (here.may(CorrectShop), correct),
        )
    )

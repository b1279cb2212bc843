"""Check tiles: registering one, and what an instrument reads of it, typed in by hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.comparability import MEASURING_TEMPERATURE_C, normal_geometry
from service.domain.record_file import RecordFile
from service.domain.records.shop import CheckTile, Instrument, TileReading
from service.domain.refused import Refused
from service.domain.terms import Specular
from service.domain.tile_history import tile_readings
from service.use_cases.check_tiles import LogTileReading, RegisterCheckTile
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_forms import (
    UNITS,
    Filled,
    Gathering,
    Kind,
    Option,
    Start,
    in_kept_unit,
)
from service.web.pages.lab_typed import AXES, TypedAngle, angles_typed
from service.web.pages.office import entrance_of, office_frame

router = APIRouter()
_TILE = "/shop/tiles/new"
_READING = "/shop/instruments/{instrument_id}/tile-readings/new"
page_rules(
    {
        ("GET", _TILE): RegisterCheckTile,
        ("POST", _TILE): RegisterCheckTile,
        ("GET", _READING): LogTileReading,
        ("POST", _READING): LogTileReading,
    }
)

REPEATS = 3
USUAL_ANGLES = (-15, 15, 25, 45, 75, 110)
"""Aspecular degrees of the usual multi-angle instruments, from memory; any may be left empty."""
ILLUMINANTS = ("D65", "D50", "A", "F2", "F11", "LED-B3")
GEOMETRIES = ("d:8", "45:0", "multi-angle")


@dataclass(frozen=True, slots=True, kw_only=True)
class TileNewPage:
    """What is known of a tile."""

    frame: Frame
    form: Filled


@dataclass(frozen=True, slots=True, kw_only=True)
class TileReadingNewPage:
    """The form of a reading of a tile; ``first`` while this instrument has read none."""

    frame: Frame
    form: Filled
    instrument: Instrument
    instrument_href: str
    past: bool
    first: bool
    tiles: tuple[Option, ...]
    angles: tuple[TypedAngle, ...]
    repeats: range
    axes: tuple[str, ...]
    illuminants: tuple[Option, ...]
    observers: tuple[Option, ...]
    geometries: tuple[Option, ...]
    specular: tuple[Option, ...]
    measuring_temperature_c: float = MEASURING_TEMPERATURE_C
    temperatures: tuple[Option, ...] = UNITS[Kind.TEMPERATURE]


@router.get(_TILE, name="tile_new")
def tile_new(here: Here) -> Response:
    """The form."""
    page = TileNewPage(frame=office_frame(here), form=Filled(form=Form()))
    return here.render("shop_book_tile.html", page)


@router.post(_TILE, name="tile_new")
def tile_new_now(here: Here, form: SentForm) -> Response:
    """Register a check tile."""
    try:
        here.perform(form.command(RegisterCheckTile))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "shop_book_tile.html",
            lambda frame: TileNewPage(frame=frame, form=Filled(form=form)),
            entrance_of(here),
        )
    return here.see_other("shop_book", saved="tile")


@router.get(_READING, name="tile_reading_new")
def tile_reading_new(here: Here, instrument_id: str, tile: str = "") -> Response:
    """The form; its conditions are those of this instrument's last reading of a tile."""
    frame = here.frame("bench", bench=True)
    page = _page(here, instrument_id, frame, Form(), tile)
    return here.render("shop_book_tile_reading.html", page)


@router.post(_READING, name="tile_reading_new")
def tile_reading_new_now(here: Here, form: SentForm, instrument_id: str) -> Response:
    """Put the reading on record, and show what it says of the instrument."""
    instrument = here.store.shop().get(Instrument, instrument_id)
    try:
        here.perform(_command(form, here.store.shop(), instrument))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "shop_book_tile_reading.html",
            lambda frame: _page(here, instrument.root, frame, form),
            "bench",
            bench=True,
        )
    return here.see_other("instrument", instrument_id=instrument.root, saved="tile_reading")


def _command(form: Form, shop: RecordFile, instrument: Instrument) -> LogTileReading:
    gathering = Gathering(form)
    asked = _asked(shop, instrument)
    angles = gathering.take(lambda: angles_typed(form, asked, REPEATS), ())
    warmth = gathering.take(
        lambda: in_kept_unit(form, "surface_temperature_c", Kind.TEMPERATURE), None
    )
    command = gathering.take(
        lambda: form.command(
            LogTileReading,
            instrument_id=instrument.root,
            angles=angles,
            surface_temperature_c=warmth,
            is_reference=form.ticked("is_reference"),
        ),
        None,
    )
    gathering.done()
    assert command is not None, "nothing was refused"
    return command


def _asked(shop: RecordFile, instrument: Instrument) -> tuple[TypedAngle, ...]:
    """The angles to type: those it read tiles at so far, else those of its kind."""
    read = {one.angle for last in tile_readings(shop, instrument.root) for one in last.angles}
    known = [angle for angle in read if angle is not None]
    if known:
        return tuple(map(TypedAngle, sorted(known)))
    if not read and normal_geometry(instrument.geometry).startswith("multi"):
        return tuple(map(TypedAngle, USUAL_ANGLES))
    return (TypedAngle(None),)


def _last(shop: RecordFile, instrument: Instrument) -> TileReading | None:
    read = tile_readings(shop, instrument.root)
    return read[-1] if read else None


def _page(
    here: PageContext, instrument_id: str, frame: Frame, form: Form, tile_id: str = ""
) -> TileReadingNewPage:
    shop = here.store.shop()
    instrument = shop.get(Instrument, instrument_id)
    tiles = shop.all(CheckTile)
    last = _last(shop, instrument)
    due = instrument.calibration_due
    return TileReadingNewPage(
        frame=frame,
        form=Filled(form=form, start=_start(last, tiles, tile_id)),
        instrument=instrument,
        instrument_href=here.link("instrument", instrument_id=instrument.root),
        past=due is not None and due < datetime.now(UTC),
        first=last is None,
        tiles=tuple(Option(tile.root, tile.name, tile.serial) for tile in tiles),
        angles=_asked(shop, instrument),
        repeats=range(REPEATS),
        axes=AXES,
        illuminants=_stated(ILLUMINANTS, last.illuminant if last else ""),
        observers=(Option("", "State it"), Option("10", "10°"), Option("2", "2°")),
        geometries=_geometries(instrument, last),
        specular=(
            Option("", "As the instrument has it"),
            Option(Specular.INCLUDED, "Included"),
            Option(Specular.EXCLUDED, "Excluded"),
        ),
    )


def _start(last: TileReading | None, tiles: list[CheckTile], tile_id: str) -> Start:
    chosen = tile_id or (tiles[0].root if len(tiles) == 1 else "")
    if last is None:
        return {"tile_id": chosen}
    return {
        "tile_id": chosen,
        "illuminant": last.illuminant,
        "observer": str(last.observer),
        "geometry": last.geometry,
        "specular": last.specular or "",
    }


def _stated(names: tuple[str, ...], used: str) -> tuple[Option, ...]:
    known = dict.fromkeys((*names, *([used] if used else ())))
    return (Option("", "State it"), *(Option(name, name) for name in known))


def _geometries(instrument: Instrument, last: TileReading | None) -> tuple[Option, ...]:
    used = (last.geometry,) if last is not None else ()
    first = f"As registered, {instrument.geometry}" if instrument.geometry else "State it"
    named = dict.fromkeys((*used, *GEOMETRIES))
    return (Option("", first), *(Option(name, name) for name in named))

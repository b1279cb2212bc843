"""Check tiles: what the instruments are tried on, and what they read of them."""

from __future__ import annotations

from dataclasses import dataclass

from service.domain.records.measuring import AngleReading
from service.domain.records.shop import CheckTile, Instrument, TileReading
from service.domain.refused import AlreadyThere, Invalid
from service.domain.terms import Role, Specular
from service.use_cases.command import EVERYONE, Command, stamp, verb
from service.use_cases.ports import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterCheckTile(Command):
    """A tile that is kept to try the instruments on, because it does not change."""

    name: str
    serial: str = ""
    note: str = ""


@verb(Role.MANAGER, doing="register a check tile")
def register_check_tile(unit: Unit, command: RegisterCheckTile) -> None:
    """Register a tile under a name of its own."""
    name = command.name.strip()
    if any(tile.name.casefold() == name.casefold() for tile in unit.shop().all(CheckTile)):
        raise AlreadyThere(
            f"{name} is already registered. Correct that entry, or use another name."
        )
    unit.add(
        CheckTile(
            **stamp(unit, command), name=name, serial=command.serial.strip(), note=command.note
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LogTileReading(Command):
    """What an instrument read of a check tile, its repeats taken after lifting it.

    Geometry and specular None take the registered instrument's own. ``is_reference`` makes it
    the reading that later ones are held against, as after a service.
    """

    tile_id: str
    instrument_id: str
    illuminant: str
    observer: int
    angles: tuple[AngleReading, ...]
    geometry: str | None = None
    specular: Specular | None = None
    surface_temperature_c: float | None = None
    is_reference: bool = False
    note: str = ""


@verb(*EVERYONE, doing="log a reading of a check tile")
def log_tile_reading(unit: Unit, command: LogTileReading) -> None:
    """Record what an instrument read of a tile; past its calibration too, for that tells most."""
    tile = unit.shop().get(CheckTile, command.tile_id)
    instrument = unit.shop().get(Instrument, command.instrument_id)
    geometry = command.geometry or instrument.geometry
    if not geometry:
        raise Invalid(
            "geometry",
            f"The geometry of {instrument.name} is not known. State it (45:0, d:8, multi-angle), "
            "or have it put into the shop's book.",
        )
    unit.add(
        TileReading(
            **stamp(unit, command),
            tile_id=tile.root,
            instrument_id=instrument.root,
            illuminant=command.illuminant.strip(),
            observer=command.observer,
            geometry=geometry,
            specular=command.specular or instrument.specular,
            angles=command.angles,
            surface_temperature_c=command.surface_temperature_c,
            is_reference=command.is_reference,
            note=command.note,
        )
    )

"""Records and their fields as people call them, and the other records a field may point to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from service.domain.card_code import grouped
from service.domain.record_file import RecordFile
from service.domain.records.base import Record
from service.domain.records.cards import Card, Movement, Photo, Zone
from service.domain.records.job import Acceptance, Area, Finish, Job, Joint, Panel, Policy
from service.domain.records.measuring import EyeCheck, Master, Reading, Verdict
from service.domain.records.shop import (
    ApiToken,
    CheckTile,
    Credential,
    Instrument,
    Person,
    PhotoTarget,
    Product,
    Shop,
    TileReading,
)
from service.domain.records.spraying import Bake, Batch, Coat, Component, Finishing
from service.domain.sides import joint_name, place_name
from service.web.pages.bench_forms import Option, words

TABLES: Mapping[str, str] = {
    "jobs": "job",
    "finishes": "finish",
    "policies": "limits",
    "panels": "panel",
    "areas": "area",
    "joints": "joint",
    "repairs": "repair",
    "batches": "batch",
    "components": "component",
    "coats": "coat",
    "bakes": "bake",
    "finishings": "step after clear",
    "cards": "card",
    "zones": "zone",
    "movements": "movement",
    "photos": "photograph",
    "readings": "reading",
    "frames": "frame of readings",
    "masters": "master",
    "eye_checks": "eye check",
    "verdicts": "verdict",
    "acceptances": "acceptance",
    "releases": "release",
    "shops": "shop",
    "people": "person",
    "credentials": "password",
    "api_tokens": "token",
    "instruments": "instrument",
    "check_tiles": "check tile",
    "tile_readings": "reading of a check tile",
    "products": "product sheet",
    "photo_targets": "photo sheet",
}
"""What one record of a table is called."""

LABELS: Mapping[str, str] = {
    "observed_at": "When it happened",
    "amount_ml": "Amount mixed, ml",
    "area_a": "Area at the first side",
    "area_b": "Area at the second side",
    "area_id": "Area",
    "bake_minutes": "Bake, minutes",
    "bake_temperature_c": "Bake, °C",
    "batch_id": "Batch",
    "booth_humidity_percent": "Booth humidity, %",
    "booth_temperature_c": "Booth temperature, °C",
    "boxed_tins": "Tins boxed",
    "calibration_due": "Calibration due",
    "card_id": "Card",
    "coats_to_hide": "Coats to hide",
    "distance_mm": "Gun distance, mm",
    "expires_at": "Good until",
    "finish_id": "Finish",
    "flash_minutes": "Flash, minutes",
    "grit": "Grit of the paper",
    "hides": "It hides",
    "hiding_mark": "Hiding mark",
    "instrument_id": "Instrument",
    "inter_instrument_uncertainty": "Stands apart from others by",
    "is_reference": "Later readings are held against it",
    "measured_at": "Patches measured",
    "mid_coats": "Mid-coats",
    "mix_ratio": "Mix ratio by volume",
    "number": "Number",
    "panel_a": "First side",
    "panel_b": "Second side",
    "panel_id": "Panel",
    "past_calibration": "Past its calibration",
    "pot_life_minutes": "Pot life, minutes",
    "pressure_bar": "Air pressure, bar",
    "print_code": "Print code",
    "product_id": "Product sheet",
    "ratio_tolerance_percent": "Ratio tolerance, %",
    "replaces": "Replaces the card",
    "sheet": "Data sheet",
    "standard_uncertainty": "Standard uncertainty",
    "surface_temperature_c": "Surface temperature, °C",
    "temperature_c": "Temperature, °C",
    "tile_id": "Check tile",
    "target": "Target file",
    "tip_mm": "Tip, mm",
    "values": "Values of its patches",
    "wax_wait_days": "Wait before wax, days",
    "withdrawn": "Withdrawn",
    "x": "Place across on the map",
    "y": "Place along on the map",
    "zone_id": "Zone",
}

POINTS_TO: Mapping[str, type[Record]] = {
    "finish_id": Finish,
    "batch_id": Batch,
    "panel_id": Panel,
    "panel_a": Panel,
    "panel_b": Panel,
    "area_id": Area,
    "area_a": Area,
    "area_b": Area,
    "card_id": Card,
    "other_card_id": Card,
    "replaces": Card,
    "zone_id": Zone,
    "instrument_id": Instrument,
    "tile_id": CheckTile,
    "product_id": Product,
    "person_id": Person,
    "holder_id": Person,
    "photo_target_id": PhotoTarget,
    "joint_id": Joint,
}
"""Fields that hold the id of another record."""

SHOP_KINDS = (Instrument, CheckTile, Product, Person, PhotoTarget)


@dataclass(frozen=True, slots=True)
class Files:
    """Where the records live that a field may point to."""

    file: RecordFile
    shop: RecordFile

    def find(self, kind: type[Record], id: str) -> Record | None:
        """A record, also one that was withdrawn."""
        return (self.shop if kind in SHOP_KINDS else self.file).latest_revision(kind, id)

    def all(self, kind: type[Record]) -> list[Record]:
        """Every record of a kind."""
        return (self.shop if kind in SHOP_KINDS else self.file).all(kind)


def label_of(field: str) -> str:
    """The name of a field as people say it."""
    return LABELS.get(field) or words(field)


def name_of(files: Files, record: Record) -> str:
    """A record by its name, short enough for a list."""
    file = files.file
    match record:
        case Job():
            return f"{record.title}, {record.work_order}"
        case Finish() | Panel() | Area() | Zone() | Person() | Instrument() | Product() | Shop():
            return record.name
        case PhotoTarget() | CheckTile():
            return record.name
        case TileReading():
            return _of(files, CheckTile, record.tile_id)
        case Batch():
            return f"batch {record.number}"
        case Card():
            return f"card {grouped(record.code)}"
        case Joint():
            panels = (files.find(Panel, id) for id in (record.panel_a, record.panel_b))
            if any(panel is None or panel.withdrawn for panel in panels):
                return "a joint of a withdrawn panel"
            return joint_name(file, record)
        case Component():
            return f"{record.product} in {_of(files, Batch, record.batch_id)}"
        case Coat():
            where = _place(files, record.panel_id, record.area_id, record.card_id)
            batch = _of(files, Batch, record.batch_id)
            return f"{record.role.value} coat {record.number} of {batch} on {where}"
        case Bake() | Finishing():
            what = "bake" if isinstance(record, Bake) else record.kind.value
            return f"{what} of {_place(files, record.panel_id, None, record.card_id)}"
        case Reading():
            return f"reading of {_place(files, record.panel_id, None, record.card_id)}"
        case Acceptance():
            return (
                _of(files, Batch, record.batch_id)
                if record.batch_id is not None
                else _of(files, Joint, record.joint_id or "")
            )
        case Credential():
            return _of(files, Person, record.person_id)
        case Movement() | Photo() | EyeCheck():
            return _of(files, Card, record.card_id)
        case Policy() | Master():
            return f"{TABLES[record.table]} of {_of(files, Finish, record.finish_id)}"
        case Verdict():
            return record.sentence
        case ApiToken():
            return f"token “{record.label}”"
        case _:
            return TABLES.get(record.table, record.table)


def _of(files: Files, kind: type[Record], id: str) -> str:
    found = files.find(kind, id)
    return name_of(files, found) if found is not None else f"an unknown {TABLES[kind.table]}"


def _place(files: Files, panel_id: str | None, area_id: str | None, card_id: str | None) -> str:
    if card_id is not None:
        return _of(files, Card, card_id)
    panel = files.find(Panel, panel_id or "")
    if panel is None:
        return "an unknown panel"
    area = files.find(Area, area_id or "")
    if area is None or area.withdrawn:
        area_id = None
    if panel.withdrawn:
        return name_of(files, panel)
    text = place_name(files.file, panel.root, area_id)
    return f"the {text[:1].lower()}{text[1:]}"


def choices_for(files: Files, field: str, held: str | None) -> tuple[Option, ...]:
    """The records a field may point to; the one it points to is always among them."""
    kind = POINTS_TO[field]
    found = {record.root: record for record in files.all(kind)}
    there = files.find(kind, held or "")
    if there is not None:
        found.setdefault(there.root, there)
    return tuple(_options(files, found.values()))


PLURALS: Mapping[str, str] = {
    "finishes": "finishes",
    "batches": "batches",
    "finishings": "steps after clear",
}


def belonging_to(
    files: Files, record: Record, kinds: Iterable[type[Record]]
) -> list[tuple[str, list[Record]]]:
    """The records of these kinds that point to a record, by what they are called together."""
    found = []
    for kind in kinds:
        fields = [name for name, to in POINTS_TO.items() if to is type(record)]
        if isinstance(record, Job):
            fields = ["job_id"] if kind in (Finish, Joint) else []
        held = kind.__dataclass_fields__
        of_kind = {
            one.root: one
            for name in fields
            if name in held and not (kind is Card and name in ("card_id", "replaces"))
            for one in files.file.by(kind, name, record.root)
        }
        if of_kind:
            together = PLURALS.get(kind.table, f"{TABLES[kind.table]}s")
            found.append((together, list(of_kind.values())))
    return found


def _options(files: Files, records: Iterable[Record]) -> Iterable[Option]:
    for record in records:
        name = name_of(files, record)
        if isinstance(record, Area):
            name = f"{_of(files, Panel, record.panel_id)}, {name}"
        elif isinstance(record, Zone):
            name = f"{_of(files, Card, record.card_id)}, {name}"
        yield Option(record.root, name[:1].upper() + name[1:])

"""At the bench and in the booth: mix a pot, spray coats, bake, cut and polish."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Area, Finish, Joint, Panel
from service.domain.records.shop import Product
from service.domain.records.spraying import Bake, Batch, Coat, Component, Finishing
from service.domain.refused import AlreadyThere, Invalid
from service.domain.terms import (
    BakeTemperatureOf,
    CoatRole,
    ComponentRole,
    FinishingKind,
    JointKind,
)
from service.use_cases.command import EVERYONE, Command, stamp, verb
from service.use_cases.judging import judge_joints
from service.use_cases.ports import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Poured:
    """One thing poured into a pot."""

    product: str
    role: ComponentRole
    lot: str = ""
    amount: float | None = None
    unit: str = "ml"


@dataclass(frozen=True, slots=True, kw_only=True)
class MixBatch(Command):
    """One pot, mixed and ready to spray; number None takes the next of the job."""

    job_id: str
    finish_id: str
    role: CoatRole = CoatRole.BASE
    components: tuple[Poured, ...] = ()
    number: int | None = None
    formula: str = ""
    product_id: str | None = None
    amount_ml: float | None = None
    boxed_tins: int | None = None
    pot_life_minutes: float | None = None
    note: str = ""


@verb(*EVERYONE, doing="mix a batch")
def mix_batch(unit: Unit, command: MixBatch) -> None:
    """Record a pot; its pot life comes from the product's sheet unless stated."""
    file = unit.job(command.job_id)
    finish = file.get(Finish, command.finish_id)
    numbers = {batch.number for batch in file.all(Batch)}
    number = command.number if command.number is not None else max(numbers, default=0) + 1
    if number in numbers:
        raise AlreadyThere(
            f"This job already has a batch {number}. A refill from a new pot is a new batch: "
            f"number it {max(numbers) + 1}."
        )
    pot_life = command.pot_life_minutes
    products = {p.name.casefold(): p for p in unit.shop().all(Product)}
    if command.product_id is not None and pot_life is None:
        pot_life = unit.shop().get(Product, command.product_id).pot_life_minutes
    unit.add(
        Batch(
            **stamp(unit, command),
            job_id=command.job_id,
            finish_id=finish.root,
            number=number,
            role=command.role,
            formula=command.formula,
            product_id=command.product_id,
            amount_ml=command.amount_ml,
            boxed_tins=command.boxed_tins,
            pot_life_minutes=pot_life,
            note=command.note,
        )
    )
    for place, poured in enumerate(command.components):
        known = products.get(poured.product.strip().casefold())
        unit.add(
            Component(
                **stamp(unit, command, f"component {place}"),
                job_id=command.job_id,
                batch_id=command.id,
                product=poured.product.strip(),
                role=poured.role,
                lot=poured.lot.strip(),
                amount=poured.amount,
                unit=poured.unit,
                product_id=known.root if known else None,
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class GunSetUp:
    """How a coat was sprayed; what is not known stays None."""

    hides: bool | None = None
    flash_minutes: float | None = None
    booth: str = ""
    booth_temperature_c: float | None = None
    booth_humidity_percent: float | None = None
    gun: str = ""
    tip_mm: float | None = None
    pressure_bar: float | None = None
    distance_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SprayCoat(Command):
    """One coat of a batch over panels (or areas of them) and cards at once.

    ``number`` None counts on from the coats of the same role already there.
    """

    job_id: str
    batch_id: str
    panel_ids: tuple[str, ...] = ()
    area_ids: tuple[str, ...] = ()
    card_ids: tuple[str, ...] = ()
    role: CoatRole | None = None
    number: int | None = None
    set_up: GunSetUp = GunSetUp()


@verb(*EVERYONE, doing="log a coat")
def spray_coat(unit: Unit, command: SprayCoat) -> None:
    """Record a coat; two batches in one coat of one panel make a joint within it."""
    file = unit.job(command.job_id)
    batch = file.get(Batch, command.batch_id)
    role = command.role or batch.role
    areas = [file.get(Area, id) for id in command.area_ids]
    cards = [file.get(Card, id) for id in command.card_ids]
    targets: list[tuple[str | None, str | None, str | None]] = [
        *((file.get(Panel, id).root, None, None) for id in command.panel_ids),
        *((area.panel_id, area.root, None) for area in areas),
        *((None, None, card.root) for card in cards),
    ]
    if not targets:
        raise Invalid("panel_ids", "The coat went nowhere. Name a panel, an area or a card.")
    for panel_id, area_id, card_id in targets:
        place = area_id or panel_id or card_id or ""
        unit.add(
            coat_of(
                unit,
                command,
                f"coat {place}",
                file,
                batch,
                role,
                command.number or next_number(file, role, panel_id, area_id, card_id),
                command.set_up,
                panel_id=panel_id,
                area_id=area_id,
                card_id=card_id,
            )
        )
    for panel_id in dict.fromkeys(area.panel_id for area in areas):
        _add_joints_within(unit, command, panel_id)
    if role.gives_colour and (command.panel_ids or areas):
        touched = {*command.panel_ids, *(area.panel_id for area in areas)}
        judge_joints(unit, command, unit.job(command.job_id), panel_ids=touched)


def coat_of(
    unit: Unit,
    command: Command,
    part: str,
    file: RecordFile,
    batch: Batch,
    role: CoatRole,
    number: int,
    set_up: GunSetUp,
    *,
    panel_id: str | None = None,
    area_id: str | None = None,
    card_id: str | None = None,
) -> Coat:
    """A coat as a record."""
    return Coat(
        **stamp(unit, command, part),
        job_id=file.chain,
        batch_id=batch.root,
        role=role,
        number=number,
        panel_id=panel_id,
        area_id=area_id,
        card_id=card_id,
        hides=set_up.hides,
        flash_minutes=set_up.flash_minutes,
        booth=set_up.booth.strip(),
        booth_temperature_c=set_up.booth_temperature_c,
        booth_humidity_percent=set_up.booth_humidity_percent,
        gun=set_up.gun.strip(),
        tip_mm=set_up.tip_mm,
        pressure_bar=set_up.pressure_bar,
        distance_mm=set_up.distance_mm,
    )


def next_number(
    file: RecordFile,
    role: CoatRole,
    panel_id: str | None,
    area_id: str | None,
    card_id: str | None,
) -> int:
    """The number after the last coat of that role at that place."""
    there: Iterable[Coat]
    if card_id is not None:
        there = file.by(Coat, "card_id", card_id)
    else:
        there = (
            coat
            for coat in file.by(Coat, "panel_id", panel_id)
            if area_id is None or coat.area_id in (None, area_id)
        )
    return max((coat.number for coat in there if coat.role is role), default=0) + 1


def _add_joints_within(unit: Unit, command: Command, panel_id: str) -> None:
    """One coat of one panel from two batches: the edge between them meets the eye."""
    file = unit.job(_job_id(command))
    coats = [c for c in file.by(Coat, "panel_id", panel_id) if c.area_id and c.role.gives_colour]
    known = {
        frozenset((joint.area_a, joint.area_b))
        for joint in file.by(Joint, "panel_a", panel_id)
        if joint.kind is JointKind.WITHIN
    }
    for i, one in enumerate(coats):
        for other in coats[i + 1 :]:
            edge = frozenset((one.area_id, other.area_id))
            unlike = one.batch_id != other.batch_id and len(edge) == 2
            if (
                unlike
                and (one.role, one.number) == (other.role, other.number)
                and edge not in known
            ):
                known.add(edge)
                unit.add(
                    Joint(
                        **stamp(unit, command, f"within {one.area_id} {other.area_id}"),
                        job_id=file.chain,
                        kind=JointKind.WITHIN,
                        panel_a=panel_id,
                        area_a=one.area_id,
                        panel_b=panel_id,
                        area_b=other.area_id,
                        note="One coat of this panel came from two pots.",
                    )
                )


def _job_id(command: Command) -> str:
    return str(getattr(command, "job_id"))  # noqa: B009  every command here names its job


@dataclass(frozen=True, slots=True, kw_only=True)
class BakeThem(Command):
    """One bake of panels and cards together; ``observed_at`` is its end."""

    job_id: str
    minutes: float
    temperature_c: float
    temperature_of: BakeTemperatureOf
    panel_ids: tuple[str, ...] = ()
    card_ids: tuple[str, ...] = ()


@verb(*EVERYONE, doing="log a bake")
def bake_them(unit: Unit, command: BakeThem) -> None:
    """Record a bake of everything that was in the oven."""
    file = unit.job(command.job_id)
    if not command.panel_ids and not command.card_ids:
        raise Invalid("card_ids", "Nothing was baked. Name the panels and cards in the oven.")
    for id in (*command.panel_ids, *command.card_ids):
        is_panel = id in command.panel_ids
        target = file.get(Panel, id).root if is_panel else file.get(Card, id).root
        unit.add(
            Bake(
                **stamp(unit, command, f"bake {id}"),
                job_id=file.chain,
                minutes=command.minutes,
                temperature_c=command.temperature_c,
                temperature_of=command.temperature_of,
                panel_id=target if is_panel else None,
                card_id=None if is_panel else target,
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishSurface(Command):
    """Cutting with one grit or polishing, of panels, cards or one zone of a card."""

    job_id: str
    kind: FinishingKind
    grit: int | None = None
    panel_ids: tuple[str, ...] = ()
    card_ids: tuple[str, ...] = ()
    zone_id: str | None = None


@verb(*EVERYONE, doing="log cutting and polishing")
def finish_surface(unit: Unit, command: FinishSurface) -> None:
    """Record one step of cutting or polishing."""
    file = unit.job(command.job_id)
    targets: list[tuple[str | None, str | None, str | None]] = [
        *((file.get(Panel, id).root, None, None) for id in command.panel_ids),
        *((None, file.get(Card, id).root, None) for id in command.card_ids),
    ]
    if command.zone_id is not None:
        zone = file.get(Zone, command.zone_id)
        targets.append((None, zone.card_id, zone.root))
    if not targets:
        raise Invalid("card_ids", "Nothing was finished. Name a panel, a card or a zone.")
    for panel_id, card_id, zone_id in targets:
        unit.add(
            Finishing(
                **stamp(unit, command, f"finishing {panel_id} {card_id} {zone_id}"),
                job_id=file.chain,
                kind=command.kind,
                grit=command.grit,
                panel_id=panel_id,
                card_id=card_id,
                zone_id=zone_id,
            )
        )

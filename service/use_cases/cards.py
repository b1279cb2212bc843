"""The cards: log one as it is sprayed, hang it, pull it, bring it back."""

from __future__ import annotations

from dataclasses import dataclass

from service.domain.card_code import grouped, read_card_code
from service.domain.keeping import HeldBack, held_back
from service.domain.lookups import whereabouts
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Movement, Photo, Zone
from service.domain.records.shop import Person
from service.domain.records.spraying import Batch, Coat
from service.domain.refused import AlreadyThere, NotAllowed, OutOfOrder
from service.domain.terms import (
    CardKind,
    CoatRole,
    HidingMark,
    Hung,
    MovementKind,
    Role,
    ZoneState,
)
from service.use_cases.command import EVERYONE, Command, stamp, verb
from service.use_cases.ports import Unit
from service.use_cases.spraying import GunSetUp, coat_of


@dataclass(frozen=True, slots=True, kw_only=True)
class CardCoats:
    """Coats a card got: so many of one role from one batch, one way."""

    batch_id: str
    coats: int
    role: CoatRole | None = None
    set_up: GunSetUp = GunSetUp()


@dataclass(frozen=True, slots=True, kw_only=True)
class CardZone:
    """One zone of a card as it will be finished."""

    name: str
    state: ZoneState
    cleared: bool
    mid_coats: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LogCard(Command):
    """A card as it is sprayed, with its label's code, its coats so far and its zones."""

    job_id: str
    batch_id: str
    code: str
    kind: CardKind = CardKind.RETENTION
    slot: str = ""
    substrate: str = ""
    hung: Hung = Hung.UPRIGHT
    hiding_mark: HidingMark = HidingMark.NONE
    ground_shade: str = ""
    replaces_card_id: str | None = None
    note: str = ""
    coats: tuple[CardCoats, ...] = ()
    zones: tuple[CardZone, ...] = ()


@verb(*EVERYONE, doing="log a card")
def log_card(unit: Unit, command: LogCard) -> None:
    """Record a card; its code must be new in the shop, its slot free."""
    file = unit.job(command.job_id)
    batch = file.get(Batch, command.batch_id)
    code = read_card_code(command.code)
    taken = unit.card_by_code(code)
    if taken is not None:
        raise AlreadyThere(
            f"The label {grouped(code)} is already on another card. "
            "Take a new label, or open that card if it is the same one."
        )
    if command.replaces_card_id is not None:
        file.get(Card, command.replaces_card_id)
    unit.add(
        Card(
            **stamp(unit, command),
            job_id=file.chain,
            batch_id=batch.root,
            finish_id=batch.finish_id,
            code=code,
            kind=command.kind,
            slot=command.slot.strip().upper(),
            substrate=command.substrate,
            hung=command.hung,
            hiding_mark=command.hiding_mark,
            ground_shade=command.ground_shade,
            replaces=command.replaces_card_id,
            note=command.note,
        )
    )
    coats: list[Coat] = []
    for group in command.coats:
        from_batch = file.get(Batch, group.batch_id)
        role = group.role or from_batch.role
        before = sum(coat.role is role for coat in coats)
        coats += [
            coat_of(
                unit,
                command,
                f"coat {role} {number}",
                file,
                from_batch,
                role,
                number,
                group.set_up,
                card_id=command.id,
            )
            for number in range(before + 1, before + group.coats + 1)
        ]
    unit.add(*coats)
    unit.add(*(_zone(unit, command, file, command.id, zone) for zone in command.zones))


@dataclass(frozen=True, slots=True, kw_only=True)
class AddZone(Command):
    """Another zone of a card, for instance the half that is cleared."""

    job_id: str
    card_id: str
    zone: CardZone


@verb(*EVERYONE, doing="add a zone")
def add_zone(unit: Unit, command: AddZone) -> None:
    """Divide a card further."""
    file = unit.job(command.job_id)
    card = file.get(Card, command.card_id)
    if any(zone.name == command.zone.name for zone in file.by(Zone, "card_id", card.root)):
        raise AlreadyThere(f"The card already has a zone {command.zone.name}. Use another name.")
    unit.add(_zone(unit, command, file, card.root, command.zone, main=True))


def _zone(
    unit: Unit, command: Command, file: RecordFile, card_id: str, zone: CardZone, main: bool = False
) -> Zone:
    return Zone(
        **stamp(unit, command, "" if main else f"zone {zone.name}"),
        job_id=file.chain,
        card_id=card_id,
        name=zone.name,
        state=zone.state,
        cleared=zone.cleared,
        mid_coats=zone.mid_coats,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PullCard(Command):
    """A card leaves its slot, with somebody and for a reason."""

    job_id: str
    card_id: str
    why: str


@verb(*EVERYONE, doing="pull a card")
def pull_card(unit: Unit, command: PullCard) -> None:
    """Sign a card out; the last card of a batch, and a master, only by a manager."""
    file = unit.job(command.job_id)
    card = file.get(Card, command.card_id)
    place = whereabouts(file, card)
    if place.place == "out":
        holder = unit.shop().find(Person, place.holder_id)
        name = holder.name if holder else "somebody who has left"
        raise OutOfOrder(f"{grouped(card.code)} is out with {name}. Ask for it there.")
    if place.place == "missing":
        raise OutOfOrder(f"{grouped(card.code)} is marked missing. Return it first if it is found.")
    _refuse_the_irreplaceable(unit, file, card)
    _move(unit, command, card, MovementKind.PULLED, why=command.why)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnCard(Command):
    """A card comes back, with a look at its state; a slot when it hangs elsewhere now."""

    job_id: str
    card_id: str
    state: str
    slot: str = ""


@verb(*EVERYONE, doing="return a card")
def return_card(unit: Unit, command: ReturnCard) -> None:
    """Sign a card in."""
    file = unit.job(command.job_id)
    card = file.get(Card, command.card_id)
    if whereabouts(file, card).place == "in":
        raise OutOfOrder(f"{grouped(card.code)} is in its slot already. Nothing to return.")
    slot = command.slot.strip().upper()
    _move(unit, command, card, MovementKind.RETURNED, state=command.state, slot=slot)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportMissing(Command):
    """A card is not where it should be."""

    job_id: str
    card_id: str
    why: str


@verb(*EVERYONE, doing="mark a card missing")
def report_missing(unit: Unit, command: ReportMissing) -> None:
    """Mark a card missing; its readings stay, its place as physical proof is gone."""
    file = unit.job(command.job_id)
    card = file.get(Card, command.card_id)
    if whereabouts(file, card).place == "missing":
        raise OutOfOrder(f"{grouped(card.code)} is marked missing already.")
    _move(unit, command, card, MovementKind.MISSING, why=command.why)


def _refuse_the_irreplaceable(unit: Unit, file: RecordFile, card: Card) -> None:
    if Role.MANAGER in unit.person.roles:
        return
    held = held_back(file, card)
    if held is HeldBack.MASTER:
        raise NotAllowed("pull a master card", (Role.MANAGER,))
    if held is HeldBack.LAST:
        raise NotAllowed("pull the last card of a batch", (Role.MANAGER,))


def _move(
    unit: Unit,
    command: Command,
    card: Card,
    kind: MovementKind,
    why: str = "",
    state: str = "",
    slot: str = "",
) -> None:
    unit.add(
        Movement(
            **stamp(unit, command),
            job_id=card.job_id,
            card_id=card.root,
            kind=kind,
            holder_id=unit.person.root,
            why=why,
            state=state,
            slot=slot,
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachPhoto(Command):
    """A photograph of a card whose bytes are in the photo store already."""

    job_id: str
    card_id: str
    sha256: str
    media_type: str
    size_bytes: int
    width: int
    height: int
    caption: str = ""


@verb(*EVERYONE, doing="add a photograph")
def attach_photo(unit: Unit, command: AttachPhoto) -> None:
    """Attach a stored photograph to a card."""
    file = unit.job(command.job_id)
    card = file.get(Card, command.card_id)
    unit.add(
        Photo(
            **stamp(unit, command),
            job_id=file.chain,
            card_id=card.root,
            sha256=command.sha256,
            media_type=command.media_type,
            size_bytes=command.size_bytes,
            width=command.width,
            height=command.height,
            caption=command.caption,
        )
    )

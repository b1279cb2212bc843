"""The shop's own book: its people, their keys, instruments and product sheets."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from service.domain.record_file import RecordFile
from service.domain.records.shop import (
    PLAIN_PRINT,
    ApiToken,
    Credential,
    Instrument,
    Person,
    PhotoTarget,
    Product,
)
from service.domain.refused import AlreadyThere, Invalid
from service.domain.terms import ComponentRole, PatchValues, Role, Specular
from service.use_cases.command import Command, stamp, verb
from service.use_cases.ports import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class AddPerson(Command):
    """Somebody who will use the record, with an argon2id hash of their first password."""

    name: str
    roles: tuple[Role, ...]
    password_hash: str | None = None


@verb(Role.MANAGER, doing="add a person")
def add_person(unit: Unit, command: AddPerson) -> None:
    """Add a person; names are unique because people sign in by them."""
    taken = {person.name.casefold() for person in unit.shop().all(Person)}
    if command.name.strip().casefold() in taken:
        raise AlreadyThere(
            f"There is already somebody called {command.name}. Add an initial to tell them apart."
        )
    unit.add(
        Person(
            **stamp(unit, command), name=command.name.strip(), roles=tuple(sorted(command.roles))
        )
    )
    if command.password_hash is not None:
        unit.add(
            Credential(
                **stamp(unit, command, "credential"),
                person_id=command.id,
                password_hash=command.password_hash,
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPassword(Command):
    """A new password for a person, as an argon2id hash; the newest one holds."""

    person_id: str
    password_hash: str


@verb(Role.MANAGER, Role.PAINTER, Role.REFINISHER, doing="set a password")
def set_password(unit: Unit, command: SetPassword) -> None:
    """Set a password: one's own, or anybody's as a manager."""
    person = unit.shop().get(Person, command.person_id)
    if person.root != unit.person.root and Role.MANAGER not in unit.person.roles:
        raise Invalid("person_id", "You can change your own password only. Ask a manager.")
    unit.add(
        Credential(
            **stamp(unit, command), person_id=person.root, password_hash=command.password_hash
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class GiveToken(Command):
    """A token for a program, as its SHA-256; the token itself is shown once, by the client."""

    person_id: str
    role: Role
    label: str
    token_hash: str
    expires_at: datetime | None = None


@verb(Role.MANAGER, doing="give out a token")
def give_token(unit: Unit, command: GiveToken) -> None:
    """Give a token that acts as a person in one of that person's roles."""
    person = unit.shop().get(Person, command.person_id)
    if command.role not in person.roles:
        raise Invalid(
            "role", f"{person.name} is no {command.role}. Pick one of: {', '.join(person.roles)}."
        )
    unit.add(
        ApiToken(
            **stamp(unit, command),
            person_id=person.root,
            role=command.role,
            label=command.label,
            token_hash=command.token_hash,
            expires_at=command.expires_at,
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterInstrument(Command):
    """A colour-measuring instrument, with what is known of it."""

    name: str
    serial: str = ""
    geometry: str = ""
    specular: Specular | None = None
    standard_uncertainty: float | None = None
    calibration_due: datetime | None = None
    inter_instrument_uncertainty: float | None = None


@verb(Role.MANAGER, doing="register an instrument")
def register_instrument(unit: Unit, command: RegisterInstrument) -> None:
    """Register an instrument under a name of its own."""
    refuse_taken(unit, Instrument, command.name)
    unit.add(
        Instrument(
            **stamp(unit, command),
            name=command.name.strip(),
            serial=command.serial,
            geometry=command.geometry,
            specular=command.specular,
            standard_uncertainty=command.standard_uncertainty,
            calibration_due=command.calibration_due,
            inter_instrument_uncertainty=command.inter_instrument_uncertainty,
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterProduct(Command):
    """A product with the figures of its own data sheet."""

    name: str
    role: ComponentRole
    sheet: str
    mix_ratio: tuple[tuple[ComponentRole, float], ...] = ()
    ratio_tolerance_percent: float = 5.0
    pot_life_minutes: float | None = None
    flash_minutes: float | None = None
    bake_minutes: float | None = None
    bake_temperature_c: float | None = None
    wax_wait_days: float | None = None
    coats_to_hide: int | None = None


@verb(Role.MANAGER, Role.PAINTER, doing="register a product")
def register_product(unit: Unit, command: RegisterProduct) -> None:
    """Register a product under a name of its own."""
    refuse_taken(unit, Product, command.name)
    unit.add(
        Product(
            **stamp(unit, command),
            name=command.name.strip(),
            role=command.role,
            sheet=command.sheet,
            mix_ratio=command.mix_ratio,
            ratio_tolerance_percent=command.ratio_tolerance_percent,
            pot_life_minutes=command.pot_life_minutes,
            flash_minutes=command.flash_minutes,
            bake_minutes=command.bake_minutes,
            bake_temperature_c=command.bake_temperature_c,
            wax_wait_days=command.wax_wait_days,
            coats_to_hide=command.coats_to_hide,
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterPhotoTarget(Command):
    """A print of the photo sheet, or a bought chart, with the colours of its own patches.

    ``target`` is the target file as JSON. ``print_code`` is the one its codes carry; where the
    file has codes it is read from them.
    """

    name: str
    target: dict[str, Any]
    print_code: str | None = None
    measured_at: datetime | None = None
    instrument_id: str | None = None
    note: str = ""


@verb(Role.MANAGER, doing="register a photo sheet")
def register_photo_target(unit: Unit, command: RegisterPhotoTarget) -> None:
    """Register a sheet or chart under a name, and a print code, of its own."""
    refuse_taken(unit, PhotoTarget, command.name)
    if command.instrument_id is not None:
        unit.shop().get(Instrument, command.instrument_id)
    values = command.target.get("values", PatchValues.NOMINAL)
    record = PhotoTarget(
        **stamp(unit, command),
        name=command.name.strip(),
        target=target_as_text(command.target),
        # What is neither is refused by the target file's own rules, with its words.
        values=PatchValues(values) if values in list(PatchValues) else PatchValues.NOMINAL,
        print_code=_print_code(command),
        measured_at=command.measured_at,
        instrument_id=command.instrument_id,
        note=command.note,
    )
    _refuse_taken_print(unit.shop(), record)
    unit.add(record)


def target_as_text(target: dict[str, Any]) -> str:
    """A target file in its one form."""
    try:
        return json.dumps(
            target, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
        )
    except (TypeError, ValueError) as error:
        raise Invalid("target", f"The target file holds what JSON cannot say ({error}).") from error


def _refuse_taken_print(shop: RecordFile, record: PhotoTarget) -> None:
    """Refuse a print code that another standing sheet has."""
    if record.print_code is None:
        return
    for other in shop.by(PhotoTarget, "print_code", record.print_code):
        if other.root != record.root:
            raise AlreadyThere(
                f"The print {record.print_code} is registered already, as {other.name}. "
                "Withdraw that entry first, or print the sheet again with another code."
            )


def _print_code(command: RegisterPhotoTarget) -> str | None:
    """The print code a target's markers carry, or the one given; they must not differ."""
    markers = command.target.get("markers") or ()
    texts = [m.get("text") for m in markers if isinstance(m, dict)]
    # A marker of the sheet: KC, the sheet's design, the corner, the print.
    carried = {t.split("/")[3] for t in texts if isinstance(t, str) and t.count("/") == 3}
    given = (command.print_code or "").strip().upper() or None
    found = carried.pop() if len(carried) == 1 else None
    if found is None or given == found:
        return given
    if given is None:
        return None if found == PLAIN_PRINT else found
    raise Invalid(
        "print_code",
        f"The print code is given as {given}, and the codes in the target file say {found}. "
        "Give the one that stands at the foot of the printed sheet.",
    )


def refuse_taken(
    unit: Unit, kind: type[Instrument] | type[Product] | type[PhotoTarget], name: str
) -> None:
    """Refuse a name that a standing record of the kind has."""
    named = [
        record
        for record in unit.shop().all(kind)
        if isinstance(record, Instrument | Product | PhotoTarget)
    ]
    if any(record.name.casefold() == name.strip().casefold() for record in named):
        raise AlreadyThere(
            f"{name} is already registered. Correct that entry, or use another name."
        )

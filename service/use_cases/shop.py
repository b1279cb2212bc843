"""The shop's own book: its people, their keys, instruments and product sheets."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from service.domain.records.shop import ApiToken, Credential, Instrument, Person, Product
from service.domain.refused import AlreadyThere, Invalid
from service.domain.terms import ComponentRole, Role, Specular
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


@verb(Role.MANAGER, doing="register an instrument")
def register_instrument(unit: Unit, command: RegisterInstrument) -> None:
    """Register an instrument under a name of its own."""
    _refuse_taken(unit, Instrument, command.name)
    unit.add(
        Instrument(
            **stamp(unit, command),
            name=command.name.strip(),
            serial=command.serial,
            geometry=command.geometry,
            specular=command.specular,
            standard_uncertainty=command.standard_uncertainty,
            calibration_due=command.calibration_due,
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
    _refuse_taken(unit, Product, command.name)
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


def _refuse_taken(unit: Unit, kind: type[Instrument] | type[Product], name: str) -> None:
    named = [record for record in unit.shop().all(kind) if isinstance(record, Instrument | Product)]
    if any(record.name.casefold() == name.strip().casefold() for record in named):
        raise AlreadyThere(
            f"{name} is already registered. Correct that entry, or use another name."
        )

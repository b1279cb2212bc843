"""Records of the shop itself: its people, instruments and product sheets."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from service.domain.records.base import Record, check_range, check_text
from service.domain.refused import Invalid
from service.domain.terms import ComponentRole, Role, Specular


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop(Record):
    """The shop that owns every row; its id is the shop id."""

    table: ClassVar[str] = "shops"

    name: str
    is_demo: bool = False

    def check(self) -> None:
        check_text("name", self.name, "The shop's name")


@dataclass(frozen=True, slots=True, kw_only=True)
class Person(Record):
    """Somebody who works here; withdrawn when they have left."""

    table: ClassVar[str] = "people"

    name: str
    roles: tuple[Role, ...]

    def check(self) -> None:
        check_text("name", self.name, "The person's name", 80)
        if not self.roles:
            raise Invalid("roles", f"{self.name} has no role. Give at least one.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Credential(Record):
    """A person's password, as an argon2id hash; the journal keeps only a digest of it."""

    table: ClassVar[str] = "credentials"

    person_id: str
    password_hash: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ApiToken(Record):
    """A token a program signs in with, as one person in one role; withdrawn when revoked."""

    table: ClassVar[str] = "api_tokens"

    person_id: str
    role: Role
    label: str
    token_hash: str
    expires_at: datetime | None = None

    def check(self) -> None:
        check_text("label", self.label, "The token's label", 80)


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument(Record):
    """A colour-measuring instrument and what is known of it.

    ``standard_uncertainty`` is of one reading, per channel, in CIELAB units, as measured on the
    shop's own cards; None while nobody has measured it.
    """

    table: ClassVar[str] = "instruments"

    name: str
    serial: str = ""
    geometry: str = ""
    specular: Specular | None = None
    standard_uncertainty: float | None = None
    calibration_due: datetime | None = None

    def check(self) -> None:
        check_text("name", self.name, "The instrument's name", 80)
        check_range(
            "standard_uncertainty",
            self.standard_uncertainty,
            0.001,
            20,
            "The instrument's standard uncertainty",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Product(Record):
    """A product and the figures of its own data sheet; the shop has no built-in defaults.

    ``mix_ratio`` gives the parts of each role by volume, for instance base 2, reducer 1.
    """

    table: ClassVar[str] = "products"

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

    def check(self) -> None:
        check_text("name", self.name, "The product's name", 120)
        check_text("sheet", self.sheet, "The data sheet the figures come from")
        check_range(
            "ratio_tolerance_percent", self.ratio_tolerance_percent, 0, 50, "The tolerance", "%"
        )
        check_range("pot_life_minutes", self.pot_life_minutes, 1, 10_000, "The pot life", "min")
        check_range("flash_minutes", self.flash_minutes, 0, 1_000, "The flash time", "min")
        check_range("bake_minutes", self.bake_minutes, 1, 1_000, "The bake", "min")
        check_range("bake_temperature_c", self.bake_temperature_c, 15, 250, "The bake", "°C")
        check_range("wax_wait_days", self.wax_wait_days, 0, 1_000, "The wait before wax", "days")
        check_range("coats_to_hide", self.coats_to_hide, 1, 20, "The coats to hiding")
        for role, parts in self.mix_ratio:
            check_range("mix_ratio", parts, 0.001, 1_000, f"The parts of {role}")


SHOP_RECORDS: tuple[type[Record], ...] = (
    Shop,
    Person,
    Credential,
    ApiToken,
    Instrument,
    Product,
)

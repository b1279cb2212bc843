"""Records of the shop itself: its people, instruments and product sheets."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, ClassVar

from service.domain.card_code import CARD_ALPHABET
from service.domain.records.base import Record, check_range, check_text
from service.domain.records.measuring import AngleReading, check_angles
from service.domain.refused import Invalid
from service.domain.terms import ComponentRole, PatchValues, Role, Specular

if TYPE_CHECKING:
    from colour.photo.target import Target


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
    shop's own cards; None while nobody has measured it. ``inter_instrument_uncertainty`` is how
    far its mean stands from what another instrument of its geometry reads, as a standard
    uncertainty, per channel; None while nobody knows. It comes in where two things were read by
    different instruments, and no number of repeats makes it smaller.
    """

    table: ClassVar[str] = "instruments"

    name: str
    serial: str = ""
    geometry: str = ""
    specular: Specular | None = None
    standard_uncertainty: float | None = None
    calibration_due: datetime | None = None
    inter_instrument_uncertainty: float | None = None

    def check(self) -> None:
        check_text("name", self.name, "The instrument's name", 80)
        for field, what in (
            ("standard_uncertainty", "The instrument's standard uncertainty"),
            ("inter_instrument_uncertainty", "How far instruments stand apart"),
        ):
            check_range(field, getattr(self, field), 0.001, 20, what)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckTile(Record):
    """A tile that is kept to try the instruments on, because it does not change."""

    table: ClassVar[str] = "check_tiles"

    name: str
    serial: str = ""
    note: str = ""

    def check(self) -> None:
        check_text("name", self.name, "The check tile's name", 80)


@dataclass(frozen=True, slots=True, kw_only=True)
class TileReading(Record):
    """What an instrument read of a check tile; conditions as of a card's reading.

    ``is_reference`` marks the reading later ones are held against: after a service or a new
    instrument the newest marked one holds, else the first.
    """

    table: ClassVar[str] = "tile_readings"

    tile_id: str
    instrument_id: str
    illuminant: str
    observer: int
    geometry: str
    angles: tuple[AngleReading, ...]
    specular: Specular | None = None
    surface_temperature_c: float | None = None
    is_reference: bool = False
    note: str = ""

    def check(self) -> None:
        if not self.angles:
            raise Invalid("angles", "The reading holds no colour. Enter at least one L*, a*, b*.")
        check_angles(self.angles, ())
        check_text("illuminant", self.illuminant, "The illuminant", 20)
        check_text("geometry", self.geometry, "The geometry", 30)
        if self.observer not in (2, 10):
            raise Invalid("observer", f"The observer cannot be {self.observer}°. It is 2 or 10.")
        check_range("surface_temperature_c", self.surface_temperature_c, -20, 120, "It", "°C")


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


PLAIN_PRINT = "0000"
"""The print code of a sheet that nobody registered."""
PLAIN_SHEETS = ("Photo sheet A4", "Photo sheet Letter")
"""What the sheets without a code of their own are called in what was read by them."""
PRINT_CODE_LENGTH = 4
LONGEST_TARGET = 200_000


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoTarget(Record):
    """A sheet that was printed, or a chart that was bought, with the colours of its patches.

    ``print_code`` stands in the codes of one print of the sheet and tells it from others; None
    for a chart without codes. ``target`` is the target file as canonical JSON. ``measured_at``
    and ``instrument_id`` say when its patches were measured and with what, where that is known.
    """

    table: ClassVar[str] = "photo_targets"

    name: str
    target: str
    values: PatchValues
    print_code: str | None = None
    measured_at: datetime | None = None
    instrument_id: str | None = None
    note: str = ""

    def check(self) -> None:
        check_text("name", self.name, "The sheet's name", 80)
        if self.name.casefold() in [name.casefold() for name in PLAIN_SHEETS]:
            raise Invalid(
                "name",
                f"{self.name} is what the sheet without a code of its own is called. "
                "Give this one another name.",
            )
        if self.print_code is not None:
            check_print_code(self.print_code)
        if len(self.target) > LONGEST_TARGET:
            raise Invalid(
                "target",
                f"The target file has {len(self.target)} characters. "
                f"Keep it to {LONGEST_TARGET}; a sheet needs some 10,000.",
            )
        found = self.as_target()
        if found.values != self.values:
            raise Invalid(
                "values",
                f"The values of {self.name} are called {self.values}, and its target file calls "
                f"them {found.values}. Make both say the same.",
            )

    def as_target(self) -> Target:
        """The target, under the name it is registered by."""
        from dataclasses import replace

        from colour.photo.target import BadTarget, Target

        try:
            return replace(Target.from_json(json.loads(self.target)), name=self.name)
        except json.JSONDecodeError as error:
            raise Invalid("target", f"The target file is no JSON ({error}).") from error
        except BadTarget as error:
            raise Invalid("target", str(error)) from error


def check_print_code(code: str) -> None:
    """Refuse what cannot stand in the codes of a print."""
    if len(code) != PRINT_CODE_LENGTH or any(one not in CARD_ALPHABET for one in code):
        raise Invalid(
            "print_code",
            f"{code!r} is not a print code. It has {PRINT_CODE_LENGTH} letters and digits as they "
            "stand at the foot of the sheet, like 7K3Q.",
        )
    if code == PLAIN_PRINT:
        raise Invalid(
            "print_code",
            f"{PLAIN_PRINT} is the code of every print that is not registered. "
            "Print the sheet with a code of its own, then register that print.",
        )


SHOP_RECORDS: tuple[type[Record], ...] = (
    Shop,
    Person,
    Credential,
    ApiToken,
    Instrument,
    CheckTile,
    TileReading,
    Product,
    PhotoTarget,
)

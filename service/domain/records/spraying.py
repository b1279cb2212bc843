"""Records of the work at the bench and in the booth: pots, coats, bakes, finishing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from service.domain.records.base import JobRecord, check_range, check_text
from service.domain.refused import Invalid
from service.domain.terms import BakeTemperatureOf, CoatRole, ComponentRole, FinishingKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch(JobRecord):
    """One mixed pot, ready to spray; ``observed_at`` is when it was mixed.

    ``boxed_tins`` counts the tins poured together before mixing; ``pot_life_minutes`` is the
    sheet's figure at the time.
    """

    table: ClassVar[str] = "batches"

    finish_id: str
    number: int
    role: CoatRole
    formula: str = ""
    product_id: str | None = None
    amount_ml: float | None = None
    boxed_tins: int | None = None
    pot_life_minutes: float | None = None
    note: str = ""

    def check(self) -> None:
        check_range("number", self.number, 1, 9999, "The batch number")
        check_range("amount_ml", self.amount_ml, 0.1, 200_000, "The amount mixed", "ml")
        check_range("boxed_tins", self.boxed_tins, 1, 100, "The number of tins boxed")
        check_range("pot_life_minutes", self.pot_life_minutes, 1, 10_000, "The pot life", "min")


@dataclass(frozen=True, slots=True, kw_only=True)
class Component(JobRecord):
    """One thing poured into a batch; amount and unit as entered (ml, g, parts)."""

    table: ClassVar[str] = "components"

    batch_id: str
    product: str
    role: ComponentRole
    lot: str = ""
    amount: float | None = None
    unit: str = "ml"
    product_id: str | None = None

    def check(self) -> None:
        check_text("product", self.product, "The product", 120)
        check_range("amount", self.amount, 0, 200_000, "The amount", self.unit)
        if self.unit not in ("ml", "g", "fl oz", "oz", "parts"):
            raise Invalid(
                "unit", f"The unit {self.unit!r} is unknown. Use ml, g, fl oz, oz or parts."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Coat(JobRecord):
    """One application of a batch to a panel (or an area of it) or to a card.

    ``number`` counts the coats of one role from 1. ``hides`` says whether this coat hid what
    lies under it; None when nobody looked.
    """

    table: ClassVar[str] = "coats"

    batch_id: str
    role: CoatRole
    number: int
    panel_id: str | None = None
    area_id: str | None = None
    card_id: str | None = None
    hides: bool | None = None
    flash_minutes: float | None = None
    booth: str = ""
    booth_temperature_c: float | None = None
    booth_humidity_percent: float | None = None
    gun: str = ""
    tip_mm: float | None = None
    pressure_bar: float | None = None
    distance_mm: float | None = None

    def check(self) -> None:
        check_one_target(self.panel_id, self.card_id)
        if self.area_id is not None and self.panel_id is None:
            raise Invalid("area_id", "An area belongs to a panel. Name the panel too.")
        check_range("number", self.number, 1, 30, "The coat number")
        check_range("flash_minutes", self.flash_minutes, 0, 1_000, "The flash time", "min")
        check_range("booth_temperature_c", self.booth_temperature_c, -20, 60, "The booth", "°C")
        check_range(
            "booth_humidity_percent", self.booth_humidity_percent, 0, 100, "The humidity", "%"
        )
        check_range("tip_mm", self.tip_mm, 0.2, 4, "The tip", "mm")
        check_range("pressure_bar", self.pressure_bar, 0.1, 10, "The pressure", "bar")
        check_range("distance_mm", self.distance_mm, 20, 1_000, "The gun distance", "mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bake(JobRecord):
    """One bake of a panel or a card; ``observed_at`` is its end."""

    table: ClassVar[str] = "bakes"

    minutes: float
    temperature_c: float
    temperature_of: BakeTemperatureOf
    panel_id: str | None = None
    card_id: str | None = None

    def check(self) -> None:
        check_one_target(self.panel_id, self.card_id)
        check_range("minutes", self.minutes, 1, 1_000, "The bake", "min")
        check_range("temperature_c", self.temperature_c, 15, 250, "The bake", "°C")


@dataclass(frozen=True, slots=True, kw_only=True)
class Finishing(JobRecord):
    """Cutting (with its grit) or polishing after clear, of a panel or a zone of a card."""

    table: ClassVar[str] = "finishings"

    kind: FinishingKind
    grit: int | None = None
    panel_id: str | None = None
    card_id: str | None = None
    zone_id: str | None = None

    def check(self) -> None:
        check_one_target(self.panel_id, self.card_id)
        check_range("grit", self.grit, 40, 20_000, "The grit")
        if self.kind is FinishingKind.CUT and self.grit is None:
            raise Invalid("grit", "Cutting needs its grit. Enter the number on the paper.")


def check_one_target(panel_id: str | None, card_id: str | None) -> None:
    """Refuse work that is on both a panel and a card, or on neither."""
    if (panel_id is None) == (card_id is None):
        raise Invalid("panel_id", "Say either which panel or which card this was done to.")

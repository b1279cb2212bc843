"""Checks of a mixed pot against the product's own sheet: the ratio, and the pot life."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from service.domain.records.shop import Product
from service.domain.records.spraying import Batch
from service.domain.terms import ComponentRole


class Amount(Protocol):
    """So much of something with a role in the mix, on record or about to be."""

    @property
    def role(self) -> ComponentRole: ...
    @property
    def amount(self) -> float | None: ...
    @property
    def unit(self) -> str: ...


@dataclass(frozen=True, slots=True)
class RatioDeviation:
    """One role that was poured off the sheet's ratio; amounts in the unit poured."""

    role: ComponentRole
    poured: float
    wanted: float
    unit: str

    @property
    def sentence(self) -> str:
        """What was poured and what the sheet asks for."""
        return (
            f"{self.role.capitalize()}: {self.poured:g} {self.unit} poured, "
            f"the sheet asks for {self.wanted:g} {self.unit}."
        )


def ratio_deviations(product: Product, components: Iterable[Amount]) -> list[RatioDeviation] | None:
    """Roles off the sheet's ratio by more than its tolerance, measured against the product's own.

    None when the ratio cannot be checked: the sheet gives none, an amount is missing, or the
    amounts are in different units (parts by volume cannot be checked by weight).
    """
    components = list(components)
    units = {component.unit for component in components}
    if not product.mix_ratio or len(units) != 1 or units & {"g", "oz"}:
        return None
    if any(component.amount is None for component in components):
        return None
    poured: dict[ComponentRole, float] = {}
    for component in components:
        poured[component.role] = poured.get(component.role, 0.0) + (component.amount or 0.0)
    parts = dict(product.mix_ratio)
    leading = product.role if product.role in parts else product.mix_ratio[0][0]
    if not poured.get(leading):
        return None
    one_part = poured[leading] / parts[leading]
    unit = components[0].unit
    deviations = []
    for role, wanted_parts in parts.items():
        wanted = one_part * wanted_parts
        got = poured.get(role, 0.0)
        if abs(got - wanted) > wanted * product.ratio_tolerance_percent / 100:
            deviations.append(RatioDeviation(role, got, round(wanted, 1), unit))
    return deviations


def pot_life_ends(batch: Batch) -> datetime | None:
    """When the pot must no longer be sprayed, by its sheet; None when the sheet gives no time."""
    if batch.pot_life_minutes is None:
        return None
    return batch.observed_at + timedelta(minutes=batch.pot_life_minutes)

"""What is said of a mix against the sheet of its product."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from service.domain.mixing import Amount, RatioDeviation, ratio_deviations
from service.domain.record_file import RecordFile
from service.domain.records.shop import Product
from service.domain.terms import ComponentRole


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioSaid:
    """Whether a mix keeps to the ratio on its product's sheet.

    ``state`` is ``kept``, ``off`` (with the deviations), ``unchecked`` (the sheet or the amounts
    do not allow it) or ``no_sheet``.
    """

    state: str
    product: str = ""
    sheet: str = ""
    wanted: tuple[tuple[ComponentRole, float], ...] = ()
    tolerance_percent: float = 0.0
    deviations: tuple[RatioDeviation, ...] = ()


class Poured(Amount, Protocol):
    """One thing in a pot, by the name on its tin."""

    @property
    def product(self) -> str: ...


def sheet_for(shop: RecordFile, product_id: str | None, poured: Iterable[Poured]) -> Product | None:
    """The product whose sheet a pot is checked by.

    Where the pot names none, the first thing poured whose sheet gives a ratio stands for it,
    else the first that is in the shop's book.
    """
    by_name = {product.name.casefold(): product for product in shop.all(Product)}
    named = [shop.find(Product, product_id)]
    named += [by_name.get(one.product.strip().casefold()) for one in poured]
    products = [product for product in named if product is not None]
    return next((p for p in products if p.mix_ratio), products[0] if products else None)


def ratio_said(shop: RecordFile, product_id: str | None, poured: Iterable[Poured]) -> RatioSaid:
    """Check what was poured by the sheet of its product."""
    poured = list(poured)
    product = sheet_for(shop, product_id, poured)
    if product is None or not product.mix_ratio:
        return RatioSaid(state="no_sheet", product=product.name if product else "")
    deviations = ratio_deviations(product, poured)
    state = "unchecked" if deviations is None else "off" if deviations else "kept"
    return RatioSaid(
        state=state,
        product=product.name,
        sheet=product.sheet,
        wanted=product.mix_ratio,
        tolerance_percent=product.ratio_tolerance_percent,
        deviations=tuple(deviations or ()),
    )

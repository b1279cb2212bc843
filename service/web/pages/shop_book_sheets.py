"""Instruments and product sheets: what is registered in the shop's book."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.refused import Invalid, Refused
from service.domain.terms import ComponentRole, Specular
from service.use_cases.shop import RegisterInstrument, RegisterProduct
from service.web.access import page_rules
from service.web.context import Frame, Here, SentForm
from service.web.forms import Form, FormError, FormRefused
from service.web.pages.bench_forms import UNITS, Filled, Kind, Option, in_kept_unit, options_of
from service.web.pages.office import entrance_of, office_frame

router = APIRouter()
_INSTRUMENT, _PRODUCT = "/shop/instruments/new", "/shop/products/new"
page_rules(
    {
        ("GET", _INSTRUMENT): RegisterInstrument,
        ("POST", _INSTRUMENT): RegisterInstrument,
        ("GET", _PRODUCT): RegisterProduct,
        ("POST", _PRODUCT): RegisterProduct,
    }
)

GEOMETRIES = ("45:0", "0:45", "d:8", "8:d", "multi-angle")
"""Geometries as instruments report them (CIE 15; ASTM E2194 for several angles)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentNewPage:
    """What is known of an instrument."""

    frame: Frame
    form: Filled
    geometries: tuple[str, ...]
    speculars: tuple[Option, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductNewPage:
    """The figures of a product's own sheet."""

    frame: Frame
    form: Filled
    roles: tuple[Option, ...]
    temperatures: tuple[Option, ...]


@router.get(_INSTRUMENT, name="instrument_new")
def instrument_new(here: Here) -> Response:
    """The form."""
    return here.render("shop_book_instrument.html", _instrument(office_frame(here), Form()))


@router.post(_INSTRUMENT, name="instrument_new")
def instrument_new_now(here: Here, form: SentForm) -> Response:
    """Register an instrument."""
    try:
        here.perform(form.command(RegisterInstrument))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "shop_book_instrument.html",
            lambda frame: _instrument(frame, form),
            entrance_of(here),
        )
    return here.see_other("shop_book", saved="instrument")


@router.get(_PRODUCT, name="product_new")
def product_new(here: Here) -> Response:
    """The form."""
    return here.render("shop_book_product.html", _product(office_frame(here), Form()))


@router.post(_PRODUCT, name="product_new")
def product_new_now(here: Here, form: SentForm) -> Response:
    """Register a product sheet."""
    try:
        here.perform(_product_command(form))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "shop_book_product.html",
            lambda frame: _product(frame, form),
            entrance_of(here),
        )
    return here.see_other("shop_book", saved="product")


def _product_command(form: Form) -> RegisterProduct:
    """The sheet, with its ratio from a field for each role; names everything that is wrong."""
    errors: list[FormError] = []
    ratio: list[tuple[ComponentRole, float]] = []
    for role in ComponentRole:
        try:
            parts = form.number(f"mix_ratio.{role}")
        except Invalid as invalid:
            errors.append(FormError(f"f-{invalid.field}", str(invalid)))
            continue
        if parts is not None:
            ratio.append((role, parts))
    fixed = {"mix_ratio": tuple(ratio)}
    try:
        bake = {"bake_temperature_c": in_kept_unit(form, "bake_temperature_c", Kind.TEMPERATURE)}
    except Invalid as invalid:
        errors.append(FormError(f"f-{invalid.field}", str(invalid)))
        bake = {"bake_temperature_c": None}
    try:
        command = form.command(RegisterProduct, **fixed, **bake)
    except FormRefused as refused:
        raise FormRefused([*errors, *refused.errors]) from refused
    if errors:
        raise FormRefused(errors)
    return command


def _instrument(frame: Frame, form: Form) -> InstrumentNewPage:
    return InstrumentNewPage(
        frame=frame,
        form=Filled(form=form),
        geometries=GEOMETRIES,
        speculars=(Option("", "It has no choice, or nobody knows"), *options_of(Specular)),
    )


def _product(frame: Frame, form: Form) -> ProductNewPage:
    return ProductNewPage(
        frame=frame,
        form=Filled(form=form, start={"ratio_tolerance_percent": "5"}),
        roles=options_of(ComponentRole),
        temperatures=UNITS[Kind.TEMPERATURE],
    )

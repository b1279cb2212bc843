"""The diary's words for bench and booth: mix, card, coats, clear, bake, polish."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from demo_cards.diary import word
from demo_cards.names import code_of
from demo_cards.script import Script, Step, card_id, product_id, told, zone_id
from service.domain.terms import (
    BakeTemperatureOf,
    CardKind,
    CoatRole,
    ComponentRole,
    FinishingKind,
    HidingMark,
    Hung,
    ZoneState,
)
from service.use_cases.cards import CardCoats, CardZone, LogCard
from service.use_cases.command import Command
from service.use_cases.spraying import (
    BakeThem,
    FinishSurface,
    GunSetUp,
    MixBatch,
    Poured,
    SprayCoat,
)

COAT_MINUTES = 20  # 5 to spray and 15 to flash
CLEAR_MINUTES = 12  # from the thin coat to the thick one
GRITS = (1000, 1500, 2000, 3000, None)  # then the polish
GRIT_MINUTES = 15
ZONES = (
    CardZone(name="bare", state=ZoneState.BARE_BASE, cleared=False),
    CardZone(name="cleared", state=ZoneState.CLEARED, cleared=True),
    CardZone(name="polished", state=ZoneState.CUT_AND_POLISHED, cleared=True),
)
FORMULAS = {"Frost Lake": "DEMO-FL-01 (invented)", "Deep Fir": "DEMO-DF-01 (invented)"}


@word("mix")
def mix(script: Script, step: Step) -> Iterator[Command]:
    """A pot: base or clear, with what thins or hardens it."""
    finish = step["finish"]
    script.finish_of_batch[step["batch"]] = finish
    is_clear = step.get("role") == "clear"
    product = "Plain clear (invented)" if is_clear else f"{finish} base (invented)"
    poured = []
    if is_clear:
        poured.append((product, ComponentRole.CLEAR, *step["clear"]))
        poured.append(("Clear hardener (invented)", ComponentRole.HARDENER, *step["hardener"]))
    else:
        poured.append((product, ComponentRole.BASE, *step["base"]))
        name, lot, amount = step["reducer"]
        poured.append((name, ComponentRole.REDUCER, lot, amount))
    yield MixBatch(
        id=script.batch_id(step["batch"]),
        observed_at=script.at(step),
        job_id=script.job_id,
        finish_id=script.finish_id(finish),
        role=CoatRole.CLEAR if is_clear else CoatRole.BASE,
        components=tuple(
            Poured(product=name, role=role, lot=lot, amount=amount)
            for name, role, lot, amount in poured
        ),
        number=step["batch"],
        formula="" if is_clear else FORMULAS[finish],
        product_id=product_id(product),
        amount_ml=sum(amount for *_, amount in poured),
        boxed_tins=step.get("boxed_tins"),
        note=step.get("note", ""),
    )


@word("card")
def card(script: Script, step: Step) -> Iterator[Command]:
    """A blank card as its label is stuck on; one may have got coats from another pot before."""
    name = step["card"]
    script.batch_of_card[name] = step["batch"]
    shades = {finish["name"]: finish["ground_shade"] for finish in told("van")["finishes"]}
    before: tuple[CardCoats, ...] = ()
    if "coats_before" in step:
        batch, coats = step["coats_before"]
        before = (
            CardCoats(batch_id=script.batch_id(batch), coats=coats, set_up=_gun(step, "base")),
        )
    yield LogCard(
        id=card_id(name),
        observed_at=script.at(step),
        job_id=script.job_id,
        batch_id=script.batch_id(step["batch"]),
        code=code_of(name),
        kind=CardKind(step.get("kind", "retention")),
        slot=step["slot"],
        substrate="coated metal card",
        hung=Hung(step.get("hung", "upright")),
        hiding_mark=HidingMark.COVERED,
        ground_shade=shades[script.finish_of_card(name)],
        note=step.get("note", ""),
        coats=before,
        zones=ZONES,
    )


@word("coats")
def coats(script: Script, step: Step) -> Iterator[Command]:
    """Base coats one after the other, each with its flash."""
    for coat in range(step.get("count", 3)):
        yield _coat(script, step, coat, COAT_MINUTES, "base", flash=15)


@word("clear")
def clear(script: Script, step: Step) -> Iterator[Command]:
    """Clear, a thin coat and then a thick one."""
    for coat in range(2):
        yield _coat(script, step, coat, CLEAR_MINUTES, "clear", flash=CLEAR_MINUTES - 2)


def _coat(
    script: Script, step: Step, coat: int, minutes: float, gun: str, flash: float
) -> SprayCoat:
    panels, areas = script.places(step.get("on", ()))
    return SprayCoat(
        id=script.id(step, f"{step['batch']} {coat}"),
        observed_at=script.at(step, coat * minutes),
        job_id=script.job_id,
        batch_id=script.batch_id(step["batch"]),
        panel_ids=panels,
        area_ids=areas,
        card_ids=tuple(card_id(name) for name in step.get("cards", ())),
        set_up=_gun(step, gun, flash),
    )


def _gun(step: Step, gun: str, flash: float = 15) -> GunSetUp:
    set_up: dict[str, Any] = told("cast")["booths"][step["booth"]][gun]
    temperature, humidity = step.get("air", (None, None))
    return GunSetUp(
        flash_minutes=flash,
        booth=step["booth"],
        booth_temperature_c=temperature,
        booth_humidity_percent=humidity,
        **set_up,
    )


@word("bake")
def bake(script: Script, step: Step) -> Iterator[Command]:
    """Forty minutes in air of 63 °C; the step names its end."""
    panels, _ = script.places(step.get("on", ()))
    yield BakeThem(
        id=script.id(step),
        observed_at=script.at(step),
        job_id=script.job_id,
        minutes=40,
        temperature_c=63,
        temperature_of=BakeTemperatureOf.AIR,
        panel_ids=panels,
        card_ids=tuple(card_id(name) for name in step.get("cards", ())),
    )


@word("polish")
def polish(script: Script, step: Step) -> Iterator[Command]:
    """Cut with finer and finer grit, then polish: the panels, and a zone of each of their cards."""
    panels, _ = script.places(step["on"])
    for number, grit in enumerate(GRITS):
        for first, name in enumerate(step["cards"]):
            yield FinishSurface(
                id=script.id(step, f"{grit} {name}"),
                observed_at=script.at(step, number * GRIT_MINUTES),
                job_id=script.job_id,
                kind=FinishingKind.POLISH if grit is None else FinishingKind.CUT,
                grit=grit,
                panel_ids=panels if first == 0 else (),
                zone_id=zone_id(name, "polished"),
            )

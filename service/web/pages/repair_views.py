"""The car beside cards, as the pages of a repair show it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.domain.beside_car import (
    Beside,
    Way,
    beside,
    edge_kind,
    neighbours,
    readings_of_car,
    stored_card,
    trial_cards,
)
from service.domain.comparability import Reason
from service.domain.lookups import whereabouts
from service.domain.recommendation import Recommendation, Tried, best_of, recommend
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Panel, Repair
from service.domain.records.measuring import EyeCheck, Reading
from service.domain.records.spraying import Batch
from service.domain.terms import Word
from service.web.context import PageContext
from service.web.pages.bench_swatches import SwatchShown
from service.web.pages.rack_hits import where_it_is
from service.web.pages.rack_swatches import swatch_of_lab


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideShown:
    """The car beside one card: the fields of a verdict, and where the card is."""

    code: str
    href: str
    batch_number: int
    batch_href: str
    name: str
    where: str
    word: Word
    difference: float | None
    bounds: tuple[float, float] | None
    limit: float
    directions: str
    different: bool
    angle: int | None
    reasons: tuple[Reason, ...]
    ways: tuple[Way, ...]
    swatches: tuple[SwatchShown, SwatchShown] | None
    eyes: tuple[EyeCheck, ...]
    eye_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CarSeen:
    """What is known of the car at one panel, and what to do about it."""

    reading: Reading
    panel: Panel
    recommendation: Recommendation
    stored: BesideShown | None
    stored_why: str
    trials: tuple[BesideShown, ...]
    best: BesideShown | None


def car_seen(
    here: PageContext, file: RecordFile, repair: Repair, panel_id: str = ""
) -> CarSeen | None:
    """The newest reading of the car (of one panel, if one is named) beside its cards."""
    readings = readings_of_car(file)
    chosen = [reading for reading in readings if reading.panel_id == panel_id] or readings
    if not chosen:
        return None
    reading = chosen[-1]
    panel = file.get(Panel, reading.panel_id or "")
    stored_file = here.store.job(repair.stored_job_id)
    finish_id = repair.stored_finish_id
    kind = edge_kind(stored_file, finish_id, panel.name)
    found = stored_card(stored_file, finish_id, panel.name)
    stored = None
    if found is not None:
        held = beside(file, reading, stored_file, found.card, kind)
        stored = Tried(name="the stored card", beside=held) if held is not None else None
    trials = _tried(
        file,
        reading,
        panel,
        [
            held
            for card in trial_cards(file, panel.finish_id)
            if (held := beside(file, reading, file, card, kind)) is not None
        ],
    )
    shown = {one.beside.card.root: _shown(here, file, one) for one in trials}
    best = shown[best_of(trials).beside.card.root] if trials else None
    stored_shown = _shown(here, stored_file, stored) if stored is not None else None
    return CarSeen(
        reading=reading,
        panel=panel,
        recommendation=recommend(
            car_was_read=True,
            stored=stored,
            trials=trials,
            neighbours=neighbours(stored_file, finish_id, panel.name),
        ),
        stored=stored_shown,
        stored_why=found.why if found is not None else "",
        trials=tuple(shown.values()),
        best=best or stored_shown,
    )


def _tried(file: RecordFile, reading: Reading, panel: Panel, held: Sequence[Beside]) -> list[Tried]:
    return [
        Tried(
            name=f"batch {file.get(Batch, one.card.batch_id).number}",
            beside=one,
            eyes=tuple(
                check
                for check in file.by(EyeCheck, "card_id", one.card.root)
                if check.against_panel_id == panel.root
            ),
        )
        for one in held
    ]


def _shown(here: PageContext, holding: RecordFile, tried: Tried) -> BesideShown:
    """A card the car was held against; ``holding`` is the file of the card's own job."""
    card, draft = tried.beside.card, tried.beside.edge
    decision = draft.decision
    batch = holding.get(Batch, card.batch_id)
    bounds = None
    if decision is not None and decision.low is not None and decision.high is not None:
        bounds = (decision.low, decision.high)
    return BesideShown(
        code=card.code,
        href=here.link("card", code=card.code),
        batch_number=batch.number,
        batch_href=here.link("batch", job_id=holding.chain, batch_id=batch.root),
        name=tried.name,
        where=_where(here, holding, card),
        word=draft.word,
        difference=decision.delta_e_2000 if decision else None,
        bounds=bounds,
        limit=draft.limit,
        directions=f"the car {decision.words}" if decision and decision.words else "",
        different=decision is not None and decision.over_five and draft.word is Word.SHOWS,
        angle=decision.angle if decision else None,
        reasons=draft.reasons,
        ways=tried.beside.ways,
        swatches=_swatches(tried.beside, decision.angle if decision else None),
        eyes=tried.eyes,
        eye_href=here.link("eye_check_new", code=card.code),
    )


def _where(here: PageContext, file: RecordFile, card: Card) -> str:
    place = whereabouts(file, card)
    said = where_it_is(here.store.shop(), place.place, place.slot, place.holder_id)
    return said or f"Slot {place.slot}"


def _swatches(beside: Beside, angle: int | None) -> tuple[SwatchShown, SwatchShown] | None:
    """The car and the card at the angle that decided."""
    way = next((way for way in beside.ways if way.angle == angle), None)
    if way is None:
        return None
    reading = beside.reading
    car = swatch_of_lab(way.car, reading.illuminant, reading.observer)
    card = swatch_of_lab(way.card, reading.illuminant, reading.observer)
    return (car, card) if car is not None and card is not None else None

"""The sheet of a card: everything that is known of it, as one paper."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from itertools import groupby

from service.domain.card_code import grouped
from service.domain.drift import Drift, drifts_of
from service.domain.flop import flop_words
from service.domain.lookups import (
    master_in_force,
    readings_of_card,
    verdict_on_batch,
    whereabouts,
)
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Movement, Zone
from service.domain.records.job import Finish, Panel
from service.domain.records.measuring import EyeCheck, Lab, Reading, Verdict
from service.domain.records.spraying import Bake, Batch, Coat, Finishing
from service.domain.terms import EyeWord, FinishingKind, Look, MovementKind
from service.domain.under_light import UnderLights
from service.use_cases.job_paper import JoinedSides, judged_joints
from service.use_cases.label_papers import what_scanning_opens
from service.use_cases.paper_readings import ReadOff, readings_off
from service.use_cases.papers import Mix, PaperHead, Said, mix_of, name_of, said_by
from service.use_cases.spraying import GunSetUp


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatsAlike:
    """Coats of one pot that were sprayed the same way."""

    batch_number: int
    coats: tuple[Coat, ...]
    painter: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished:
    """Cutting through some grits, or polishing, of the card or of one zone."""

    kind: FinishingKind
    grits: tuple[int, ...]
    zone: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleSaid:
    """How a card lies beside another at one angle, as the verdict has it on record."""

    angle: int | None
    difference: Lab
    delta_e_2000: float
    word: str
    decides: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class EyeSaid:
    """What somebody saw, holding the card against something."""

    word: EyeWord
    look: Look
    light: str
    against: str
    by: str
    at: datetime
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """One movement of a card."""

    kind: MovementKind
    by: str
    at: datetime
    slot: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardPaper:
    """Everything of one card."""

    head: PaperHead
    opens: str
    card: Card
    finish: Finish
    batch: Batch
    painter: str
    place: str
    slot: str
    holder: str
    is_master: bool
    master_code: str
    said: Said | None
    said_of: str
    angles: tuple[AngleSaid, ...]
    flop: str
    lights: UnderLights | None
    joints: tuple[JoinedSides, ...]
    mixes: tuple[Mix, ...]
    coats: tuple[CoatsAlike, ...]
    bakes: tuple[Bake, ...]
    finished: tuple[Finished, ...]
    zones: tuple[Zone, ...]
    readings: tuple[ReadOff, ...]
    drifts: tuple[Drift, ...]
    eyes: tuple[EyeSaid, ...]
    moves: tuple[Moved, ...]


def card_paper(
    file: RecordFile,
    shop: RecordFile,
    card: Card,
    head: PaperHead,
    public_address: str = "",
    lights: UnderLights | None = None,
) -> CardPaper:
    """The sheet of a card, read off its job's file; ``lights`` is its batch under other lights."""
    batch = file.get(Batch, card.batch_id)
    master = master_in_force(file, card.finish_id)
    master_card = file.find(Card, master.card_id) if master is not None else None
    is_master = master_card is not None and master_card.root == card.root
    verdict = None if is_master else verdict_on_batch(file, batch.root)
    judged = file.find(Card, verdict.card_id) if verdict is not None else None
    coats = sorted(file.by(Coat, "card_id", card.root), key=lambda coat: coat.observed_at)
    zones = {zone.root: zone for zone in file.by(Zone, "card_id", card.root)}
    place = whereabouts(file, card)
    pots = dict.fromkeys([card.batch_id, *(coat.batch_id for coat in coats)])
    return CardPaper(
        head=head,
        opens=what_scanning_opens(card.code, public_address),
        card=card,
        finish=file.get(Finish, card.finish_id),
        batch=batch,
        painter=name_of(shop, card.author_id),
        place=place.place,
        slot=place.slot,
        holder=name_of(shop, place.holder_id) if place.place == "out" else "",
        is_master=is_master,
        master_code=master_card.code if master_card is not None else "",
        said=said_by(verdict) if verdict is not None else None,
        said_of=judged.code if judged is not None and judged.root != card.root else "",
        angles=angles_said(verdict) if verdict is not None else (),
        flop=_flop(file, verdict) if verdict is not None else "",
        lights=lights,
        joints=tuple(j for j in judged_joints(file) if card.root in (j.card_a, j.card_b)),
        mixes=tuple(mix_of(file, pot) for id in pots if (pot := file.find(Batch, id)) is not None),
        coats=tuple(_coats(file, shop, coats)),
        bakes=tuple(sorted(file.by(Bake, "card_id", card.root), key=lambda b: b.observed_at)),
        finished=tuple(_finished(file, card, zones)),
        zones=tuple(zones.values()),
        readings=readings_off(file, shop, readings_of_card(file, card.root)),
        drifts=tuple(drifts_of(readings_of_card(file, card.root))),
        eyes=tuple(_eyes(file, shop, card)),
        moves=tuple(_moves(file, shop, card)),
    )


def _flop(file: RecordFile, verdict: Verdict) -> str:
    """How the card's face and flop lie beside the master's, by the readings of the verdict."""
    read = [reading for id in verdict.reading_ids if (reading := file.find(Reading, id))]
    master = [reading for reading in read if reading.card_id == verdict.other_card_id]
    card = [reading for reading in read if reading.card_id == verdict.card_id]
    return flop_words(master[-1], card[-1]) if master and card else ""


def angles_said(verdict: Verdict) -> tuple[AngleSaid, ...]:
    """The angles of a verdict, the one that decided first."""
    found = json.loads(verdict.evidence).get("angles", ())
    said = [
        AngleSaid(
            angle=one["angle"],
            difference=(one["difference"][0], one["difference"][1], one["difference"][2]),
            delta_e_2000=one["delta_e_2000"],
            word=one["verdict"],
            decides=one["angle"] == verdict.angle,
        )
        for one in found
    ]
    return tuple(sorted(said, key=lambda one: not one.decides))


def _coats(file: RecordFile, shop: RecordFile, coats: Sequence[Coat]) -> Iterable[CoatsAlike]:
    """Lowest first; those in a row that differ in nothing but their number stand together."""
    for _, group in groupby(coats, key=_way):
        alike = tuple(group)
        batch = file.find(Batch, alike[0].batch_id)
        if batch is not None:
            yield CoatsAlike(
                batch_number=batch.number,
                coats=alike,
                painter=name_of(shop, alike[0].author_id),
            )


def _way(coat: Coat) -> tuple[object, ...]:
    set_up = (getattr(coat, field.name) for field in fields(GunSetUp))
    return (coat.batch_id, coat.role, coat.author_id, *set_up)


def _finished(file: RecordFile, card: Card, zones: dict[str, Zone]) -> Iterable[Finished]:
    steps = sorted(
        file.by(Finishing, "card_id", card.root), key=lambda f: (f.zone_id or "", f.observed_at)
    )
    for (kind, zone_id), group in groupby(steps, key=lambda f: (f.kind, f.zone_id)):
        done = list(group)
        yield Finished(
            kind=kind,
            grits=tuple(one.grit for one in done if one.grit),
            zone=zones[zone_id].name if zone_id in zones else "",
            at=done[-1].observed_at,
        )


def _eyes(file: RecordFile, shop: RecordFile, card: Card) -> Iterable[EyeSaid]:
    checks = [
        *file.by(EyeCheck, "card_id", card.root),
        *(c for c in file.by(EyeCheck, "against_card_id", card.root) if c.card_id != card.root),
    ]
    for check in sorted(checks, key=lambda check: check.observed_at):
        own = check.card_id == card.root
        other = file.find(Card, check.against_card_id if own else check.card_id)
        panel = file.find(Panel, check.against_panel_id)
        yield EyeSaid(
            word=check.word,
            look=check.look,
            light=check.light,
            against=f"card {grouped(other.code)}"
            if other
            else panel.name
            if panel
            else "something gone",
            by=name_of(shop, check.author_id),
            at=check.observed_at,
            note=check.note,
        )


def _moves(file: RecordFile, shop: RecordFile, card: Card) -> Iterable[Moved]:
    for move in sorted(file.by(Movement, "card_id", card.root), key=lambda m: m.observed_at):
        yield Moved(
            kind=move.kind,
            by=name_of(shop, move.author_id),
            at=move.observed_at,
            slot=move.slot,
            why=move.why or move.state,
        )

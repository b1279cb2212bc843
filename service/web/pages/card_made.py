"""How a card came to be: what was in the pots, how it was sprayed, baked and finished."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from itertools import groupby

from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Zone
from service.domain.records.spraying import Bake, Batch, Coat, Component, Finishing
from service.domain.terms import ComponentRole, FinishingKind
from service.use_cases.spraying import GunSetUp
from service.web.context import PageContext
from service.web.pages.batch import PouredShown
from service.web.pages.bench_views import person_name


@dataclass(frozen=True, slots=True, kw_only=True)
class MixShown:
    """One pot that is on the card, with its lots."""

    batch: Batch
    href: str
    poured: tuple[PouredShown, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatsAlike:
    """Coats of one pot that were sprayed the same way, and when each of them was."""

    number: int
    href: str
    coats: tuple[Coat, ...]
    painter: str

    @property
    def how(self) -> Coat:
        """One of them, to say how all were sprayed."""
        return self.coats[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishingShown:
    """Cutting through some grits, or polishing, of the card or of one zone; when it was done."""

    kind: FinishingKind
    grits: tuple[int, ...]
    zone: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """Everything that was done to a card."""

    mixes: tuple[MixShown, ...]
    coats: tuple[CoatsAlike, ...]
    bakes: tuple[Bake, ...]
    finishings: tuple[FinishingShown, ...]
    zones: tuple[Zone, ...]
    has_hardener: bool


def made(here: PageContext, file: RecordFile, card: Card) -> Made:
    """How a card came to be, lowest coat first."""
    coats = sorted(file.by(Coat, "card_id", card.root), key=lambda c: c.observed_at)
    zones = {zone.root: zone for zone in file.by(Zone, "card_id", card.root)}
    ids = dict.fromkeys([card.batch_id, *(coat.batch_id for coat in coats)])
    mixes = tuple(mix_shown(here, file, batch) for batch in _found(file, ids))
    return Made(
        mixes=mixes,
        coats=tuple(_coats(here, file, coats)),
        bakes=tuple(sorted(file.by(Bake, "card_id", card.root), key=lambda b: b.observed_at)),
        finishings=tuple(_finishings(file, card, zones)),
        zones=tuple(zones.values()),
        has_hardener=any(
            poured.role is ComponentRole.HARDENER for mix in mixes for poured in mix.poured
        ),
    )


def _found(file: RecordFile, ids: Iterable[str]) -> Iterable[Batch]:
    batches = (file.find(Batch, id) for id in ids)
    return [batch for batch in batches if batch is not None]


def mix_shown(here: PageContext, file: RecordFile, batch: Batch) -> MixShown:
    """A pot with what was poured into it."""
    return MixShown(
        batch=batch,
        href=here.link("batch", job_id=file.chain, batch_id=batch.root),
        poured=tuple(
            PouredShown(product=c.product, role=c.role, lot=c.lot, amount=c.amount, unit=c.unit)
            for c in file.by(Component, "batch_id", batch.root)
        ),
    )


def _finishings(
    file: RecordFile, card: Card, zones: Mapping[str, Zone]
) -> Iterable[FinishingShown]:
    """Steps of one kind on one zone in a row are one line."""
    steps = sorted(
        file.by(Finishing, "card_id", card.root), key=lambda f: (f.zone_id or "", f.observed_at)
    )
    for (kind, zone_id), group in groupby(steps, key=lambda f: (f.kind, f.zone_id)):
        done = list(group)
        yield FinishingShown(
            kind=kind,
            grits=tuple(one.grit for one in done if one.grit),
            zone=zones[zone_id].name if zone_id in zones else "",
            at=done[-1].observed_at,
        )


def _coats(here: PageContext, file: RecordFile, coats: list[Coat]) -> Iterable[CoatsAlike]:
    """The coats, lowest first; those that differ in nothing but their number stand together."""
    shop = here.store.shop()
    alike: list[list[Coat]] = []
    for coat in coats:
        if alike and _way(alike[-1][0]) == _way(coat):
            alike[-1].append(coat)
        else:
            alike.append([coat])
    for group in alike:
        batch = file.find(Batch, group[0].batch_id)
        if batch is not None:
            yield CoatsAlike(
                number=batch.number,
                href=here.link("batch", job_id=file.chain, batch_id=batch.root),
                coats=tuple(group),
                painter=person_name(shop, group[0].author_id),
            )


def _way(coat: Coat) -> tuple[object, ...]:
    set_up = (getattr(coat, field.name) for field in fields(GunSetUp))
    return (coat.batch_id, coat.role, coat.author_id, *set_up)

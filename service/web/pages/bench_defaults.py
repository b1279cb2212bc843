"""What a form of the bench starts with: the last thing of its kind that was logged."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from itertools import islice
from typing import TypeVar

from service.domain.lookups import readings_of_card, whereabouts
from service.domain.record_file import RecordFile
from service.domain.records.base import Record
from service.domain.records.cards import Card, Zone
from service.domain.records.measuring import Reading
from service.domain.records.spraying import Bake, Batch, Coat, Finishing
from service.domain.terms import CoatRole, FinishingKind, Method, Stage, ZoneState

R = TypeVar("R", bound=Record)

MOST_SLOTS_TRIED = 40


def newest(records: Iterable[R], person_id: str = "") -> R | None:
    """The newest of some records, of one person's before anybody else's."""
    return max(records, key=lambda r: (r.author_id == person_id, r.observed_at), default=None)


def last_batch(
    file: RecordFile, person_id: str, finish_id: str = "", role: str = ""
) -> Batch | None:
    """The batch mixed last, of a finish and a role where they are given."""
    batches = file.by(Batch, "finish_id", finish_id) if finish_id else file.all(Batch)
    return newest((b for b in batches if not role or b.role == role), person_id)


def last_card(file: RecordFile, person_id: str, finish_id: str) -> Card | None:
    """The card to take the next one's particulars from: of the finish, else of the job."""
    of_finish = newest(file.by(Card, "finish_id", finish_id), person_id)
    return of_finish or newest(file.all(Card), person_id)


def last_coat(file: RecordFile, person_id: str, batch: Batch, role: CoatRole) -> Coat | None:
    """The coat whose set-up the next one starts with: of the batch, else of that role."""
    return newest(file.by(Coat, "batch_id", batch.root), person_id) or newest(
        file.by(Coat, "role", role), person_id
    )


def coat_groups(file: RecordFile, card: Card) -> list[tuple[str, CoatRole, int]]:
    """The coats of a card, as batch, role and how many, lowest first; clear is left out."""
    counts: dict[tuple[str, CoatRole], int] = {}
    for coat in sorted(file.by(Coat, "card_id", card.root), key=lambda c: c.observed_at):
        if coat.role.gives_colour:
            counts[coat.batch_id, coat.role] = counts.get((coat.batch_id, coat.role), 0) + 1
    return [(batch_id, role, n) for (batch_id, role), n in counts.items()]


def next_slot(slot: str, taken: Callable[[str], bool]) -> str:
    """The next free slot after one: A-12 is followed by A-13; empty when nobody can say."""
    for _ in range(MOST_SLOTS_TRIED):
        found = re.fullmatch(r"(.*?)(\d+)(\D*)", slot)
        if found is None:
            return ""
        head, number, tail = found.groups()
        slot = f"{head}{int(number) + 1:0{len(number)}d}{tail}"
        if not taken(slot):
            return slot
    return ""


def cards_at_hand(file: RecordFile, batch: Batch | None = None, most: int = 12) -> list[Card]:
    """The cards a coat or a bake is likely meant for: those of a batch, then the newest here.

    With a batch, the others are of its finish.
    """
    first = file.by(Card, "batch_id", batch.root) if batch is not None else []
    cards = file.by(Card, "finish_id", batch.finish_id) if batch is not None else file.all(Card)
    here = (card for card in cards if whereabouts(file, card).place == "in")
    others = sorted(here, key=lambda card: card.observed_at, reverse=True)
    ids = {card.root for card in first}
    return [*first, *islice((c for c in others if c.root not in ids), most)]


def stage_reached(file: RecordFile, card: Card, zone: Zone | None) -> Stage:
    """How far a card is finished by what was logged, for a form to start with."""
    if zone is not None and zone.state is ZoneState.BARE_BASE:
        return Stage.BASE_DRY
    steps = file.by(Finishing, "card_id", card.root)
    if any(s.kind is FinishingKind.POLISH and s.zone_id in (None, _root(zone)) for s in steps):
        return Stage.POLISHED
    cleared = any(c.role is CoatRole.CLEAR for c in file.by(Coat, "card_id", card.root))
    if not cleared:
        return Stage.BASE_DRY
    return Stage.BAKED if file.by(Bake, "card_id", card.root) else Stage.CLEARED


def _root(zone: Zone | None) -> str | None:
    return zone.root if zone is not None else None


def reading_like(file: RecordFile, card: Card) -> Reading | None:
    """The reading whose conditions the next one starts with: the card's own, its finish's, any."""
    own = newest(file.by(Reading, "card_id", card.root))
    if own is not None:
        return own
    cards = {c.root for c in file.by(Card, "finish_id", card.finish_id)}
    of_finish = [r for r in file.all(Reading) if r.card_id in cards]
    return newest(of_finish) or newest(file.all(Reading))


def first_of_furthest_stage(file: RecordFile, card: Card) -> Reading | None:
    """The first reading of a card at the furthest stage it was read at, by an instrument."""
    read = [r for r in readings_of_card(file, card.root) if r.method is Method.INSTRUMENT]
    return min(read, key=lambda r: (-r.stage.order, r.observed_at), default=None)

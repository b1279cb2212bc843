"""The car, as it came in for a repair, beside the cards that may stand for its paint."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from service.domain.judging import Draft, draft_for_car
from service.domain.lookups import (
    master_in_force,
    mean_lab,
    policy_in_force,
    readings_of_whole_card,
)
from service.domain.pooling import repeats_at
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Joint, Panel, Repair
from service.domain.records.measuring import AngleReading, Lab, Reading
from service.domain.records.spraying import Coat
from service.domain.sides import side_at
from service.domain.terms import JointKind, Word


def the_repair(file: RecordFile) -> Repair | None:
    """What a job repairs, None when it is no repair."""
    repairs = file.all(Repair)
    return repairs[-1] if repairs else None


def readings_of_car(file: RecordFile) -> list[Reading]:
    """The readings of the car near the damage as it came in, oldest first.

    A panel that got a colour coat in this job is no longer what came in; readings of it after
    that are of the repair.
    """
    return [r for r in _on_panels(file) if not _is_of_the_repair(file, r)]


def readings_of_repair(file: RecordFile) -> list[Reading]:
    """The readings of panels after they were sprayed in this job, oldest first."""
    return [r for r in _on_panels(file) if _is_of_the_repair(file, r)]


def _on_panels(file: RecordFile) -> list[Reading]:
    return sorted(
        (reading for reading in file.all(Reading) if reading.panel_id is not None),
        key=lambda reading: reading.observed_at,
    )


def _is_of_the_repair(file: RecordFile, reading: Reading) -> bool:
    return any(
        coat.role.gives_colour and coat.observed_at <= reading.observed_at
        for coat in file.by(Coat, "panel_id", reading.panel_id)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredCard:
    """The card that stands for a panel of the car; ``why`` finishes "held against it because"."""

    card: Card
    why: str


def stored_card(stored: RecordFile, finish_id: str, panel: str) -> StoredCard | None:
    """The stored card to hold a panel against; None when no card of the finish was read.

    The card that stands for the panel of that name, where there is one; else the master; else
    the card that was read last.
    """
    for place in stored.by(Panel, "finish_id", finish_id):
        if place.name.casefold() != panel.casefold():
            continue
        side = side_at(stored, place.root, None)
        if side.card_id is not None and readings_of_whole_card(stored, side.card_id):
            return StoredCard(
                card=stored.get(Card, side.card_id),
                why=f"it stands for {place.name}, as {side.why}",
            )
    master = master_in_force(stored, finish_id)
    card = stored.find(Card, master.card_id) if master is not None else None
    if card is not None and readings_of_whole_card(stored, card.root):
        return StoredCard(card=card, why="it is the master of the finish")
    read = [
        (readings[-1].observed_at, card)
        for card in stored.by(Card, "finish_id", finish_id)
        if (readings := readings_of_whole_card(stored, card.root))
    ]
    if not read:
        return None
    newest = max(read, key=lambda found: found[0])[1]
    return StoredCard(card=newest, why="it is the card of the finish that was read last")


def edge_kind(stored: RecordFile, finish_id: str, panel: str) -> JointKind:
    """The kind of joint a panel sprayed edge to edge has to pass: the strictest it meets others at.

    A butt joint where nobody wrote its joints down, for nothing is stricter by default.
    """
    policy = policy_in_force(stored, finish_id)
    kinds = {
        joint.kind
        for joint, _ in _met(stored, finish_id, panel)
        if joint.kind in (JointKind.BUTT, JointKind.GAP)
    }
    return min(kinds, key=lambda kind: (policy.limit(kind), kind), default=JointKind.BUTT)


def neighbours(stored: RecordFile, finish_id: str, panel: str) -> list[str]:
    """The panels of the same finish that meet a panel of that name, as the stored job has them."""
    return list(dict.fromkeys(other.name for _, other in _met(stored, finish_id, panel)))


def _met(stored: RecordFile, finish_id: str, panel: str) -> Iterable[tuple[Joint, Panel]]:
    places = {place.root: place for place in stored.by(Panel, "finish_id", finish_id)}
    own = {id for id, place in places.items() if place.name.casefold() == panel.casefold()}
    for joint in stored.all(Joint):
        ends = (joint.panel_a, joint.panel_b)
        if joint.kind is JointKind.WITHIN or len(own.intersection(ends)) != 1:
            continue
        other = next(end for end in ends if end not in own)
        if other in places:
            yield joint, places[other]


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How the car lies beside a card at one angle; ``difference`` is car less card."""

    angle: int | None
    card: Lab
    car: Lab
    difference: Lab
    delta_e_2000: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """The car beside one card, judged as an edge; ``kind`` is the joint it is judged by.

    ``file`` is the repair's, ``holding`` that of the card's own job.
    """

    card: Card
    reading: Reading
    kind: JointKind
    edge: Draft
    ways: tuple[Way, ...]
    file: RecordFile = field(repr=False)
    holding: RecordFile = field(repr=False)

    @property
    def fade(self) -> Draft | None:
        """The same judged as a fade.

        None where the edge blends already, or where the shop allows a fade no more than an
        edge: how much more a fade forgives is the shop's own figure, in its limits, or unknown.
        """
        panel = self.file.get(Panel, self.reading.panel_id or "")
        policy = policy_in_force(self.file, panel.finish_id)
        settled = self.edge.word in (Word.BLENDS, Word.NOT_COMPARABLE)
        if settled or policy.limit_fade <= policy.limit(self.kind):
            return None
        return _judged(self.file, self.reading, self.holding, self.card, JointKind.FADE)


def beside(
    file: RecordFile,
    reading: Reading,
    holding: RecordFile,
    card: Card,
    kind: JointKind = JointKind.BUTT,
) -> Beside | None:
    """Judge the car against a card of any job; None when the card was never read."""
    edge = _judged(file, reading, holding, card, kind)
    if edge is None:
        return None
    return Beside(
        card=card,
        reading=reading,
        kind=kind,
        edge=edge,
        ways=tuple(_ways(edge, file, holding)),
        file=file,
        holding=holding,
    )


def trial_cards(file: RecordFile, finish_id: str) -> list[Card]:
    """The cards of a repair's finish that were read, in the order they were sprayed."""
    cards = file.by(Card, "finish_id", finish_id)
    read = [card for card in cards if readings_of_whole_card(file, card.root)]
    return sorted(read, key=lambda card: card.observed_at)


def _judged(
    file: RecordFile, reading: Reading, holding: RecordFile, card: Card, kind: JointKind
) -> Draft | None:
    came_in = file.once(_as_it_came_in)
    known = came_in.once(_drafts)
    key = (reading.root, holding, card.root, kind)
    if key not in known:
        # A card of the repair itself lies in the same file as the car's reading.
        home = came_in if holding is file else holding
        draft = draft_for_car(came_in, reading, home, card, kind)
        known[key] = _as_trial(draft) if holding is file and draft else draft
    return known[key]


def _drafts(file: RecordFile) -> dict[tuple[str, RecordFile, str, JointKind], Draft | None]:
    """The drafts of a file, filled as they are asked for."""
    return {}


def _as_trial(draft: Draft) -> Draft:
    """A draft whose reasons call the card a trial card, where the car's own are of stored ones."""

    def named(text: str) -> str:
        return text.replace("he stored card", "he trial card")

    reasons = tuple(
        replace(reason, text=named(reason.text), remedy=named(reason.remedy))
        for reason in draft.reasons
    )
    return replace(draft, reasons=reasons, next_step=named(draft.next_step))


def _as_it_came_in(file: RecordFile) -> RecordFile:
    """The file without the readings of what was sprayed in it."""
    return file.with_records(
        [replace(reading, withdrawn=True) for reading in readings_of_repair(file)]
    )


def _ways(draft: Draft, file: RecordFile, holding: RecordFile) -> Iterable[Way]:
    if draft.decision is None:
        return
    from colour.words import directions, words

    readings = [_found(id, file, holding) for id in draft.reading_ids]
    car = [r for r in readings if r.panel_id is not None]
    card = [r for r in readings if r.card_id is not None]
    for evidence in draft.decision.angles:
        angle: int | None = evidence["angle"]
        one, other = _mean(card, angle), _mean(car, angle)
        yield Way(
            angle=angle,
            card=one,
            car=other,
            difference=_lab(evidence),
            delta_e_2000=evidence["delta_e_2000"],
            words=words(one, other) if directions(one, other) else "",
        )


def _found(id: str, *files: RecordFile) -> Reading:
    return next(found for file in files if (found := file.find(Reading, id)) is not None)


def _mean(readings: Sequence[Reading], angle: int | None) -> Lab:
    return mean_lab(AngleReading(repeats=tuple(repeats_at(readings, angle)), angle=angle))


def _lab(evidence: Mapping[str, Any]) -> Lab:
    l, a, b = evidence["difference"]  # noqa: E741  the standard's own name
    return (l, a, b)

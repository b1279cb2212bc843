"""What is said of a verdict: one sentence, with the number and its limit, in the trade's words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from service.domain.card_code import grouped
from service.domain.comparability import COOLING, Grade
from service.domain.deciding import SideBySide
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Joint
from service.domain.records.measuring import Master, Reading
from service.domain.records.spraying import Bake, Batch
from service.domain.sides import Side, place_name
from service.domain.terms import Stage, Word


def batch_sentence(batch: Batch, laid: SideBySide, wait: str = "") -> str:
    """Batch 3 would show against the master: 1.42, limit 0.80, bluer and darker."""
    name = f"Batch {batch.number}"
    return _sentence(laid, name, "the master", wait)


def joint_sentence(
    file: RecordFile, joint: Joint, sides: tuple[Side, Side], laid: SideBySide
) -> str:
    """Batch 3 on the left door would show against batch 2 on the wing: 1.42, limit 0.80."""
    names = []
    for side in sides:
        card = file.get(Card, side.card_id or "")
        batch = file.get(Batch, card.batch_id)
        where = place_name(file, side.panel_id, side.area_id)
        names.append(f"batch {batch.number} on the {_lower_first(where)}")
    # The second side is measured against the first, so it is the one that reads bluer or darker.
    return _sentence(laid, _upper_first(names[1]), names[0])


def car_sentence(panel: str, card: Card, laid: SideBySide) -> str:
    """The car at the left wing blends with the stored card 7K3Q-X9WD-4: 0.40, limit 0.80."""
    return _sentence(
        laid,
        f"The car at the {_lower_first(panel)}",
        f"the stored card {grouped(card.code)}",
    )


def _sentence(laid: SideBySide, what: str, other: str, wait: str = "") -> str:
    decision = laid.decision
    if laid.word is Word.NOT_COMPARABLE:
        why = " ".join(r.text for r in laid.reasons if r.grade is Grade.STOPS)
        return " ".join(filter(None, (f"{what} cannot be compared with {other}.", why, wait)))
    if decision is None:
        why = " ".join(r.text for r in laid.reasons if r.grade is Grade.ONLY_CANNOT_TELL)
        return f"{what} cannot be judged against {other} yet. {why}".strip()
    at = "" if decision.angle is None else f" at {decision.angle}°"
    direction = f", {decision.words}" if decision.words else ""
    note = f" {laid.note}" if laid.note else ""
    if decision.over_five and laid.word is Word.SHOWS:
        return f"{what} is a different colour from {other}: over 5{at}{direction}.{note}"
    number = "over 5" if decision.over_five else f"{decision.delta_e_2000:.2f}"
    figure = f"{number}{at}, limit {decision.limit:.2f}"
    if laid.word is Word.SHOWS:
        return f"{what} would show against {other}: {figure}{direction}.{note}"
    if laid.word is Word.BLENDS:
        return f"{what} blends with {other}: {figure}.{note}"
    holding = [r.text for r in laid.reasons if r.grade is Grade.ONLY_CANNOT_TELL]
    why = " ".join(holding) or decision.why
    said = (
        f"This measurement cannot tell whether {_lower_first(what)} blends with {other}: "
        f"{figure}{direction}."
    )
    return " ".join(filter(None, (said, why, wait))) + note


@dataclass(frozen=True, slots=True)
class Readable:
    """The next stage a card can be judged at; ``at`` is about when, if the bake starts now."""

    stage: Stage
    at: datetime | None


def approved_stages(file: RecordFile, master: Master) -> list[Stage]:
    """The stages a master was approved at, earliest first."""
    found = (file.find(Reading, id) for id in master.reading_ids)
    return sorted({r.stage for r in found if r is not None}, key=lambda stage: stage.order)


def readable_when(file: RecordFile, master: Master, reading: Reading) -> Readable | None:
    """When a card can be judged that was read at a stage the master was not approved at."""
    stages = approved_stages(file, master)
    later = next((stage for stage in stages if stage.order > reading.stage.order), None)
    if reading.stage in stages or later is None:
        return None
    usual = _usual_bake(file, master)
    if usual is None or later not in (Stage.BAKED, Stage.POLISHED):
        return Readable(later, None)
    return Readable(later, reading.observed_at + usual + COOLING)


READABLE: Mapping[Stage, str] = {
    Stage.BASE_DRY: "once the base is dry",
    Stage.CLEARED: "after clear",
    Stage.BAKED: "after clear, bake and cooling",
    Stage.POLISHED: "after clear, bake, cooling and polishing",
}
"""What has to be done before a card can be judged at a stage."""


def wait_sentence(file: RecordFile, master: Master, reading: Reading) -> str:
    """Say when a card can be judged that was read at a stage the master was not approved at."""
    readable = readable_when(file, master, reading)
    if readable is None:
        return ""
    if readable.at is None:
        return f"Readable {READABLE[readable.stage]}."
    return (
        f"Readable {READABLE[readable.stage]}: "
        f"about {readable.at:%H:%M} UTC if the bake starts now."
    )


def _usual_bake(file: RecordFile, master: Master) -> timedelta | None:
    """How long the master's own card was baked."""
    bakes = file.by(Bake, "card_id", master.card_id)
    return timedelta(minutes=bakes[-1].minutes) if bakes else None


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]


def _upper_first(text: str) -> str:
    return text[:1].upper() + text[1:]

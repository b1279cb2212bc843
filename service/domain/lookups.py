"""Plain questions to a job's file: what is in force, what came last, where a card is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Movement, Zone
from service.domain.records.job import Acceptance, Finish, Job, Panel, Policy
from service.domain.records.measuring import AngleReading, Lab, Master, Reading, Verdict
from service.domain.records.spraying import Batch, Coat
from service.domain.refused import OutOfOrder
from service.domain.terms import CardKind, Method, MovementKind, ZoneState


def the_job(file: RecordFile) -> Job:
    """The job the file is of."""
    return file.get(Job, file.chain)


def policy_in_force(file: RecordFile, finish_id: str) -> Policy:
    """The newest policy of a finish; every finish gets one when it is added."""
    policies = file.by(Policy, "finish_id", finish_id)
    if not policies:
        raise OutOfOrder(f"The finish {finish_id} has no policy yet. Set its limits first.")
    return policies[-1]


def master_in_force(file: RecordFile, finish_id: str) -> Master | None:
    """The newest approval of a finish's master, None when there is none."""
    masters = file.by(Master, "finish_id", finish_id)
    return masters[-1] if masters else None


def master_card_ids(file: RecordFile) -> set[str]:
    """Ids of the cards that are the master in force of some finish."""
    masters = (master_in_force(file, finish.root) for finish in file.all(Finish))
    return {master.card_id for master in masters if master is not None}


def verdict_on_batch(file: RecordFile, batch_id: str) -> Verdict | None:
    """The newest verdict on a batch."""
    verdicts = file.by(Verdict, "batch_id", batch_id)
    return verdicts[-1] if verdicts else None


def verdict_on_joint(file: RecordFile, joint_id: str) -> Verdict | None:
    """The newest verdict on a joint."""
    verdicts = file.by(Verdict, "joint_id", joint_id)
    return verdicts[-1] if verdicts else None


def last_movement(file: RecordFile, card_id: str) -> Movement | None:
    """What happened last to a card's place."""
    movements = file.by(Movement, "card_id", card_id)
    return movements[-1] if movements else None


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where a card is: in its slot, out with somebody, or missing."""

    place: str
    slot: str
    holder_id: str | None


def whereabouts(file: RecordFile, card: Card) -> Whereabouts:
    """Where a card is, by its movements."""
    movements = file.by(Movement, "card_id", card.root)
    slots = [m.slot for m in movements if m.kind is MovementKind.RETURNED and m.slot]
    slot = slots[-1] if slots else card.slot
    last = movements[-1] if movements else None
    if last is None or last.kind is MovementKind.RETURNED:
        return Whereabouts("in", slot, None)
    if last.kind is MovementKind.MISSING:
        return Whereabouts("missing", slot, None)
    return Whereabouts("out", slot, last.holder_id)


def panels_of_batch(file: RecordFile, batch_id: str) -> list[Panel]:
    """The panels a batch was sprayed on, in order of spraying."""
    ids = dict.fromkeys(c.panel_id for c in file.by(Coat, "batch_id", batch_id) if c.panel_id)
    return [panel for panel in (file.find(Panel, id) for id in ids) if panel is not None]


def batches_of_finish(file: RecordFile, finish_id: str) -> list[Batch]:
    """The colour batches of a finish (clear pots aside), in order of mixing."""
    batches = file.by(Batch, "finish_id", finish_id)
    return sorted(
        (b for b in batches if b.role.gives_colour), key=lambda b: (b.observed_at, b.number)
    )


def cards_of_batch(file: RecordFile, batch_id: str) -> list[Card]:
    """The cards that stand for a batch, retention cards first, then newest first."""
    return sorted(
        file.by(Card, "batch_id", batch_id),
        key=lambda c: (c.kind is not CardKind.RETENTION, -c.observed_at.timestamp()),
    )


def readings_of_card(file: RecordFile, card_id: str) -> list[Reading]:
    """The readings of a card that were not dropped, in order of arrival."""
    return file.by(Reading, "card_id", card_id)


def readings_of_whole_card(file: RecordFile, card_id: str) -> list[Reading]:
    """The same without those of let-down steps, none of which is how the batch was sprayed."""
    steps = {
        zone.root
        for zone in file.by(Zone, "card_id", card_id)
        if zone.state is ZoneState.LET_DOWN_STEP
    }
    return [r for r in readings_of_card(file, card_id) if r.zone_id not in steps]


def standing_reading(readings: Sequence[Reading]) -> Reading | None:
    """The reading a list shows of a card: the newest, an instrument's before a photograph's.

    One card alone in a photograph has a large error, so what an instrument read of it at the
    same stage goes on standing.
    """
    if not readings:
        return None
    newest = readings[-1]
    if newest.method is Method.INSTRUMENT:
        return newest
    read = [r for r in readings if r.method is Method.INSTRUMENT and r.stage is newest.stage]
    return read[-1] if read else newest


def mean_lab(angle: AngleReading) -> Lab:
    """Mean of the repeats at one angle."""
    n = len(angle.repeats)
    l, a, b = (math.fsum(lab[i] for lab in angle.repeats) / n for i in range(3))  # noqa: E741
    return (l, a, b)


def shown_angle(reading: Reading) -> AngleReading:
    """The angle lists show: the only one, else 45°, else the first."""
    return next((a for a in reading.angles if a.angle == 45), reading.angles[0])


def uncertainty_of_mean(reading: Reading, angle: AngleReading) -> float | None:
    """Standard uncertainty of the mean, per channel, in CIELAB units; None when unknown.

    A photograph's own covariance comes first, then the instrument's known figure, then the
    scatter of the repeats.
    """
    n = len(angle.repeats)
    if angle.covariance is not None:
        return math.sqrt(math.fsum(angle.covariance[i][i] for i in range(3)) / 3)
    if reading.standard_uncertainty is not None:
        return reading.standard_uncertainty / math.sqrt(n)
    if n < 2:
        return None
    mean = mean_lab(angle)
    square = math.fsum((lab[i] - mean[i]) ** 2 for lab in angle.repeats for i in range(3))
    return math.sqrt(square / (3 * (n - 1)) / n)


def accepted(file: RecordFile, verdict: Verdict | None, field: str, id: str) -> bool:
    """Whether somebody accepted a batch or joint as this verdict (or the lack of one) has it."""
    wanted = verdict.root if verdict else None
    return any(word.verdict_id == wanted for word in file.by(Acceptance, field, id))

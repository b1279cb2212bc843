"""Judging: which readings are laid side by side, under which limit, and what is said then.

A draft is a verdict without its place in the record. Everything here is a function of the
job's file, so judging the same file again gives the same draft.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.domain.comparability import Reason, normal_geometry
from service.domain.deciding import Decision
from service.domain.laying import lay_side_by_side
from service.domain.lookups import (
    cards_of_batch,
    master_in_force,
    policy_in_force,
    readings_of_whole_card,
)
from service.domain.photographed import (
    Between,
    Pair,
    first_of,
    pairs_of,
    stage_of,
    through_master,
    together,
)
from service.domain.pooling import (
    alike,
    as_it_is_now,
    as_sprayed,
    common_stage,
    nearest_stage,
)
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Finish, Joint, Panel, Repair
from service.domain.records.measuring import Master, Reading
from service.domain.records.spraying import Batch
from service.domain.sentences import (
    batch_sentence,
    car_sentence,
    joint_sentence,
    wait_sentence,
)
from service.domain.sides import Side, joint_gap, place_name, side_at
from service.domain.specimens import Specimen, specimen_of_card
from service.domain.terms import JointKind, Method, Stage, Subject, Word


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A verdict before it is stamped; the fields are those of the record ``Verdict``.

    ``photographs`` is what photographs say, where the verdict rests on them.
    """

    subject: Subject
    word: Word
    sentence: str
    stage: Stage | None
    limit: float
    limit_origin: str
    risk: float
    batch_id: str | None = None
    joint_id: str | None = None
    card_id: str | None = None
    other_card_id: str | None = None
    master_id: str | None = None
    look: int = 1
    decision: Decision | None = None
    reasons: tuple[Reason, ...] = ()
    reading_ids: tuple[str, ...] = ()
    next_step: str = ""
    photographs: Between | None = None


def draft_for_batch(
    file: RecordFile, batch_id: str, stored: RecordFile | None = None
) -> Draft | None:
    """Judge a batch against its finish's master; None while there is nothing to judge.

    The batch's card that was read last stands for it, by what was read last; but only readings
    from the first period of their stage count, for they tell what was sprayed. A card measured
    again years later does not turn the verdict on its batch. The master's own batch is not
    judged against itself. Until a repair has a master of its own, its batches are judged by that
    of the job it goes back to, whose file is ``stored``. A photograph judges only when the
    master's card lies in it too: then that card's own window is the master, whatever its
    approved readings were made with.
    """
    batch = file.get(Batch, batch_id)
    master, home = master_in_force(file, batch.finish_id), file
    if master is None and stored is not None:
        master, home = master_in_force(stored, file.all(Repair)[-1].stored_finish_id), stored
    if master is None or not batch.role.gives_colour:
        return None
    cards = cards_of_batch(file, batch_id)
    if any(card.root == master.card_id for card in cards):
        return None
    read = [reading for card in cards for reading in readings_of_whole_card(file, card.root)]
    approved = approved_readings(home, master)
    if not (read and approved):
        return None
    readings, photographed = _against_master(file, master, approved, read)
    reading = readings[-1] if photographed is None else photographed.b
    card = file.get(Card, reading.card_id or "")
    finish = file.get(Finish, batch.finish_id)
    policy = policy_in_force(file, finish.root)
    same_stage = [r for r in approved if r.stage is reading.stage]
    master_reading = same_stage[-1] if same_stage else nearest_stage(approved, reading.stage)
    if photographed is not None:
        master_reading = photographed.a
    draft = lay_side_by_side(
        file,
        finish,
        policy,
        None,
        specimen_of_card(home, home.get(Card, master.card_id), master_reading, "the master"),
        specimen_of_card(file, card, reading, f"batch {batch.number}'s card"),
        [master_reading],
        alike(readings, reading),
        panels=1,
        photographed=photographed,
    )
    wait = ""
    if not same_stage and photographed is None:
        wait = wait_sentence(home, master, reading)
    return Draft(
        subject=Subject.BATCH,
        word=draft.word,
        sentence=_with_age(
            batch_sentence(batch, draft, wait), draft.reasons if home is stored else ()
        ),
        next_step=draft.next_step,
        stage=reading.stage,
        limit=draft.limit(policy.limit(None)),
        limit_origin=policy.limit_origin,
        risk=policy.risk,
        batch_id=batch.root,
        card_id=card.root,
        other_card_id=master.card_id,
        master_id=master.root,
        look=draft.look,
        decision=draft.decision,
        reasons=draft.reasons,
        reading_ids=draft.reading_ids,
        photographs=photographed,
    )


def _against_master(
    file: RecordFile, master: Master, approved: Sequence[Reading], read: Sequence[Reading]
) -> tuple[list[Reading], Between | None]:
    """The readings that stand for a batch beside the master, and what photographs say of them.

    They are of one card, and the last of them can be held against the master: it is one by an
    instrument, or one of a photograph the master's card lies in too. A photograph without it
    tells only of the cards in it.
    """
    pairs = pairs_of(file, readings_of_whole_card(file, master.card_id), read)
    paired = {pair.b.root: pair for pair in pairs}
    usable = [r for r in read if r.method is Method.INSTRUMENT or r.root in paired]
    standing = _first_that_compares(usable, paired, approved) if usable else as_sprayed(read)
    last_of_card = {reading.card_id: reading for reading in standing}
    newest = max(last_of_card.values(), key=lambda reading: reading.observed_at)
    readings = [reading for reading in standing if reading.card_id == newest.card_id]
    pair = paired.get(newest.root)
    if pair is None and all(r.method is Method.PHOTOGRAPH for r in approved):
        own = [paired[r.root] for r in readings if r.root in paired]
        pair = own[-1] if own else None
    return readings, None if pair is None else together(pairs, pair)


def _first_that_compares(
    usable: Sequence[Reading], paired: Mapping[str, Pair], approved: Sequence[Reading]
) -> list[Reading]:
    """The readings of the first period; of the first that was read as the master was, if any was.

    So whoever read a card in a way that compares with nothing can read it anew, however late.
    """

    def compares(reading: Reading) -> bool:
        return reading.root in paired or any(_read_alike(reading, one) for one in approved)

    first = as_sprayed(usable)
    if any(map(compares, first)):
        return first
    return as_sprayed(filter(compares, usable)) or first


def _read_alike(one: Reading, other: Reading) -> bool:
    def way(reading: Reading) -> tuple[object, ...]:
        geometry = normal_geometry(reading.geometry)
        return reading.method, reading.illuminant.casefold(), reading.observer, geometry

    return not one.past_calibration and way(one) == way(other)


def draft_for_joint(file: RecordFile, joint_id: str) -> Draft | None:
    """Judge a joint by the cards that stand for its two sides; None while it cannot be.

    Both cards are compared at the furthest stage both were read at, by instrument readings or
    by photographs, whichever are newer there; readings from the first period of their stage,
    as for a batch.
    """
    joint = file.get(Joint, joint_id)
    if joint_gap(file, joint):
        return None
    sides = (
        side_at(file, joint.panel_a, joint.area_a),
        side_at(file, joint.panel_b, joint.area_b),
    )
    cards = [file.get(Card, side.card_id or "") for side in sides]
    finish = file.get(Finish, file.get(Panel, joint.panel_a).finish_id)
    policy = policy_in_force(file, finish.root)
    every = [readings_of_whole_card(file, card.root) for card in cards]
    photographed = _across_joint(file, finish, every)
    if photographed is None:
        # A photograph of one card without the other does not take an instrument's place.
        by_instrument = [as_sprayed(_by_instrument(found)) for found in every]
        first = [as_sprayed(found) for found in every]
        readings = common_stage(*(by_instrument if all(by_instrument) else first))
        newest = [found[-1] for found in readings]
    else:
        newest = [photographed.a, photographed.b]
        readings = ([newest[0]], [newest[1]])
    names = [f"the card for {side_name}" for side_name in _side_names(file, sides)]
    draft = lay_side_by_side(
        file,
        finish,
        policy,
        joint.kind,
        specimen_of_card(file, cards[0], newest[0], names[0]),
        specimen_of_card(file, cards[1], newest[1], names[1]),
        alike(readings[0], newest[0]),
        alike(readings[1], newest[1]),
        panels=2,
        photographed=photographed,
    )
    return Draft(
        subject=Subject.JOINT,
        word=draft.word,
        sentence=joint_sentence(file, joint, sides, draft),
        next_step=draft.next_step or _joint_remedy(draft.word),
        stage=newest[0].stage,
        limit=draft.limit(policy.limit(joint.kind)),
        limit_origin=policy.limit_origin,
        risk=policy.risk,
        joint_id=joint.root,
        card_id=cards[0].root,
        other_card_id=cards[1].root,
        look=draft.look,
        decision=draft.decision,
        reasons=draft.reasons,
        reading_ids=draft.reading_ids,
        photographs=photographed,
    )


def _across_joint(
    file: RecordFile, finish: Finish, every: Sequence[list[Reading]]
) -> Between | None:
    """What photographs say across a joint; None where readings by instrument stand before them.

    A photograph of both cards, else one of each with the master's card in it.
    """
    pairs = pairs_of(file, *every)
    by_instrument = [as_sprayed(_by_instrument(found)) for found in every]
    if all(by_instrument):
        first = {reading.root for found in every for reading in as_sprayed(found)}
        direct = together([pair for pair in pairs if {pair.a.root, pair.b.root} <= first])
        a, b = (found[-1] for found in common_stage(*by_instrument))
        if direct is None:
            return None
        stage = min((a.stage, b.stage), key=lambda stage: stage.order)
        at = (stage.order, max(a.received_at, b.received_at))
        return direct if (stage_of(direct).order, direct.arrived) > at else None
    direct = together(first_of(pairs))
    if direct is not None:
        return direct
    master = master_in_force(file, finish.root)
    if master is None:
        return None
    return through_master(file, readings_of_whole_card(file, master.card_id), *every)


def _by_instrument(readings: Sequence[Reading]) -> list[Reading]:
    return [reading for reading in readings if reading.method is Method.INSTRUMENT]


def draft_for_car(
    file: RecordFile,
    reading: Reading,
    stored: RecordFile,
    stored_card: Card,
    kind: JointKind | None = None,
) -> Draft | None:
    """Judge the car, as read on a panel, against a stored card of the finish it was sprayed in.

    The card is taken as it is now, by its newest readings: the car is held against the card in
    the hand, not against what the card once was. ``kind`` is the joint whose limits hold, None
    for those against the master.
    """
    panel = file.get(Panel, reading.panel_id or "")
    finish = file.get(Finish, panel.finish_id)
    policy = policy_in_force(file, finish.root)
    stored_readings = readings_of_whole_card(stored, stored_card.root)
    if not stored_readings:
        return None
    # A photograph of the card alone must not hide what an instrument read of it.
    stored_readings = [r for r in stored_readings if r.method is reading.method] or stored_readings
    cleared = [r for r in stored_readings if r.stage.is_cleared is reading.stage.is_cleared]
    stored_readings = as_it_is_now(cleared or stored_readings)
    card_reading = max(stored_readings, key=lambda r: (r.stage.order, r.observed_at))
    car = Specimen("the car", reading, (), (), "", stored_card.hiding_mark, is_car=True)
    draft = lay_side_by_side(
        file,
        finish,
        policy,
        kind,
        specimen_of_card(stored, stored_card, card_reading, "the stored card"),
        car,
        alike(stored_readings, card_reading),
        alike(file.by(Reading, "panel_id", panel.root), reading),
        panels=0,
    )
    return Draft(
        subject=Subject.CAR,
        word=draft.word,
        sentence=_with_age(car_sentence(panel.name, stored_card, draft), draft.reasons),
        next_step=draft.next_step,
        stage=reading.stage,
        limit=draft.limit(policy.limit(kind)),
        limit_origin=policy.limit_origin,
        risk=policy.risk,
        other_card_id=stored_card.root,
        look=draft.look,
        decision=draft.decision,
        reasons=draft.reasons,
        reading_ids=draft.reading_ids,
    )


def _with_age(sentence: str, reasons: Sequence[Reason]) -> str:
    """A sentence of a repair, and that the stored card in the hand has moved, where it has."""
    aged = [reason.text for reason in reasons if reason.code == "aged_card"]
    return " ".join((sentence, *aged))


def reads_again(file: RecordFile, reading: Reading) -> bool:
    """Whether a reading measures again, long after the batch was first read at that stage.

    Such a reading tells how the card kept; no verdict on what was sprayed turns by it.
    """
    card = file.find(Card, reading.card_id)
    if card is None:
        return False
    cards = cards_of_batch(file, card.batch_id)
    read = (one for other in cards for one in readings_of_whole_card(file, other.root))
    return all(one.root != reading.root for one in as_sprayed(read))


def approved_readings(file: RecordFile, master: Master) -> list[Reading]:
    """The readings a master was approved by that still count."""
    found = (file.find(Reading, id) for id in master.reading_ids)
    return [reading for reading in found if reading is not None]


def _side_names(file: RecordFile, sides: Sequence[Side]) -> list[str]:
    return [place_name(file, side.panel_id, side.area_id) for side in sides]


def _joint_remedy(word: Word) -> str:
    if word is Word.SHOWS:
        return "Spray both sides from one batch, or fade the colour out inside a panel."
    return ""

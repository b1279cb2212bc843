"""The sheet of a repair: the car beside its stored card and trial cards, and what to do."""

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
    the_repair,
    trial_cards,
)
from service.domain.comparability import Reason
from service.domain.lookups import mean_lab, shown_angle, whereabouts
from service.domain.recommendation import Recommendation, Tried, recommend
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Finish, Job, Panel, Repair
from service.domain.records.measuring import EyeCheck, Reading
from service.domain.records.spraying import Batch, Component
from service.domain.refused import OutOfOrder
from service.domain.terms import ComponentRole, Word
from service.use_cases.label_papers import what_scanning_opens
from service.use_cases.paper_readings import ReadOff, readings_off
from service.use_cases.papers import Mix, PaperHead, Said, mix_of, name_of
from service.use_cases.queries import NearCard, Queries

NEAR = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The car beside one card."""

    card_id: str
    code: str
    batch_number: int
    finish: str
    place: str
    slot: str
    holder: str
    said: Said
    ways: tuple[Way, ...]
    reasons: tuple[Reason, ...]
    eyes: tuple[EyeCheck, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairPaper:
    """The whole of the sheet; ``read`` is the car as it came in, None when nobody read it."""

    head: PaperHead
    opens: str
    repair: Repair
    finish: Finish
    stored_job: Job
    recommendation: Recommendation
    panel: str
    read: ReadOff | None
    stored: Held | None
    stored_why: str
    stored_mix: Mix | None
    trials: tuple[Held, ...]
    near: tuple[NearCard, ...]
    has_hardener: bool

    @property
    def advised(self) -> Held | None:
        """The card the advice is about; None while nothing was held against the car."""
        held = (*self.trials, *((self.stored,) if self.stored is not None else ()))
        wanted = self.recommendation.card_id
        return next((one for one in held if one.card_id == wanted), None)


class NothingRepaired(OutOfOrder):
    """A job that repairs nothing has no repair sheet."""

    def __init__(self, work_order: str) -> None:
        super().__init__(
            f"The job {work_order} is no repair of a stored finish. Print its report instead."
        )


def repair_on_file(file: RecordFile) -> Repair:
    """What a job repairs; refuses when it repairs nothing."""
    found = the_repair(file)
    if found is None:
        raise NothingRepaired(file.get(Job, file.chain).work_order)
    return found


def reading_shown(file: RecordFile, panel_id: str = "") -> Reading | None:
    """The newest reading of the car as it came in, of one panel if one is named."""
    readings = readings_of_car(file)
    chosen = [reading for reading in readings if reading.panel_id == panel_id] or readings
    return chosen[-1] if chosen else None


def near_the_car(
    queries: Queries, file: RecordFile, reading: Reading | None
) -> tuple[NearCard, ...]:
    """The stored cards of other jobs that lie nearest to the car as it was read."""
    if reading is None:
        return ()
    angle = shown_angle(reading)
    found = queries.nearest_cards(
        mean_lab(angle),
        illuminant=reading.illuminant,
        observer=reading.observer,
        geometry=reading.geometry,
        angle=angle.angle,
        count=NEAR + len(file.all(Card)),
    )
    return tuple(near for near in found if near.line.job_id != file.chain)[:NEAR]


def repair_paper(
    file: RecordFile,
    stored: RecordFile,
    shop: RecordFile,
    head: PaperHead,
    *,
    panel_id: str = "",
    near: Sequence[NearCard] = (),
    public_address: str = "",
) -> RepairPaper:
    """The sheet of a repair; ``stored`` is the file of the job whose finish it repairs."""
    repair = repair_on_file(file)
    finish = stored.get(Finish, repair.stored_finish_id)
    reading = reading_shown(file, panel_id)
    hardener = _has_hardener(file) or _has_hardener(stored)
    if reading is None:
        return RepairPaper(
            head=head,
            opens="",
            repair=repair,
            finish=finish,
            stored_job=stored.get(Job, stored.chain),
            recommendation=recommend(car_was_read=False, stored=None),
            panel="",
            read=None,
            stored=None,
            stored_why="",
            stored_mix=None,
            trials=(),
            near=(),
            has_hardener=hardener,
        )
    panel = file.get(Panel, reading.panel_id or "")
    kind = edge_kind(stored, finish.root, panel.name)
    found = stored_card(stored, finish.root, panel.name)
    held = beside(file, reading, stored, found.card, kind) if found is not None else None
    against = Tried(name="the stored card", beside=held) if held is not None else None
    trials = [
        _tried(file, panel, one)
        for card in trial_cards(file, panel.finish_id)
        if (one := beside(file, reading, file, card, kind)) is not None
    ]
    return RepairPaper(
        head=head,
        opens=what_scanning_opens(found.card.code, public_address) if found is not None else "",
        repair=repair,
        finish=finish,
        stored_job=stored.get(Job, stored.chain),
        recommendation=recommend(
            car_was_read=True,
            stored=against,
            trials=trials,
            neighbours=neighbours(stored, finish.root, panel.name),
        ),
        panel=panel.name,
        read=readings_off(file, shop, [reading])[0],
        stored=_held(stored, shop, against) if against is not None else None,
        stored_why=found.why if found is not None else "",
        stored_mix=mix_of(stored, stored.get(Batch, found.card.batch_id)) if found else None,
        trials=tuple(_held(file, shop, one) for one in trials),
        near=tuple(near),
        has_hardener=hardener,
    )


def _has_hardener(file: RecordFile) -> bool:
    return bool(file.by(Component, "role", ComponentRole.HARDENER))


def _tried(file: RecordFile, panel: Panel, held: Beside) -> Tried:
    return Tried(
        name=f"batch {file.get(Batch, held.card.batch_id).number}",
        beside=held,
        eyes=tuple(
            check
            for check in file.by(EyeCheck, "card_id", held.card.root)
            if check.against_panel_id == panel.root
        ),
    )


def _held(holding: RecordFile, shop: RecordFile, tried: Tried) -> Held:
    """A card the car was held against; ``holding`` is the file of the card's own job."""
    card, draft = tried.beside.card, tried.beside.edge
    decision = draft.decision
    bounds = None
    if decision is not None and decision.low is not None and decision.high is not None:
        bounds = (decision.low, decision.high)
    place = whereabouts(holding, card)
    return Held(
        card_id=card.root,
        code=card.code,
        batch_number=holding.get(Batch, card.batch_id).number,
        finish=holding.get(Finish, card.finish_id).name,
        place=place.place,
        slot=place.slot,
        holder=name_of(shop, place.holder_id) if place.place == "out" else "",
        said=Said(
            word=draft.word,
            difference=decision.delta_e_2000 if decision else None,
            bounds=bounds,
            limit=draft.limit,
            directions=f"the car {decision.words}" if decision and decision.words else "",
            different=decision is not None and decision.over_five and draft.word is Word.SHOWS,
            angle=decision.angle if decision else None,
        ),
        ways=tried.beside.ways,
        reasons=draft.reasons,
        eyes=tried.eyes,
    )

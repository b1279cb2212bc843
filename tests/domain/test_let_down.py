"""The car beside a let-down card, from zones and readings on record."""

from __future__ import annotations

from typing import Any

import pytest

from service.domain.let_down import BesideSteps, beside_steps, let_down_cards
from service.domain.records.cards import Card
from service.domain.records.measuring import Reading
from service.domain.terms import FinishKind, Stage, ZoneState
from tests.builders import JobBuilder

ANGLES = (15, 45, 110)


def pearl(coats: float) -> dict[int, tuple[float, float, float]]:
    """An invented white pearl over a light ground with so many mid-coats."""
    return {
        15: (98 - 2.2 * coats, -1.5 + 0.6 * coats, 3 + 2.4 * coats),
        45: (88 - 1.0 * coats, -1.2 + 0.2 * coats, 4 + 1.1 * coats),
        110: (80 - 0.4 * coats, -1.0 + 0.1 * coats, 5 + 0.6 * coats),
    }


class Panel(JobBuilder):
    """A tri-coat with a let-down card of six steps, each bare and cleared."""

    def __init__(self, **policy: Any) -> None:
        super().__init__(FinishKind.TRI_COAT, **policy)
        self.let_down: Card = self.card(self.batch(1), "let-down")
        self.zones = {
            (step, cleared): self.zone(
                self.let_down,
                name=f"{step}{' cleared' if cleared else ''}",
                state=ZoneState.LET_DOWN_STEP,
                cleared=cleared,
                mid_coats=step,
            )
            for step in range(6)
            for cleared in (False, True)
        }

    def read(self, *steps: int, cleared: bool = True, **fields: Any) -> None:
        for step in steps:
            zone = self.zones[step, cleared]
            self.reading(
                self.let_down,
                pearl(step),
                zone_id=zone.root,
                stage=Stage.BAKED if cleared else Stage.BASE_DRY,
                geometry="multi-angle",
                specular=None,
                **fields,
            )

    def car(self, colour: dict[int, tuple[float, float, float]], **fields: Any) -> Reading:
        door = self.panel("Door")
        return self.reading(
            None,
            colour,
            panel_id=door.root,
            **{"geometry": "multi-angle", "specular": None, **fields},
        )

    def beside(self, car: Reading) -> BesideSteps:
        return beside_steps(self.file, self.let_down, car)


def test_the_car_lies_between_two_steps_with_its_range() -> None:
    job = Panel()
    job.read(0, 1, 2, 3, 4, 5)
    found = job.beside(job.car(pearl(2.4)))
    assert found.coats == pytest.approx(2.4, abs=1e-3)
    assert found.low is not None and found.high is not None
    assert 2.3 < found.low < 2.4 < found.high < 2.5
    assert found.sentence.startswith("The car lies between steps 2 and 3: 2.4 mid-coats, 90 %")
    assert found.remains.startswith("With that many, 0.00 is left at ")
    assert found.remains.endswith("°, limit 0.80.")
    assert [one.angle for one in found.left] == list(ANGLES)
    assert let_down_cards(job.file, job.finish.root) == [job.let_down]


def test_a_coarse_instrument_widens_the_range_over_a_step() -> None:
    job = Panel()
    job.read(0, 1, 2, 3, 4, 5, standard_uncertainty=0.4)
    found = job.beside(job.car(pearl(2.05), standard_uncertainty=0.4))
    assert found.sentence.startswith("The car lies at step 2, as far as these readings tell")
    job = Panel()
    job.read(0, 1, 2, 3, 4, 5, standard_uncertainty=3.0)
    found = job.beside(job.car(pearl(2.5), standard_uncertainty=3.0))
    assert found.sentence.startswith("The car lies somewhere from step")


def test_one_reading_of_unknown_noise_gives_a_place_and_no_range() -> None:
    job = Panel()
    job.read(0, 1, 2, 3, repeats=1, standard_uncertainty=None)
    found = job.beside(job.car(pearl(1.5), repeats=1, standard_uncertainty=None))
    assert found.coats == pytest.approx(1.5, abs=1e-3)
    assert found.low is None
    assert "How surely is not known: read each step three times" in found.sentence


def test_a_wrong_ground_is_left_whatever_the_number_of_coats() -> None:
    job = Panel()
    job.read(0, 1, 2, 3, 4, 5)
    off = {angle: (lab[0], lab[1] + 3.0, lab[2]) for angle, lab in pearl(2.4).items()}
    found = job.beside(job.car(off))
    assert "No number of mid-coats takes that away." in found.remains
    assert "redder" in found.remains
    assert max(one.delta_e_2000 for one in found.left) > 1


def test_outside_the_steps_it_says_so() -> None:
    job = Panel()
    job.read(1, 2, 3)
    assert job.beside(job.car(pearl(0.2))).sentence.startswith("The car lies before step 1")
    found = job.beside(job.car(pearl(4.5)))
    assert found.sentence.startswith("The car lies past step 3")
    assert found.remains.startswith("Even there")


def test_only_cleared_steps_read_as_the_car_was_are_taken() -> None:
    job = Panel()
    job.read(0, 1, 2, cleared=False)
    found = job.beside(job.car(pearl(1.5)))
    assert found.coats is None and found.sentence.startswith("No step was of card")
    job.read(1, observer=2)
    job.read(2)
    found = job.beside(job.car(pearl(1.5)))
    assert found.coats is None and found.sentence.startswith("Only one step was of card")
    job.read(3)
    assert job.beside(job.car(pearl(2.5))).steps == (2, 3)


def test_a_required_angle_nobody_read_is_said() -> None:
    job = Panel()
    job.read(1, 2, 3)
    two = {angle: lab for angle, lab in pearl(1.5).items() if angle != 110}
    found = job.beside(job.car(two))
    assert found.lacking == (110,)
    assert "Nobody read all of it at 110°" in found.remains


def test_the_newest_reading_of_a_step_stands() -> None:
    job = Panel()
    job.read(1, 2)
    for step, other in ((1, 0.5), (2, 1.5)):
        job.reading(
            job.let_down,
            pearl(other),
            zone_id=job.zones[step, True].root,
            geometry="multi-angle",
            specular=None,
        )
    assert job.beside(job.car(pearl(1.0))).coats == pytest.approx(1.5, abs=1e-3)


def test_a_card_without_cleared_steps_says_what_to_do() -> None:
    job = JobBuilder(FinishKind.TRI_COAT)
    card = job.card(job.batch(1))
    job.zone(card, name="1", state=ZoneState.LET_DOWN_STEP, cleared=False, mid_coats=1)
    door = job.panel("Door")
    car = job.reading(None, pearl(1), panel_id=door.root)
    assert "Clear one half of it" in beside_steps(job.file, card, car).sentence


def test_a_step_of_a_let_down_card_never_stands_for_the_batch() -> None:
    from service.domain.judging import draft_for_batch
    from service.domain.line_making import batch_gap

    job = Panel()
    master = job.card(job.batch(2), coats=3)
    job.master(master, job.reading(master, pearl(3), geometry="multi-angle", specular=None))
    batch = job.file.all(type(job.batch(3)))[0]
    job.read(0, 5)
    assert batch.number == 1
    assert draft_for_batch(job.file, batch.root) is None
    assert batch_gap(job.file, batch) == "no_reading"
    whole = job.card(batch, coats=3)
    job.reading(whole, pearl(3), geometry="multi-angle", specular=None)
    job.read(5)
    draft = draft_for_batch(job.file, batch.root)
    assert draft is not None and draft.card_id == whole.root

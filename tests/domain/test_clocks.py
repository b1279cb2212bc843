"""What runs on a job: whose figure each clock goes by, when it ends, when it is gone."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.domain.clocks import Clock, ClockKind, running_clocks
from service.domain.record_file import RecordFile
from service.domain.records.job import Release
from service.domain.records.shop import Product
from service.domain.records.spraying import Batch, Coat
from service.domain.terms import BakeTemperatureOf, CoatRole, ComponentRole
from tests.builders import MONDAY, JobBuilder, make_id


def shop_with(**sheet: object) -> RecordFile:
    product = Product(
        id=make_id("product"),
        shop_id=make_id("shop"),
        author_id=make_id("painter"),
        observed_at=MONDAY,
        received_at=MONDAY,
        name="Invented base",
        role=ComponentRole.BASE,
        sheet="Sheet 1",
        **sheet,  # type: ignore[arg-type]
    )
    return RecordFile(make_id("shop")).with_records([product])


class Work(JobBuilder):
    """A job with a door, and pots and coats at stated minutes after Monday morning."""

    def __init__(self) -> None:
        super().__init__()
        self.door = self.panel("Door")

    def pot(self, number: int, minute: float = 0, **fields: object) -> Batch:
        found = self.add(
            Batch,
            f"batch {number}",
            at=MONDAY + timedelta(minutes=minute),
            finish_id=self.finish.root,
            number=number,
            **{"role": CoatRole.BASE, **fields},
        )
        assert isinstance(found, Batch)
        return found

    def coat(self, batch: Batch, number: int, minute: float, **fields: object) -> None:
        self.add(
            Coat,
            f"coat {batch.number} {number} {fields}",
            at=MONDAY + timedelta(minutes=minute),
            batch_id=batch.root,
            role=batch.role,
            number=number,
            **{"panel_id": self.door.root, **fields},
        )

    def clocks(self, minute: float, shop: RecordFile | None = None) -> list[Clock]:
        return running_clocks(self.file, shop or shop_with(), MONDAY + timedelta(minutes=minute))


def kinds(clocks: list[Clock]) -> list[ClockKind]:
    return [clock.kind for clock in clocks]


def test_a_coat_flashes_by_what_was_logged_with_it_before_its_sheet() -> None:
    work, sheet = Work(), shop_with(flash_minutes=15.0)
    pot = work.pot(1, product_id=make_id("product"))
    work.coat(pot, 1, 10)
    (clock,) = work.clocks(12, sheet)
    assert (clock.kind, clock.ends) == (ClockKind.FLASH, MONDAY + timedelta(minutes=25))
    assert clock.what == "Flash of base coat 1, batch 1 (Door)"
    assert clock.origin == "by the sheet of Invented base"
    work.coat(pot, 2, 30, flash_minutes=8.0)
    (clock,) = work.clocks(31, sheet)
    assert clock.ends == MONDAY + timedelta(minutes=38)
    assert clock.origin == "as logged with the coat"


def test_only_the_last_coat_on_a_thing_flashes_and_a_clock_goes_half_an_hour_after_its_end() -> (
    None
):
    work = Work()
    pot = work.pot(1)
    work.coat(pot, 1, 0, flash_minutes=10.0)
    work.coat(pot, 2, 20, flash_minutes=10.0)
    assert [c.what for c in work.clocks(21)] == ["Flash of base coat 2, batch 1 (Door)"]
    assert kinds(work.clocks(59)) == [ClockKind.FLASH]
    assert work.clocks(60) == []


def test_no_flash_is_made_up_where_nobody_gave_a_figure() -> None:
    work = Work()
    work.coat(work.pot(1), 1, 0)
    assert work.clocks(1) == []


def test_a_panel_and_the_card_sprayed_together_share_one_clock() -> None:
    work = Work()
    pot = work.pot(1)
    card = work.card(pot)
    work.coat(pot, 1, 30, flash_minutes=10.0)
    work.coat(pot, 1, 30, flash_minutes=10.0, panel_id=None, card_id=card.root)
    assert [clock.what for clock in work.clocks(31)] == [
        "Flash of base coat 1, batch 1 (Door, card)"
    ]


def test_a_pots_life_runs_from_its_mixing_and_the_next_to_end_stands_first() -> None:
    work = Work()
    work.pot(1, 0, pot_life_minutes=240.0)
    work.pot(2, 60, pot_life_minutes=60.0)
    first, second = work.clocks(70)
    assert (first.what, first.ends) == ("Pot life of batch 2", MONDAY + timedelta(hours=2))
    assert second.what == "Pot life of batch 1"
    assert "which is a new batch" in first.then


def test_cards_cool_for_an_hour_after_the_bake_by_common_practice() -> None:
    work = Work()
    card = work.card(work.pot(1))
    work.bake(card, at=MONDAY + timedelta(minutes=100))
    (clock,) = work.clocks(120)
    assert (clock.kind, clock.ends) == (ClockKind.COOLING, MONDAY + timedelta(minutes=160))
    assert clock.origin.startswith("common practice, no source")


def test_wax_waits_from_the_last_bake_by_the_sheet_else_as_common_practice_says() -> None:
    from service.domain.records.spraying import Bake

    work, sheet = Work(), shop_with(wax_wait_days=30.0)
    clear = work.pot(1, role=CoatRole.CLEAR, product_id=make_id("product"))
    assert work.clocks(0, sheet) == []
    work.coat(clear, 1, 10)
    work.add(
        Bake,
        "bake",
        at=MONDAY + timedelta(minutes=90),
        panel_id=work.door.root,
        minutes=40,
        temperature_c=63,
        temperature_of=BakeTemperatureOf.AIR,
    )
    (clock,) = work.clocks(1000, sheet)
    assert (clock.kind, clock.ends) == (
        ClockKind.WAX_WAIT,
        MONDAY + timedelta(minutes=90, days=30),
    )
    assert clock.origin == "by the sheet of Invented base"
    # Common practice, no source: 60 to 90 days; shown as such and nothing more.
    (clock,) = work.clocks(1000)
    assert clock.ends == MONDAY + timedelta(minutes=90, days=60)
    assert clock.origin.startswith("common practice, no source: 60 to 90 days")
    assert work.clocks(1000 + 60 * 24 * 60) == []


def test_a_released_job_waits_for_wax_only() -> None:
    work = Work()
    work.coat(work.pot(1, pot_life_minutes=600.0), 1, 1, flash_minutes=500.0)
    work.coat(work.pot(2, 2, role=CoatRole.CLEAR), 1, 3, flash_minutes=500.0)
    assert kinds(work.clocks(4)) == [
        ClockKind.FLASH, ClockKind.POT_LIFE, ClockKind.WAX_WAIT
    ]  # fmt: skip
    work.add(Release, "release")
    assert kinds(work.clocks(4)) == [ClockKind.WAX_WAIT]


@pytest.mark.parametrize("minute", [0, 5, 29.9])
def test_the_clocks_are_a_function_of_the_file_and_the_time(minute: float) -> None:
    work = Work()
    work.coat(work.pot(1, pot_life_minutes=30.0), 1, 1, flash_minutes=12.0)
    assert work.clocks(minute) == work.clocks(minute)

"""A batch's page says under which lights it matches the master and under which it shows."""

from __future__ import annotations

import pytest

from service.domain.records.job import Finish, Repair
from service.domain.records.measuring import Reading
from service.domain.terms import Stage
from service.use_cases.job import OpenJob
from service.use_cases.measuring import LogReading, Measured
from tests.spectral_readings import GREY, metameric, repeats_of, spectral
from tests.web.pages.bench_shop import BenchShop


@pytest.fixture
def shop(tmp_path):
    made = BenchShop(tmp_path)
    made.job()
    yield made
    made.close()


def sprayed(shop, spectrum, with_spectra=True, repeats=3, **fields):
    """A batch with a card read by its spectrum; the batch and the reading."""
    made = shop.batch_with_card()
    kept = spectral(repeats_of(spectrum, repeats))
    given = {
        "stage": Stage.BAKED, "illuminant": "D65", "observer": 10, "geometry": "45:0",
        "standard_uncertainty": 0.05, "surface_temperature_c": 22.0, "card_id": made.card,
        "angles": kept["angles"], "spectra": kept["spectra"] if with_spectra else (),
    }  # fmt: skip
    reading = shop.hand.on_job(LogReading, reading=Measured(**{**given, **fields}))
    if len(shop.file.all(Reading)) == 1 and not shop.file.all(Repair):
        shop.hand.master(made.card, reading)
    return made.batch, reading


def page_of(shop, batch):
    return shop.browser().open(shop.at(f"/batches/{batch}"))


def rows_of(page):
    """The table of lights: light to the cells of its row."""
    table = next(t for t in page.main.all("table") if "limit" in t.one("caption").text)
    return {
        row.one("th").text: [cell.text for cell in row.all("td")]
        for row in table.one("tbody").all("tr")
    }


def test_the_heading_answers_and_the_table_says_how_much(shop):
    sprayed(shop, GREY)
    batch, _ = sprayed(shop, metameric(GREY))
    page = page_of(shop, batch)
    heading = page.main.one("h2", id="lights").text
    assert heading == "Batch 2 matches in daylight and shows under a three-band tube"
    rows = rows_of(page)
    assert list(rows) == [
        "In daylight D65/10°",
        "Under a filament lamp A/10°",
        "Under a three-band tube F11/10°",
        "Under shop LED LED-B3/10°",
    ]
    assert rows["In daylight D65/10°"][1].startswith("0.0")
    assert [cells[0] for cells in rows.values()] == ["Matches", "Matches", "Shows", "Matches"]
    tube = rows["Under a three-band tube F11/10°"]
    assert float(tube[2]) == pytest.approx(float(tube[1].split()[0]), abs=0.05)
    section = page.main.one("section", **{"aria-labelledby": "lights"})
    assert "Hold the two cards side by side under a three-band tube" in section.text
    assert "It is no verdict" in section.text


def test_too_near_the_limit_is_said_beside_the_word(shop):
    sprayed(shop, GREY)
    batch, _ = sprayed(shop, metameric(GREY, 0.0128))
    page = page_of(shop, batch)
    assert "too near the limit under a three-band tube" in page.main.one("h2", id="lights").text
    assert "too near the limit to be sure" in rows_of(page)["Under a three-band tube F11/10°"][0]


def test_a_different_colour_has_no_figure(shop):
    sprayed(shop, GREY)
    batch, _ = sprayed(shop, 0.6 * GREY)
    cells = rows_of(page_of(shop, batch))["Under shop LED LED-B3/10°"]
    assert cells[:2] == ["Shows, a different colour", "over 5"]


@pytest.mark.parametrize(
    ("master", "card", "said"),
    [
        (True, False, "this card has no spectrum"),
        (False, True, "the master has no spectrum"),
        (False, False, "neither card has a spectrum"),
    ],
)
def test_without_spectra_one_quiet_line_says_why(shop, master, card, said):
    sprayed(shop, GREY, master)
    batch, _ = sprayed(shop, GREY, card)
    page = page_of(shop, batch)
    assert not page.main.all("h2", id="lights")
    (line,) = [s.text for s in page.main.all("summary") if "other lights" in s.text]
    assert line == f"Not known under other lights: {said}"
    assert "one light only" in page.main.text


def test_cards_read_unalike_are_not_laid_side_by_side(shop):
    sprayed(shop, GREY)
    batch, _ = sprayed(shop, GREY, geometry="d:8")
    page = page_of(shop, batch)
    assert "Not known under other lights: it was not read as the master was" in page.main.text
    assert "Read both with like instruments" in page.main.text


def test_the_masters_own_batch_and_an_unread_one_say_nothing_of_lights(shop):
    first, _ = sprayed(shop, GREY)
    unread = shop.batch_with_card().batch
    for batch in (first, unread):
        assert "other lights" not in page_of(shop, batch).main.text


def test_a_repairs_pot_is_held_against_the_stored_master_until_it_has_its_own(shop):
    sprayed(shop, GREY)
    hand = shop.hand
    hand.job_id = hand.do(
        OpenJob, work_order="R-1", title="The van again", repairs_job_id=hand.job_id,
        repairs_finish_id=hand.finish, damage="A chip",
    )  # fmt: skip
    hand.finish = shop.file.all(Finish)[0].root
    batch, _ = sprayed(shop, metameric(GREY))
    heading = page_of(shop, batch).main.one("h2", id="lights").text
    assert heading == "Batch 1 matches in daylight and shows under a three-band tube"

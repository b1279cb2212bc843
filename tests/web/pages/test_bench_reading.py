"""A reading typed by hand: conditions stated, repeats kept whole, and the verdict at once."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from service.domain.records.measuring import Reading
from service.domain.terms import FinishKind, Specular, Stage
from service.use_cases.cards import AddZone, CardZone
from tests.web.pages.bench_shop import DARK_RED, BenchShop


@pytest.fixture
def shop(tmp_path):
    made = BenchShop(tmp_path)
    yield made
    made.close()


@pytest.fixture
def judged(shop):
    """A job with a master, a second batch beside it, and an instrument."""
    shop.sphere = shop.instrument()
    shop.job()
    master = shop.batch_with_card(shop.wing, DARK_RED)
    shop.hand.master(master.card, master.reading)
    return shop


def labs(*repeats, angle="only"):
    """The fields of some repeats at one angle."""
    return {
        f"lab__{angle}__{place}__{axis}": f"{value:g}"
        for place, lab in enumerate(repeats)
        for axis, value in zip("Lab", lab, strict=True)
    }


def near(lab, *offset):
    return tuple(x + dx for x, dx in zip(lab, offset, strict=True))


def three(lab):
    """Three repeats about a colour."""
    return (
        near(lab, 0.03, -0.02, 0.01),
        near(lab, -0.02, 0.03, -0.02),
        near(lab, -0.01, -0.01, 0.01),
    )


def reading_page(shop, code):
    return shop.browser().open(f"/c/{code}/readings/new")


def test_conditions_start_as_the_last_reading_had_them_and_can_be_seen(judged):
    second = judged.batch_with_card(judged.door)
    page = reading_page(judged, second.code)
    fields = page.fields()
    assert fields["reading.illuminant"] == ["D65"]
    assert fields["reading.observer"] == ["10"]
    assert fields["reading.geometry"] == ["d:8"]
    assert fields["reading.specular"] == ["included"]
    assert fields["reading.stage"] == ["base_dry"]
    assert "Bench sphere d:8, specular included, repeats within 0.05" in page.main.text


def test_a_first_reading_must_state_what_nobody_can_know(shop):
    shop.job()
    sprayed = shop.batch_with_card(shop.wing)
    page = reading_page(shop, sprayed.code).send(**labs(*three(DARK_RED)))
    assert page.status == 422
    assert page.errors == [
        "The illuminant is missing. Fill it in.",
        "The observer is missing. Fill it in.",
    ]
    page = page.send(reading__illuminant="D65", reading__observer="10")
    assert "The geometry of the reading is not known." in page.errors[0]
    assert page.fields()["lab.only.0.L"] == ["32.03"]
    page = page.send(reading__geometry="45:0")
    assert page.heading == "Batch 1 is read, and waits for a master"


def test_the_verdict_comes_back_as_word_number_range_limit_and_what_to_do(judged):
    second = judged.batch_with_card(judged.door)
    page = reading_page(judged, second.code)
    page = page.send(
        reading__instrument_id=judged.sphere,
        reading__stage="baked",
        reading__surface_temperature_c="22",
        **labs(*three((33.0, 40.0, 19.0))),
    )
    assert page.heading == "Batch 2 would show against the master"
    hero = page.main.one("p", class_="verdict-hero")
    assert hero.text.startswith("Shows 1.")
    assert "limit 0.80" in hero.text
    assert "(" in hero.text and " to " in hero.text
    assert len(hero.all("svg", class_="mark-shows")) == 1
    assert "lighter" in hero.text or "redder" in hero.text
    assert "Next: It is on Left door already." in page.main.text
    assert "What this rests on" in [a.text for a in page.main.all("a")]
    assert "Screen picture only. Compare the card itself." in page.main.text
    assert "Left wing to Left door" in page.main.text


def test_a_batch_that_blends_says_so(judged):
    second = judged.batch_with_card(judged.door)
    page = reading_page(judged, second.code).send(
        reading__instrument_id=judged.sphere,
        reading__stage="baked",
        reading__surface_temperature_c="71.6",
        reading__surface_temperature_c__unit="F",
        **labs(*three(near(DARK_RED, 0.05, 0.05, 0.0))),
    )
    assert page.heading == "Batch 2 blends with the master"
    reading = judged.file.by(Reading, "card_id", second.card)[0]
    assert reading.surface_temperature_c == pytest.approx(22.0)
    assert len(reading.angles[0].repeats) == 3


def test_a_card_read_too_early_says_when_it_can_be_judged_on_the_shops_clock(judged):
    second = judged.batch_with_card(judged.door)
    page = reading_page(judged, second.code).send(
        reading__stage="base_dry",
        observed_at="2026-07-01T09:30",
        **labs(*three(near(DARK_RED, 2.0, 0.0, 0.0))),
    )
    assert page.heading == "Batch 2 cannot be compared with the master"
    # The master's own card baked 40 min; an hour of cooling is common practice.
    assert (
        "Readable after clear, bake and cooling: about Wed 1 Jul 2026, 11:10 if the bake starts "
        "at once." in page.main.text
    )


def test_old_verdicts_stay_below_the_new_one(judged):
    second = judged.batch_with_card(judged.door)
    for lab in (near(DARK_RED, 1.4, 0.0, 0.0), near(DARK_RED, 1.5, 0.0, 0.0)):
        page = reading_page(judged, second.code)
        page = page.send(
            reading__stage="baked", reading__surface_temperature_c="22", **labs(*three(lab))
        )
    history = next(s for s in page.main.all("section") if s.text.startswith("What was said"))
    assert "look 1" in history.text and "look 2" not in history.text
    assert "look 2" in page.main.text and "look 1" in page.main.text


def test_an_effect_finish_asks_for_every_angle(shop):
    shop.instrument(geometry="multi-angle", specular=None)
    shop.job(FinishKind.METALLIC)
    sprayed = shop.batch_with_card(shop.wing)
    page = reading_page(shop, sprayed.code)
    assert page.heading.endswith("at 15°, 45°, 110°")
    many = {
        **labs(*three((60.0, -1.0, -4.0)), angle="15"),
        **labs(*three((40.0, -1.0, -5.0)), angle="45"),
        **labs(*three((20.0, -1.0, -6.0)), angle="110"),
    }
    page = page.send(reading__illuminant="D65", reading__observer="10", **many)
    assert page.status == 200, page.errors
    reading = shop.file.all(Reading)[0]
    assert [(a.angle, len(a.repeats)) for a in reading.angles] == [(15, 3), (45, 3), (110, 3)]
    assert reading.geometry == "multi-angle" and reading.standard_uncertainty == 0.05


def test_a_repeat_that_is_not_whole_is_named_and_everything_typed_is_kept(judged):
    second = judged.batch_with_card(judged.door)
    typed = labs(*three(DARK_RED))
    typed["lab__only__1__b"] = ""
    typed["lab__only__2__a"] = "red"
    page = reading_page(judged, second.code).send(**typed)
    assert page.errors == [
        "b* of reading 2 is missing. Read it again, or type it.",
        "'red' is no number. Enter one, like 12.5 or 12,5.",
    ]
    assert page.main.one("input", id="f-lab.only.1.b").attributes["aria-invalid"] == "true"
    assert page.fields()["lab.only.0.L"] == ["32.03"]
    assert judged.file.by(Reading, "card_id", second.card) == []


def test_a_colour_that_cannot_be_is_refused_at_its_angle(judged):
    second = judged.batch_with_card(judged.door)
    page = reading_page(judged, second.code).send(**labs((320.0, 0.0, 0.0)))
    assert page.errors == ["L* cannot be 320. Enter a value from -1 to 100.5."]


def test_nothing_typed_is_refused(judged):
    second = judged.batch_with_card(judged.door)
    page = reading_page(judged, second.code).send()
    assert page.errors == ["No colour was typed. Enter at least one L*, a*, b*."]


def test_the_instruments_geometry_holds_when_it_is_left_as_registered(judged):
    second = judged.batch_with_card(judged.door)
    page = reading_page(judged, second.code)
    sphere = page.choices("reading.instrument_id")[
        "Bench sphere d:8, specular included, repeats within 0.05"
    ]
    page.send(
        reading__instrument_id=sphere,
        reading__geometry="",
        reading__specular="",
        reading__stage="baked",
        **labs(*three(DARK_RED)),
    )
    reading = judged.file.by(Reading, "card_id", second.card)[0]
    assert (reading.geometry, reading.specular) == ("d:8", Specular.INCLUDED)
    assert (reading.instrument_id, reading.standard_uncertainty) == (sphere, 0.05)
    assert reading.stage is Stage.BAKED


def test_the_zone_that_was_read_is_kept(judged):
    second = judged.batch_with_card(judged.door)
    bare = CardZone(name="Bare base", state="bare_base", cleared=False)
    zone = judged.hand.on_job(AddZone, card_id=second.card, zone=bare)
    page = reading_page(judged, second.code)
    assert page.fields()["reading.zone_id"] == [zone]
    page.send(**labs(*three(DARK_RED)))
    assert judged.file.by(Reading, "card_id", second.card)[0].zone_id == zone


def test_a_card_nobody_logged_is_told_so(shop):
    page = reading_page(shop, "not-a-code")
    assert page.status == 422
    assert "is not a card code" in page.main.text


def test_an_instrument_past_its_calibration_is_said_before_anything_is_typed(judged):
    past = datetime.now(UTC) - timedelta(days=3)
    judged.instrument(name="Old sphere", calibration_due=past)
    second = judged.batch_with_card(judged.door)
    page = reading_page(judged, second.code)
    assert "Old sphere is past its calibration" in page.main.one("p", class_="notice").text
    page = page.send(
        reading__instrument_id=page.choices("reading.instrument_id")[
            "Old sphere d:8, specular included, repeats within 0.05, past its calibration"
        ],
        reading__stage="baked",
        reading__surface_temperature_c="22",
        **labs(*three((33.4, 38.0, 20.0))),
    )
    assert page.heading == "Batch 2 cannot be told from this measurement"
    assert "Calibrate it and read batch 2's card again." in page.main.text


def test_a_card_not_read_yet_says_from_which_stage_on_it_can_be_judged(judged):
    second = judged.batch_with_card(judged.door)
    page = judged.browser().open(judged.at(f"/batches/{second.batch}"))
    assert "It can be judged after clear, bake and cooling" in page.main.text


def test_a_time_in_a_finding_is_on_the_shops_clock(judged):
    second = judged.batch_with_card(judged.door)
    reading_page(judged, second.code).send(
        reading__stage="base_dry",
        observed_at="2026-07-01T23:50",
        **labs(*three(near(DARK_RED, 2.0, 0.0, 0.0))),
    )
    page = judged.browser().open(judged.at())
    # Read at 22:50 UTC; 40 min of bake and an hour of cooling lead past midnight there, too.
    assert "about 01:30 if the bake starts now" in page.main.text
    assert "UTC" not in page.main.text

"""Rows of numbers as people paste them from an instrument, or type them with a thumb."""

from __future__ import annotations

import pytest

from service.domain.lookups import readings_of_card, verdict_on_batch
from service.domain.refused import Invalid
from service.domain.terms import FinishKind, Word
from service.use_cases import job
from service.web.pages.angle_rows import rows_of
from tests.web.pages.bench_shop import BenchShop

SIX = (-15, 15, 25, 45, 75, 110)
PEARL = {
    -15: (118.0, 3.0, -12.0),
    15: (112.0, 2.0, -10.0),
    25: (92.0, 1.0, -9.0),
    45: (64.0, 0.0, -7.0),
    75: (47.0, -0.5, -5.0),
    110: (40.0, -1.0, -4.0),
}
ONE, OTHER = (112.5, -2.25, -10.0), (64.0, 0.0, -7.0)


@pytest.mark.parametrize(
    "text",
    [
        "15 112.5 -2.25 -10\n45 64 0 -7",
        "15\t112,5\t\N{MINUS SIGN}2,25\t-10\n\n45\t64,0\t0\t-7\n",
        "15°: 112.5, -2.25, -10\n45°: 64, 0, -7",
        "15,112.5,-2.25,-10\n45,64,0,-7",
        "as15; 112,5; -2,25; -10\nas45; 64; 0; -7,00",
        "112.5 -2.25 -10\n64 0 -7",
        "112.5 -2.25 -10 64 0 -7",
        "  15 ° 112.5 | -2.25 | -10\r\n45 ° | 64 | +0 | -7",
    ],
)
def test_rows_are_read_as_they_are_shown_or_typed(text):
    assert rows_of("rows", text, (15, 45)) == [(15, ONE), (45, OTHER)]


def test_an_angle_that_comes_again_is_its_next_repeat():
    rows = "15 1 2 3\n45 4 5 6\n15 7 8 9\n110 1 1 1"
    assert [angle for angle, _ in rows_of("rows", rows, (15, 45))] == [15, 45, 15, 110]
    unnamed = "1 2 3\n4 5 6\n7 8 9\n1 1 1"
    assert [angle for angle, _ in rows_of("rows", unnamed, (15, 45))] == [15, 45, 15, 45]


def test_one_geometry_has_rows_too():
    assert rows_of("rows", "112.5 -2.25 -10\n", (None,)) == [(None, ONE)]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("15 112.5 -2.25", "Row 1 has 3 numbers"),
        ("15 112.5 -2.25 -10\n45 64 0", "Row 2 has 3 numbers"),
        ("1 2 3\n4 5 6\n7 8 9", "Row 1 has 3 numbers"),
        ("15 1 2 3\n45 1 2 3 4", "Row 2 has 5 numbers. Write an angle, L*, a*, b*; or 6 numbers"),
        ("7", "Row 1 has one number"),
        ("face 1 2 3", "Row 1: 'face' is not an angle"),
        ("200 1 2 3", "Row 1: The angle cannot be 200°"),
        ("15 1 2 3\n\n15 1 x 3", "Row 3: 'x' is no number. Enter one, like 12.5 or 12,5."),
        ("15 1 1e3 3", "Row 1: '1e3' is no number"),
        ("15 1 nan 3", "Row 1: 'nan' is no number"),
        ("15 1 2 3\n" * 401, "401 rows were typed"),
    ],
)
def test_what_is_no_row_is_refused_with_its_place(text, said):
    with pytest.raises(Invalid) as refused:
        rows_of("rows", text, (15, 45))
    assert said in str(refused.value)


@pytest.fixture
def shop(tmp_path):
    shop = BenchShop(tmp_path)
    yield shop
    shop.close()


@pytest.fixture
def card(shop):
    """A pearl judged at six angles, its master read, and a card to read."""
    instrument = shop.instrument(name="Bench fan", geometry="multi-angle", specular=None)
    shop.job(kind=FinishKind.PEARL, limits=job.Limits(required_angles=SIX))
    first = shop.batch_with_card()
    reading = shop.hand.read(first.card, PEARL, instrument_id=instrument, geometry="multi-angle")
    shop.hand.master(first.card, reading)
    return shop.batch_with_card()


def rows(repeats=3, without=()):
    by_repeat = [
        f"{angle} {lab[0] + step:.2f} {lab[1]:.2f} {lab[2]:.2f}".replace("-", "\N{MINUS SIGN}")
        for step in (0.0, 0.02, -0.02)[:repeats]
        for angle, lab in PEARL.items()
        if angle not in without
    ]
    return "\n".join(by_repeat)


def test_six_angles_are_typed_as_rows_and_judged(shop, card):
    page = shop.browser().open(f"/c/{card.code}/readings/new")
    assert "at \N{MINUS SIGN}15°, 15°, 25°, 45°, 75°, 110°" in page.heading
    page = page.send(rows=rows(), reading__stage="baked")
    assert page.status == 200
    reading = readings_of_card(shop.file, card.card)[-1]
    assert [angle.angle for angle in reading.angles] == list(SIX)
    assert [len(angle.repeats) for angle in reading.angles] == [3] * 6
    assert reading.angles[0].repeats[0] == PEARL[-15]
    verdict = verdict_on_batch(shop.file, card.batch)
    assert verdict.word is Word.BLENDS, verdict.sentence


def test_fields_go_reading_by_reading_in_the_order_of_the_angles(shop, card):
    page = shop.browser().open(f"/c/{card.code}/readings/new")
    names = [name for name in page.fields() if name.startswith("lab.")]
    assert names[:4] == ["lab.-15.0.L", "lab.-15.0.a", "lab.-15.0.b", "lab.15.0.L"]
    assert names[18] == "lab.-15.1.L" and len(names) == 54
    assert page.label_of("lab.-15.0.L") == "L* of reading 1 at \N{MINUS SIGN}15°"
    typed = {
        f"lab.{angle}.0.{axis}": f"{value:.1f}".replace("-", "\N{MINUS SIGN}").replace(".", ",")
        for angle, lab in PEARL.items()
        for axis, value in zip("Lab", lab, strict=True)
    }
    page = page.send(**typed)
    reading = readings_of_card(shop.file, card.card)[-1]
    assert {angle.angle: angle.repeats[0] for angle in reading.angles} == PEARL


def test_rows_and_fields_add_up_and_further_angles_are_kept(shop, card):
    page = shop.browser().open(f"/c/{card.code}/readings/new")
    page.send(
        **{"lab.45.0.L": "64", "lab.45.0.a": "0", "lab.45.0.b": "-7"}, rows="45 64 0 -7\n20 99 1 1"
    )
    reading = readings_of_card(shop.file, card.card)[-1]
    assert {angle.angle: len(angle.repeats) for angle in reading.angles} == {45: 2, 20: 1}


def test_refused_rows_stay_and_their_error_can_be_seen(shop, card):
    page = shop.browser().open(f"/c/{card.code}/readings/new")
    page = page.send(rows="15 112 2 -10\n25 92 1")
    assert page.status == 422
    assert page.errors[0].startswith("Row 2 has 3 numbers. Write an angle, L*, a*, b*; or 18")
    assert page.fields()["rows"] == ["15 112 2 -10 25 92 1"]
    assert "open" in page.main.all("details")[0].attributes


def test_a_row_with_an_impossible_colour_is_refused_at_the_rows(shop, card):
    page = shop.browser().open(f"/c/{card.code}/readings/new").send(rows="15 900 2 -10")
    assert page.status == 422 and "L* at 15° cannot be 900" in page.errors[0]

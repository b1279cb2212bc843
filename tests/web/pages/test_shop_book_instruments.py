"""The page of an instrument and its check tiles, from registering to a figure taken over."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from service.domain.instrument_agreement import repeatability_of
from service.domain.lookups import verdict_on_batch
from service.domain.records.measuring import AngleReading
from service.domain.records.shop import CheckTile, Instrument, TileReading
from service.use_cases.check_tiles import LogTileReading, RegisterCheckTile
from service.use_cases.correcting import CorrectShop
from tests.tile_shop import GREY, around
from tests.web.pages.audit_shop import AuditShop, table

DARKER = (55.5, -0.2, 0.4)
DAY = timedelta(days=1)


class TilesShop(AuditShop):
    """A shop with a sphere and a grey tile."""

    def __init__(self, folder):
        super().__init__(folder)
        self.sphere = self.instrument(standard_uncertainty=None)
        self.grey = self.hand.do(RegisterCheckTile, name="Grey tile", serial="T-9")

    def tile_reading(self, lab=GREY, days_ago=0.0, tile=None, by=None, **fields):
        by_angle = lab if isinstance(lab, dict) else {None: lab}
        return self.hand.do(
            LogTileReading,
            by=self.painter,
            observed_at=datetime.now(UTC) - days_ago * DAY,
            **{
                "tile_id": tile or self.grey,
                "instrument_id": by or self.sphere,
                "illuminant": "D65",
                "observer": 10,
                "angles": tuple(
                    AngleReading(angle=angle, repeats=around(one))
                    for angle, one in by_angle.items()
                ),
                "surface_temperature_c": 23.0,
                **fields,
            },
        )

    @property
    def book(self):
        return self.store.shop()


@pytest.fixture
def shop(tmp_path):
    made = TilesShop(tmp_path)
    yield made
    made.close()


@pytest.fixture
def manager(shop):
    return shop.browser(shop.manager)


@pytest.fixture
def painter(shop):
    return shop.browser()


def address(shop):
    return f"/shop/instruments/{shop.sphere}"


TYPED = {
    "lab__only__0__L": "56,02",
    "lab__only__0__a": "-0,21",
    "lab__only__0__b": "0,41",
    "lab__only__1__L": "55.98",
    "lab__only__1__a": "\u22120.18",
    "lab__only__1__b": "0.41",
    "illuminant": "D65",
    "observer": "10",
    "surface_temperature_c": "73.4",
    "surface_temperature_c__unit": "F",
}


def test_a_tile_is_registered_and_listed_in_the_book(shop, manager):
    sheet = manager.open("/shop").follow("Register a check tile")
    done = sheet.send(name="White tile", serial="T-10", note="In the drawer")
    assert "The check tile is registered." in done.main.text
    assert [tile.name for tile in shop.book.all(CheckTile)] == ["Grey tile", "White tile"]
    (_, white) = table(done, "What the instruments are tried on")
    assert (white[0], white[1], white[3]) == ("White tile", "not yet", "Serial T-10. In the drawer")


def test_a_name_that_is_taken_keeps_what_was_typed(shop, manager):
    refused = manager.open("/shop/tiles/new").send(name="grey tile", note="In the drawer")
    assert refused.status == 409
    assert "already registered" in refused.errors[0]
    assert refused.main.one("textarea", name="note").text == "In the drawer"


def test_a_painter_types_what_the_instrument_reads(shop, painter):
    sheet = painter.open(address(shop)).follow("Read a check tile")
    assert sheet.heading == "Read a check tile with Bench sphere"
    # The only tile is chosen already, so nothing is asked that is known.
    assert sheet.fields()["tile_id"] == [shop.grey]
    done = sheet.send(**TYPED)
    assert "The reading of the tile is on record." in done.main.text
    (found,) = shop.book.all(TileReading)
    assert found.angles[0].repeats == ((56.02, -0.21, 0.41), (55.98, -0.18, 0.41))
    assert found.surface_temperature_c == pytest.approx(23.0, abs=1e-6)
    assert (found.geometry, found.is_reference, found.author_id) == ("d:8", False, shop.painter)
    assert "Read once so far" in done.main.text


def test_the_next_reading_starts_with_the_conditions_of_the_last(shop, painter):
    shop.tile_reading(illuminant="A", observer=2)
    sheet = painter.open(f"{address(shop)}/tile-readings/new")
    assert (sheet.fields()["illuminant"], sheet.fields()["observer"]) == (["A"], ["2"])


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"lab__only__1__b": ""}, "b* of reading 2 is missing"),
        ({"lab__only__0__L": "fifty"}, "'fifty' is no number"),
        ({"lab__only__0__L": "156"}, "L*"),
        ({"surface_temperature_c": "9000"}, "It cannot be"),
        ({"illuminant": ""}, "illuminant"),
        ({"tile_id": None}, "tile"),
    ],
)
def test_a_reading_that_cannot_be_taken_keeps_every_number(shop, painter, changed, error):
    sheet = painter.open(f"{address(shop)}/tile-readings/new")
    refused = sheet.send(**{**TYPED, **changed})
    assert refused.status == 422
    assert any(error in said for said in refused.errors), refused.errors
    kept = refused.fields()
    for name, value in {**TYPED, **changed}.items():
        if value and name != "tile_id":
            assert kept[name.replace("__", ".")] == [value]
    assert shop.book.all(TileReading) == []


def test_a_multi_angle_instrument_is_asked_for_its_angles(shop, painter):
    several = shop.instrument(name="Five angles", geometry="multi-angle", specular=None)
    sheet = painter.open(f"/shop/instruments/{several}/tile-readings/new")
    typed = {
        f"lab__{angle}__0__{axis}": value
        for angle in (15, 45, 110)
        for axis, value in zip("Lab", ("50", "1", "2"), strict=True)
    }
    sheet.send(**typed, illuminant="D65", observer="10")
    (found,) = shop.book.all(TileReading)
    assert [one.angle for one in found.angles] == [15, 45, 110]
    again = painter.open(f"/shop/instruments/{several}/tile-readings/new")
    assert [name for name in again.fields() if name.startswith("lab.25")] == []


def test_what_a_multi_angle_instrument_shows_is_pasted_as_rows(shop, painter):
    several = shop.instrument(name="Five angles", geometry="multi-angle", specular=None)
    sheet = painter.open(f"/shop/instruments/{several}/tile-readings/new")
    sheet.send(rows="15 50 1 2\n45 40 1 2\n15 50,1 1 2", illuminant="D65", observer="10")
    (found,) = shop.book.all(TileReading)
    assert [(one.angle, len(one.repeats)) for one in found.angles] == [(15, 2), (45, 1)]


def test_without_a_tile_the_form_says_what_to_do_first(tmp_path):
    shop = AuditShop(tmp_path)
    sphere = shop.instrument()
    page = shop.browser(shop.manager).open(f"/shop/instruments/{sphere}")
    assert "No check tile is registered yet" in page.main.text
    sheet = shop.browser().open(f"/shop/instruments/{sphere}/tile-readings/new")
    assert "A manager registers it" in sheet.main.text
    shop.close()


def test_the_history_is_a_table_a_drawing_and_a_sentence(shop, painter):
    shop.tile_reading(days_ago=90)
    shop.tile_reading(days_ago=60)
    shop.tile_reading(DARKER, days_ago=1, surface_temperature_c=30.0)
    sheet = painter.open(address(shop))
    assert sheet.heading == "Bench sphere has drifted"
    rows = table(sheet, "Grey tile, less the reference")
    assert [row[1] for row in rows] == ["\u22120.50", "0.00"]
    assert "It drifted by" in sheet.main.text
    assert "7 °C warmer" in sheet.main.text
    assert len(sheet.main.all("svg", role="img")) == 1
    assert "mark the next reading of each tile as its reference" in sheet.main.text


def test_a_drift_and_a_calibration_over_are_said_in_the_book(shop, manager):
    shop.tile_reading(days_ago=90)
    shop.tile_reading(DARKER, days_ago=1)
    shop.instrument(name="Old sphere", calibration_due=datetime.now(UTC) - 40 * DAY)
    sheet = manager.open("/shop")
    assert sheet.heading == "Old sphere is past its calibration"
    said = [item.text for item in sheet.main.all("li", class_="finding")]
    assert said[0].startswith("Old sphere has been past its calibration for 40 days.")
    assert said[1].startswith("Bench sphere no longer reads Grey tile as it did.")
    link = sheet.main.all("li", class_="finding")[0].one("a").attributes["href"]
    assert manager.open(link).heading == "Old sphere is past its calibration"


@pytest.mark.parametrize(
    ("due", "heading"),
    [
        (None, "Bench sphere: nobody said when its calibration is due"),
        (9, "Bench sphere is due for calibration soon"),
        (300, "Bench sphere is in order"),
    ],
)
def test_the_heading_answers_whether_it_is_in_order(tmp_path, due, heading):
    shop = AuditShop(tmp_path)
    sphere = shop.instrument(calibration_due=due and datetime.now(UTC) + due * DAY)
    assert shop.browser().open(f"/shop/instruments/{sphere}").heading == heading
    shop.close()


def test_a_repeatability_is_offered_when_enough_was_read_and_taken_over_with_a_reason(
    shop, manager
):
    for days in range(4):
        shop.tile_reading(days_ago=9 - days)
    few = manager.open(address(shop))
    assert "9 degrees of freedom are wanted" in few.main.text
    shop.tile_reading(days_ago=1)
    sheet = manager.open(address(shop))
    done = sheet.send()
    assert "The figure is in the book, with your name and reason." in done.main.text
    found = shop.book.get(Instrument, shop.sphere)
    figure = repeatability_of(shop.book, shop.sphere).figure
    assert found.standard_uncertainty == pytest.approx(figure, rel=0.05)
    assert found.reason.startswith("Pooled over 15 readings of check tiles in 5 sets")
    # What the book holds already is offered no more.
    assert not done.main.all("form")


def test_a_distance_between_two_instruments_is_offered_on_both_pages(shop, manager):
    other = shop.instrument(name="Second sphere")
    shop.tile_reading(days_ago=2)
    shop.tile_reading((56.2, -0.3, 0.6), days_ago=2, by=other)
    sheet = manager.open(address(shop))
    assert table(sheet, "Second sphere less Bench sphere")[0][:4] == [
        "Grey tile",
        "+0.20",
        "\u22120.10",
        "+0.20",
    ]
    sheet.send()
    for id in (shop.sphere, other):
        # √(0.03 / 2 · 3), by the docstring of apart_from_others.
        page = manager.open(f"/shop/instruments/{id}")
        assert "gives each of the two 0.212" in page.main.text
    assert shop.book.get(Instrument, shop.sphere).inter_instrument_uncertainty == 0.21
    assert shop.book.get(Instrument, other).inter_instrument_uncertainty is None


def test_a_figure_without_a_reason_is_refused_and_keeps_what_was_typed(shop, manager):
    other = shop.instrument(name="Second sphere")
    shop.tile_reading()
    shop.tile_reading((56.2, -0.3, 0.6), by=other)
    refused = manager.open(address(shop)).send(
        inter_instrument_uncertainty="0,3", why__inter_instrument_uncertainty=""
    )
    assert refused.errors == ["The reason is missing. Say why the entry changes."]
    assert refused.fields()["inter_instrument_uncertainty"] == ["0,3"]
    assert shop.book.get(Instrument, shop.sphere).inter_instrument_uncertainty is None


def test_a_painter_sees_the_figures_and_may_not_take_them_over(shop, painter):
    other = shop.instrument(name="Second sphere")
    shop.tile_reading()
    shop.tile_reading((56.2, -0.3, 0.6), by=other)
    sheet = painter.open(address(shop))
    assert "gives each of the two" in sheet.main.text
    assert not sheet.main.all("form")
    answer = painter.client.post(address(shop), data={"field": "standard_uncertainty"})
    assert answer.status_code == 403


def test_a_reading_is_corrected_from_the_page(shop, manager):
    shop.tile_reading()
    rows = manager.open(address(shop)).main.all("a", class_="target")
    (link,) = [a for a in rows if a.text.startswith("Correct the reading of Grey tile")]
    done = manager.open(link.attributes["href"]).send(
        is_reference="yes", why="It was after the service."
    )
    assert done.heading.endswith("was corrected once")
    (found,) = shop.book.all(TileReading)
    assert found.is_reference


def test_the_journal_says_what_was_done(shop, manager):
    shop.tile_reading()
    said = manager.open("/shop/journal").main.text
    assert "Pat read the check tile Grey tile" in said
    assert "First Manager registered the check tile Grey tile" in said


def test_a_verdict_says_what_two_instruments_add(shop, manager):
    for id, figure in ((shop.sphere, 0.06), (shop.instrument(name="Second sphere"), 0.08)):
        shop.hand.do(
            CorrectShop,
            table="instruments",
            record_id=id,
            why="Both were tried on the grey tile.",
            changes={"inter_instrument_uncertainty": figure},
        )
    shop.job()
    first = shop.batch_with_card()
    hand = shop.hand
    hand.master(first.card, hand.read(first.card, GREY, instrument_id=shop.sphere))
    second = shop.batch_with_card()
    hand.read(second.card, GREY, instrument_id=id)
    verdict = verdict_on_batch(shop.file, second.batch)
    page = manager.open(shop.at(f"/verdicts/{verdict.root}"))
    assert "0.06 and 0.08 per channel, is in the uncertainty: 0.1." in page.main.text


def test_an_instrument_nobody_knows_is_said_so(painter):
    assert painter.open("/shop/instruments/00000000-0000-4000-8000-000000000000").status == 404

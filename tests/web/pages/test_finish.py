"""A finish: its batches against the master angle by angle, their spread, and what it is held to.

Differences are checked with scikit-image's own CIEDE2000, means and deviations with Python's
statistics module.
"""

import itertools
import statistics
from datetime import timedelta

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from service.domain.records.cards import Card
from service.domain.records.measuring import Verdict
from service.domain.terms import FinishKind, MasterLevel, Stage
from service.use_cases import closing, job, measuring
from tests.shop_hand import THREE_TIMES
from tests.web.pages.audit_shop import BLUE, MASTER, NEAR, AuditShop, table

LABS = {1: MASTER, 2: NEAR, 3: BLUE, 4: (44.6, -5.3, -19.6), 5: (45.3, -4.8, -20.3)}
"""Solid: by batch."""

MEANS = {
    number: tuple(np.mean([np.add(lab, noise) for noise in THREE_TIMES], axis=0).round(6))
    for number, lab in LABS.items()
}
"""What three repeats of each come to, by numpy."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    made = AuditShop(tmp_path_factory.mktemp("finish"))
    made.story()
    for number in (4, 5):
        made.sprayed(number, LABS[number])
    yield made
    made.close()


@pytest.fixture
def office(shop):
    return shop.browser(shop.manager)


def address(shop, finish=None):
    return f"/jobs/{shop.hand.job_id}/finishes/{finish or shop.hand.finish}"


def number(text):
    return float(text.replace("−", "-").replace("+", ""))


def rows_by_batch(sheet):
    return {int(row[0].removeprefix("Batch ")): row for row in table(sheet, "Against the master")}


def test_the_heading_names_the_batch_that_shows(shop, office):
    assert office.open(address(shop)).heading == "Batch 3 of Body shows against the master"


def test_every_batch_stands_in_spray_order_with_its_difference(shop, office):
    rows = rows_by_batch(office.open(address(shop)))
    assert list(rows) == [1, 2, 3, 4, 5]
    assert rows[1][6] == "The master’s own batch"
    for place in (2, 3, 4, 5):
        expected = deltaE_ciede2000(MEANS[1], MEANS[place])
        assert number(rows[place][2]) == pytest.approx(expected, abs=0.00501)
        deltas = np.subtract(MEANS[place], MEANS[1])
        assert [number(cell) for cell in rows[place][3:6]] == pytest.approx(deltas, abs=0.00501)
    assert rows[3][6].startswith("Shows")
    assert rows[2][6].startswith("Blends")


def test_the_spread_is_that_of_the_batches_about_the_master(shop, office):
    sheet = office.open(address(shop))
    deltas = [np.subtract(MEANS[n], MEANS[1]) for n in (2, 3, 4, 5)]
    mean, deviation = table(sheet, "4 batches read baked, against the master")
    for axis in range(3):
        values = [float(delta[axis]) for delta in deltas]
        assert number(mean[axis + 1]) == pytest.approx(statistics.mean(values), abs=0.00501)
        assert number(deviation[axis + 1]) == pytest.approx(statistics.stdev(values), abs=0.00501)


def test_the_widest_pair_is_the_widest_of_all_pairs(shop, office):
    pairs = {
        pair: float(deltaE_ciede2000(MEANS[pair[0]], MEANS[pair[1]]))
        for pair in itertools.combinations((2, 3, 4, 5), 2)
    }
    first, second = max(pairs, key=lambda pair: pairs[pair])
    heading = office.open(address(shop)).main.one("h2", id="spread").text
    assert heading == (
        f"Batches {first} and {second} lie furthest apart: {pairs[first, second]:.2f}"
    )


def test_the_charts_show_every_judged_batch_and_the_table_is_beside_them(shop, office):
    sheet = office.open(address(shop))
    strip, scatter = sheet.main.all("figure", class_="chart")
    assert len(strip.all("a", class_="point")) == 3 * 4  # ΔL*, Δa*, Δb* of four batches
    assert len(scatter.all("a", class_="point")) == 4
    assert strip.one("figcaption").text.startswith("Batch 3 lies furthest from the master: ")
    assert "darker" in strip.one("figcaption").text
    # By lightness alone batch 3 is out; in a*b* two of the four are, by scikit-image.
    flat = [(MEANS[1][0], MEANS[n][1], MEANS[n][2]) for n in (2, 3, 4, 5)]
    inside = sum(deltaE_ciede2000(MEANS[1], lab) <= 0.8 for lab in flat)
    assert scatter.one("figcaption").text == (
        f"As light as the master, {inside} of 4 batches would lie within the limit"
    )
    leads = {a.attributes["href"] for a in scatter.all("a", class_="point")}
    assert leads == {
        f"/jobs/{shop.hand.job_id}/batches/{shop.told.batches[n]}" for n in (2, 3, 4, 5)
    }


def test_what_batches_have_in_common_leads_a_manager_to_the_audit(shop, office):
    sheet = office.open(address(shop))
    lots = table(sheet, "By lot")
    assert [row[:2] for row in lots] == [["B-2", "1 of 1"], ["B-1", "0 of 3"]]
    assert sheet.link("B-2") == f"/audit?finish_id={shop.hand.finish}&lot=B-2"
    plain = shop.browser(shop.painter).open(address(shop))
    assert [row[:2] for row in table(plain, "By lot")] == [row[:2] for row in lots]
    assert not [a for a in plain.main.all("a") if a.text == "B-2"]


def test_angles_are_looked_at_one_by_one_and_the_worst_comes_first(tmp_path):
    shop = AuditShop(tmp_path)
    master = {15: (80.0, -1.0, -3.0), 45: (55.0, -1.5, -4.0), 110: (30.0, -1.0, -4.0)}
    flop = {**master, 110: (28.6, -0.9, -5.6)}
    face = {**master, 15: (80.2, -1.0, -3.1)}
    shop.hand.open(FinishKind.METALLIC, coats_to_hide=3)
    fields = {"geometry": "multi-angle", "specular": None}
    for number_, lab in ((1, master), (2, face), (3, flop)):
        shop.sprayed(number_, lab, **fields)
        if number_ == 1:
            shop.hand.master(shop.told.cards[1], shop.told.readings[1])
    office = shop.browser(shop.manager)
    sheet = office.open(address(shop))
    nav = sheet.main.one("nav", class_="angles")
    assert [a.text for a in nav.all("a")] == ["15°", "45°", "110°"]
    assert [a.text for a in nav.all("a") if "aria-current" in a.attributes] == ["110°"]
    rows = {row[0]: row for row in table(sheet, "Against the master at 110°")}
    expected = deltaE_ciede2000(master[110], flop[110])
    assert number(rows["Batch 3"][2]) == pytest.approx(expected, abs=0.02)
    face_on = office.open(nav.all("a")[0].attributes["href"])
    rows = {row[0]: row for row in table(face_on, "Against the master at 15°")}
    assert number(rows["Batch 2"][2]) == pytest.approx(
        deltaE_ciede2000(master[15], face[15]), abs=0.02
    )
    assert rows["Batch 3"][6].startswith("Shows")  # over all angles, here too
    shop.hand.on_job(
        job.SetPolicy,
        finish_id=shop.hand.finish,
        limits=job.Limits(angle_limits={"110": 3.0}),
        why="The flop forgives more",
    )
    # The charts of an angle are drawn with the limit that holds there.
    for angle, limit in ((110, "3.00"), (15, "0.80")):
        text = office.open(f"{address(shop)}?angle={angle}").main.text
        assert f"Limit {limit} against the master at {angle}°" in text
        assert f"The closed line is ΔE00 {limit} from the master" in text
    assert "0.80 everywhere else" in text and "3.00 at 110°" in text
    shop.close()


def test_limits_and_masters_are_shown_with_their_history(tmp_path):
    shop = AuditShop(tmp_path)
    told, hand = shop.story(), shop.hand
    hand.on_job(
        job.SetPolicy,
        finish_id=hand.finish,
        limits=job.Limits(limit_master=1.5, limit_origin="Agreed with the owner in writing"),
        why="The owner wants it by Friday.",
    )
    hand.clock += timedelta(hours=1)
    hand.on_job(
        closing.ApproveMaster,
        card_id=told.cards[2],
        reading_ids=(told.readings[2],),
        level=MasterLevel.WORKING,
        note="The first one is at the owner's.",
    )
    sheet = shop.browser(shop.manager).open(address(shop))
    held = next(s for s in sheet.main.all("section") if s.all("h2", id="held-to"))
    assert "1.50 against the master" in held.text
    assert "Agreed with the owner in writing" in held.text
    assert "The owner wants it by Friday." in held.text
    assert held.one("summary").text == "Earlier limits: 1"
    assert "0.80 everywhere" in held.one("details").text
    masters = table(sheet, "Approvals")
    assert [row[1] for row in masters] == ["Working in force", "Master"]
    assert masters[0][4:] == ["baked", "The first one is at the owner's."]
    assert masters[1][0].replace("-", "") == hand.file.get(Card, told.cards[1]).code
    shop.close()


def test_judging_again_keeps_what_was_said_and_uses_what_is_in_force(tmp_path):
    shop = AuditShop(tmp_path)
    told, hand = shop.story(), shop.hand
    hand.on_job(
        job.SetPolicy,
        finish_id=hand.finish,
        limits=job.Limits(limit_master=4.0, limit_origin="For a hidden part"),
        why="It is inside the boot.",
    )
    office = shop.browser(shop.manager)
    sheet = office.open(address(shop))
    assert sheet.heading == "Batch 3 of Body shows against the master"
    again = sheet.send()
    assert "judged again by what is in force now" in again.main.text
    assert again.heading == "All two judged batches of Body blend with the master"
    said = [v.word for v in hand.file.by(Verdict, "batch_id", told.batches[3])]
    assert said == ["shows", "blends"]
    shop.close()


def test_a_finish_without_a_master_says_what_to_do(tmp_path):
    shop = AuditShop(tmp_path)
    shop.hand.open(coats_to_hide=2)
    office = shop.browser(shop.painter)
    sheet = office.open(address(shop))
    assert sheet.heading == "Body has no master yet"
    assert "approve it as the master" in sheet.main.text
    shop.sprayed(1, MASTER)
    sheet = office.open(address(shop))
    assert rows_by_batch(sheet)[1][6] == "No master yet"
    shop.close()


def test_a_wet_card_keeps_its_place_and_no_figure(tmp_path):
    shop = AuditShop(tmp_path)
    told = shop.story()
    shop.hand.on_job(
        measuring.DropReading, reading_id=told.readings[2], why="Two cards were swapped."
    )
    shop.hand.read(told.cards[2], NEAR, stage=Stage.WET)
    sheet = shop.browser(shop.manager).open(address(shop))
    row = rows_by_batch(sheet)[2]
    assert row[2] == "–none" and row[6].startswith("Not comparable")
    assert sheet.heading == "Batch 3 of Body shows against the master"
    shop.close()


def test_an_unknown_finish_is_refused_in_words(shop, office):
    sheet = office.open(address(shop, shop.hand.job_id))
    assert sheet.status == 404
    assert "There is no finish" in sheet.main.text

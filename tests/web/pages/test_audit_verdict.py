"""A verdict's page: every number on it can be followed to the readings.

The difference is worked out again from the repeats the page prints, with scikit-image.
"""

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from service.domain.records.job import Finish
from service.domain.records.measuring import Verdict
from service.domain.terms import FinishKind
from service.use_cases import correcting, measuring
from service.use_cases import job as jobs
from tests.web.pages.audit_shop import BLUE, MASTER, NEAR, AuditShop, evidence, table


@pytest.fixture
def shop(tmp_path):
    made = AuditShop(tmp_path)
    made.story()
    yield made
    made.close()


@pytest.fixture
def manager(shop):
    return shop.browser(shop.manager)


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """The story, for tests that only look."""
    made = AuditShop(tmp_path_factory.mktemp("verdict"))
    made.story()
    yield made
    made.close()


@pytest.fixture
def office(told):
    return told.browser(told.manager)


def address(verdict):
    return f"/jobs/{verdict.job_id}/verdicts/{verdict.root}"


def number(text):
    return float(text.replace("−", "-").replace("+", ""))


def facts(sheet):
    found = {}
    for row in sheet.main.all("dl", class_="facts"):
        for pair in row.all("div"):
            found[pair.one("dt").text] = pair.one("dd").text
    return found


def repeats(sheet, of):
    """The repeats and the mean row printed for one card."""
    rows = table(sheet, f"Each repeat of {of}")
    return (
        [[number(cell) for cell in row[1:]] for row in rows if not row[0].startswith("Mean")],
        [[number(cell) for cell in row[1:]] for row in rows if row[0].startswith("Mean")],
    )


def test_the_number_follows_from_the_repeats_the_page_prints(told, office):
    verdict = told.verdict(batch_id=told.told.batches[3])
    sheet = office.open(address(verdict))
    assert sheet.heading == "Batch 3 would show against the master"
    assert sheet.main.one("h2", id="readings").text == "Two readings it rests on"
    master, master_mean = repeats(sheet, "Batch 1")
    card, card_mean = repeats(sheet, "Batch 3")
    assert len(master) == len(card) == 3
    assert master_mean[0] == pytest.approx(np.mean(master, axis=0), abs=5e-4)
    assert card_mean[0] == pytest.approx(np.mean(card, axis=0), abs=5e-4)
    seen = float(deltaE_ciede2000(np.mean(master, axis=0), np.mean(card, axis=0)))
    assert facts(sheet)["ΔE00"].startswith(f"{seen:.2f} ")
    rows = table(sheet, "Position in CIELAB units")
    assert [row[0] for row in rows] == ["L*", "a*", "b*"]
    assert [number(row[1]) for row in rows] == pytest.approx(np.mean(master, axis=0), abs=0.00501)
    difference = [number(row[3]) for row in rows]
    apart = np.mean(card, axis=0) - np.mean(master, axis=0)
    assert difference == pytest.approx(apart, abs=0.00501)


def test_limit_risk_look_power_formula_and_program_are_named_with_their_origin(told, office):
    verdict = told.verdict(batch_id=told.told.batches[2])
    found = facts(office.open(address(verdict)))
    assert found["Limit"].startswith("0.80 ΔE00 0.8: half of the observers")
    assert found["Risk of a wrong word"].startswith("5 %")
    assert "about the card and not about the panel" in found["Risk of a wrong word"]
    assert found["Look"].startswith("1 of 3 planned") and "1.7 %" in found["Look"]
    small = found["Chance of so small a difference, were the truth at the limit"]
    assert "blends needs less than 1.7 %" in small
    assert found["Power at no difference"].startswith("over 99.9 %")
    assert found["Formula"] == "CIEDE2000 k_L=1 k_C=1 k_H=1"
    assert found["Program"] == f"version {verdict.program_version}"
    assert found["Its number"] == verdict.id
    assert found["Standard uncertainty"].startswith(f"{verdict.standard_uncertainty:.3f}")
    assert "First Manager" in found["Master"]


def test_nothing_worked_out_is_said_to_be_certain(told, office):
    for number_ in (2, 3):
        sheet = office.open(address(told.verdict(batch_id=told.told.batches[number_])))
        for name, text in facts(sheet).items():
            if name.startswith(("Chance", "Power")):
                assert not text.startswith(("0 %", "100 %"))


def test_conditions_of_each_reading_are_told(told, office):
    sheet = office.open(address(told.verdict(batch_id=told.told.batches[3])))
    used = [article.text for article in sheet.main.all("article", class_="reading-used")]
    for text in used:
        assert "Baked" in text and "D65/10°, d:8, specular included" in text
        assert "surface at 22 °C" in text
        assert "standard uncertainty of one repeat 0.050" in text


def test_a_superseded_verdict_leads_to_the_one_that_took_its_place(shop, manager):
    first = shop.verdict(batch_id=shop.told.batches[3])
    shop.hand.read(shop.told.cards[3], (43.55, -4.9, -22.3))
    second = shop.verdict(batch_id=shop.told.batches[3])
    shop.hand.read(shop.told.cards[3], (43.5, -4.85, -22.35))
    third = shop.verdict(batch_id=shop.told.batches[3])
    assert len({first.root, second.root, third.root}) == 3
    old = manager.open(address(first))
    assert "superseded since" in old.main.text
    links = [a.attributes["href"] for a in old.main.one("p", class_="notice").all("a")]
    assert links == [address(second), address(third)]
    new = manager.open(address(third))
    assert "in force" in new.main.text and "superseded" not in new.main.text
    assert facts(new)["It took the place of"]
    assert not old.main.all("form") and new.main.all("form")


def test_a_reading_dropped_since_is_struck_out_with_its_reason(shop, manager):
    verdict = shop.verdict(batch_id=shop.told.batches[3])
    shop.hand.on_job(
        measuring.DropReading, reading_id=shop.told.readings[3], why="The glass was dirty."
    )
    sheet = manager.open(address(verdict))
    assert "Dropped since: The glass was dirty." in sheet.main.text
    assert len(sheet.main.all("tr", class_="dropped")) == 3


def test_a_reading_corrected_since_says_so_and_leads_to_its_history(shop, manager):
    verdict = shop.verdict(batch_id=shop.told.batches[3])
    shop.hand.do(
        correcting.Correct,
        job_id=shop.hand.job_id,
        table="readings",
        record_id=shop.told.readings[3],
        changes={"surface_temperature_c": 31.0},
        why="The wrong gauge was read.",
    )
    sheet = manager.open(address(verdict))
    assert "Corrected since." in sheet.main.text
    links = [a.attributes["href"] for a in sheet.main.all("a") if a.text == "Its history"]
    history = next(
        page for page in map(manager.open, links) if "was corrected once" in page.heading
    )
    assert table(history, "What changed") == [["Surface temperature, °C", "22", "31"]]


def test_each_angle_is_worked_out_by_itself(tmp_path):
    shop = AuditShop(tmp_path)
    master = {15: (80.0, -1.0, -3.0), 45: (55.0, -1.5, -4.0), 110: (30.0, -1.0, -4.0)}
    flop = {**master, 110: (28.6, -0.9, -5.6)}
    shop.hand.open(FinishKind.METALLIC, coats_to_hide=3)
    fields = {"geometry": "multi-angle", "specular": None}
    shop.sprayed(1, master, **fields)
    shop.hand.master(shop.told.cards[1], shop.told.readings[1])
    shop.sprayed(2, flop, **fields)
    verdict = shop.verdict(batch_id=shop.told.batches[2])
    sheet = shop.browser(shop.manager).open(address(verdict))
    rows = table(sheet, "The working of each angle")
    assert [row[0] for row in rows] == ["15°", "45°", "110° decided"]
    for row, one in zip(rows, evidence(verdict)["angles"], strict=True):
        angle = one["angle"]
        expected = deltaE_ciede2000(master[angle], flop[angle])
        assert number(row[2]) == pytest.approx(expected, abs=0.02)
        assert number(row[6]) == pytest.approx(one["standard_uncertainty"], abs=5.01e-4)
    assert "its share among 3 angles" in sheet.main.text
    shop.close()


def test_reasons_against_a_comparison_have_their_weight_and_remedy(tmp_path):
    shop = AuditShop(tmp_path)
    shop.story()
    shop.sprayed(4, BLUE, illuminant="D50", observer=2)
    sheet = shop.browser(shop.manager).open(address(shop.verdict(batch_id=shop.told.batches[4])))
    assert sheet.heading == "Batch 4 could not be compared with the master"
    rows = table(sheet, "Every reason")
    assert [row[1] for row in rows[:2]] == ["Stops the comparison"] * 2
    assert any("D50" in row[0] and "Set the instrument to D65" in row[2] for row in rows)
    shop.close()


def test_the_car_is_traced_to_the_reading_of_the_stored_card_in_its_own_job(tmp_path):
    shop = AuditShop(tmp_path)
    told, hand = shop.story(), shop.hand
    stored_job, stored_finish = hand.job_id, hand.finish
    hand.job_id = hand.do(
        jobs.OpenJob,
        work_order="W-later",
        title="Invented van, repair",
        repairs_job_id=stored_job,
        repairs_finish_id=stored_finish,
        damage="A stone chip",
    )
    finish = hand.file.all(Finish)[0].root
    panel = hand.on_job(jobs.AddPanel, finish_id=finish, name="Wing")
    hand.read(None, NEAR, panel_id=panel)
    (verdict,) = [v for v in hand.file.all(Verdict) if v.subject == "car"]
    sheet = shop.browser(shop.manager).open(address(verdict))
    assert sheet.heading == "The car at the wing blends with the stored card"
    stored, _ = repeats(sheet, "Batch 1, card")
    car, _ = repeats(sheet, "The car at the wing")
    seen = float(deltaE_ciede2000(np.mean(stored, axis=0), np.mean(car, axis=0)))
    assert facts(sheet)["ΔE00"].startswith(f"{seen:.2f} ")
    assert np.mean(stored, axis=0) == pytest.approx(MASTER, abs=0.01)
    assert told.cards
    shop.close()


def test_the_page_is_the_same_for_everybody(told):
    verdict = told.verdict(joint_id=told.told.joints["Wing Bonnet"])
    for person in (told.painter, told.hand.refinisher, told.manager):
        sheet = told.browser(person).open(address(verdict))
        assert sheet.heading == "Wing to Bonnet would show"
        assert facts(sheet)["Its number"] == verdict.id

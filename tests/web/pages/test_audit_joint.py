"""A joint: its two sides, what was said of it, and accepting it by name."""

import pytest

from service.domain.records.job import Acceptance, Joint
from service.domain.terms import EyeWord, JointKind, Look, Stage
from service.use_cases import job, measuring
from tests.web.pages.audit_shop import BLUE, AuditShop, table


@pytest.fixture
def shop(tmp_path):
    made = AuditShop(tmp_path)
    made.story()
    yield made
    made.close()


@pytest.fixture
def manager(shop):
    return shop.browser(shop.manager)


def address(shop, joint):
    return f"/jobs/{shop.hand.job_id}/joints/{shop.told.joints[joint]}"


def test_a_joint_that_shows_says_so_with_its_limit_and_both_sides(shop, manager):
    sheet = manager.open(address(shop, "Wing Bonnet"))
    assert sheet.heading == "Wing to Bonnet would show"
    said = sheet.main.one("p", class_="verdict-hero").text
    assert said.startswith("Shows") and "limit 0.80" in said and "darker" in said
    assert [h.text for h in sheet.main.all("h2")][:2] == ["Wing", "Bonnet"]
    assert sheet.main.text.count("It stands for this side: a card with the same coats.") == 2
    stacks = [stack.text for stack in sheet.main.all("ol", class_="stack-coats")]
    assert stacks == ["3 base coats of batch 1", "3 base coats of batch 3"]
    assert "Limit for a panel gap 0.80" in sheet.main.text


def test_the_two_cards_touch_as_swatches_that_say_they_prove_nothing(shop, manager):
    sheet = manager.open(address(shop, "Wing Bonnet"))
    names = [item.text for item in sheet.main.one("ol", class_="swatch-names").all("li")]
    assert names == ["Left: Wing, batch 1", "Right: Bonnet, batch 3"]
    assert "Screen picture only. Compare the card itself." in sheet.main.text


def test_a_joint_that_blends_asks_for_no_acceptance(shop, manager):
    sheet = manager.open(address(shop, "Wing Door"))
    assert sheet.heading == "Wing to Door blends"
    assert not sheet.main.all("textarea")


def test_accepting_needs_a_reason_and_stands_with_the_name(shop, manager):
    sheet = manager.open(address(shop, "Wing Bonnet"))
    refused = sheet.send(why=" ")
    assert refused.status == 422
    assert refused.errors == ["The reason is missing. Say why it may stay as it is."]
    assert refused.heading == "Wing to Bonnet: accept it as it is?"
    assert not shop.hand.file.all(Acceptance)
    taken = refused.send(why="Hidden under the badge.")
    assert taken.heading == "Wing to Bonnet would show, and is accepted"
    assert "It is accepted, with your name and reason." in taken.main.text
    assert "Accepted by First Manager" in taken.main.text
    assert "“Hidden under the badge.”" in taken.main.text
    assert not taken.main.all("textarea")


def test_a_later_verdict_needs_a_new_word(shop, manager):
    manager.open(address(shop, "Wing Bonnet")).send(why="Hidden under the badge.")
    shop.hand.read(shop.told.cards[3], (43.5, -4.9, -22.4))
    sheet = manager.open(address(shop, "Wing Bonnet"))
    assert sheet.heading == "Wing to Bonnet would show"
    assert "It was about an earlier verdict and holds no longer." in sheet.main.text
    assert sheet.main.all("textarea")
    assert len(sheet.main.one("ol", class_="earlier-verdicts").all("li")) == 1


def test_only_a_manager_is_offered_to_accept(shop):
    sheet = shop.browser(shop.painter).open(address(shop, "Wing Bonnet"))
    assert sheet.status == 200
    assert not sheet.main.all("textarea")
    sent = shop.browser(shop.painter).post(
        f"/jobs/{shop.hand.job_id}/accept", {"joint_id": ["x"], "why": ["because"]}
    )
    assert sent.status == 403


def test_a_side_without_a_card_says_why_and_what_to_do(shop, manager):
    shop.panel("Sill", y=3.0)
    shop.joint("Door", "Sill", JointKind.BUTT)
    sheet = manager.open(address(shop, "Door Sill"))
    assert sheet.heading == "Door to Sill cannot be judged: no card stands for sill"
    assert "No card stands for this side: no colour coat is logged there." in sheet.main.text
    assert "Log its coats, or wait until it is sprayed." in sheet.main.text
    assert "Limit for a butt joint" in sheet.main.text


def test_a_joint_whose_card_was_never_read_waits(shop, manager):
    shop.panel("Sill", y=3.0)
    shop.joint("Door", "Sill")
    shop.sprayed(4, None, panels=("Sill",))
    sheet = manager.open(address(shop, "Door Sill"))
    assert sheet.heading == "Door to Sill waits for a reading"
    assert "It was never read." in sheet.main.text


def test_one_batch_on_both_sides_is_nothing_to_judge(shop, manager):
    shop.panel("Sill", y=3.0)
    shop.joint("Bonnet", "Sill")
    shop.hand.spray(shop.told.batches[3], panel_ids=(shop.told.panels["Sill"],))
    sheet = manager.open(address(shop, "Bonnet Sill"))
    assert sheet.heading == "Bonnet to Sill is of one batch, so there is nothing to judge"


def test_what_cannot_be_compared_names_every_reason_with_its_remedy(shop, manager):
    shop.panel("Sill", y=3.0)
    shop.joint("Door", "Sill")
    shop.sprayed(4, BLUE, panels=("Sill",), stage=Stage.BAKED, illuminant="D50", observer=2)
    sheet = manager.open(address(shop, "Door Sill"))
    assert sheet.heading == "Door to Sill cannot be compared"
    reasons = [item.text for item in sheet.main.one("ul", class_="reasons").all("li")]
    assert len(reasons) >= 2
    assert any("D65" in reason and "D50" in reason and "read" in reason for reason in reasons)


def test_a_new_limit_says_that_the_verdict_has_the_old_one(shop, manager):
    shop.hand.on_job(
        job.SetPolicy,
        finish_id=shop.hand.finish,
        limits=job.Limits(limit_gap=3.0, limit_origin="Seen from five metres"),
        why="A lorry.",
    )
    sheet = manager.open(address(shop, "Wing Bonnet"))
    assert "Limit for a panel gap 3.00" in sheet.main.text
    assert "Limit it was judged by 0.80" in sheet.main.text


def test_eye_checks_of_the_two_cards_stand_beside_the_measurement(shop, manager):
    shop.hand.on_job(
        measuring.LogEyeCheck,
        by=shop.hand.refinisher,
        card_id=shop.told.cards[3],
        against_card_id=shop.told.cards[1],
        look=Look.FACE,
        light="daylight tubes",
        word=EyeWord.JUST_SEEN,
    )
    rows = table(manager.open(address(shop, "Wing Bonnet")), "Eye checks")
    assert rows[0][:4] == ["Just seen", "Face", "daylight tubes", "Ray"]


def test_a_joint_that_is_not_there_is_refused_in_words(shop, manager):
    sheet = manager.open(f"/jobs/{shop.hand.job_id}/joints/{shop.hand.job_id}")
    assert sheet.status == 404 and "There is no joint" in sheet.main.text
    assert shop.hand.file.all(Joint)

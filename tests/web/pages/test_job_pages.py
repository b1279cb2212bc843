"""A job's page answers first; setting one up takes ticks, not typing."""

from __future__ import annotations

import pytest

from service.domain.records.job import Finish, Job, Joint, Panel, Policy
from service.domain.records.spraying import Bake, Finishing
from service.domain.terms import FinishingKind, JointKind
from service.use_cases.closing import Accept
from tests.web.pages.bench_shop import COMPONENTS, DARK_RED, BenchShop


@pytest.fixture
def shop(tmp_path):
    made = BenchShop(tmp_path)
    yield made
    made.close()


def job_page(shop, query=""):
    return shop.browser().open(shop.at(query))


def a_joint_that_shows(shop):
    shop.job()
    first = shop.batch_with_card(shop.wing, DARK_RED)
    shop.hand.master(first.card, first.reading)
    return shop.batch_with_card(shop.door, (33.4, 38.0, 20.0))


def test_a_job_is_set_up_with_ticks(shop):
    browser = shop.browser()
    page = browser.open("/jobs/new").send(work_order="W-7", title="Invented estate")
    page = page.send(name="Body", kind="metallic", coats_to_hide="2")
    page = page.send(common=["Bonnet", "Left front wing", "Right front wing", "Roof"])
    assert page.heading == "Where does an edge meet the eye?"
    pairs = page.choices("likely")
    assert (
        "Left front wing to Bonnet" in pairs and "Left front wing to Right front wing" not in pairs
    )
    page = page.send(
        likely=[pairs["Left front wing to Bonnet"], pairs["Bonnet to Roof"]], kind="gap"
    )
    assert page.heading == "Nothing is sprayed on this job yet"
    file = shop.store.job(page.address.split("/")[2].split("?")[0])
    assert {p.name for p in file.all(Panel)} == {
        "Bonnet",
        "Left front wing",
        "Right front wing",
        "Roof",
    }
    assert {j.kind for j in file.all(Joint)} == {JointKind.GAP} and len(file.all(Joint)) == 2
    assert file.all(Policy)[0].required_angles == (15, 45, 110)
    assert "15°, 45°, 110°" in page.main.text
    assert "half of the observers in a dental study" in page.main.text


def test_panels_sent_twice_are_added_once(shop):
    shop.job()
    page = shop.browser().open(shop.at("/panels/new"))
    for _ in range(2):
        page.send(common=["Roof", "Bonnet"], name="Spoiler", x="1", y="5")
    names = sorted(p.name for p in shop.file.all(Panel))
    assert names == ["Bonnet", "Left door", "Left wing", "Roof", "Spoiler"]


def test_a_job_without_its_work_order_is_refused_and_keeps_its_title(shop):
    page = shop.browser().open("/jobs/new").send(title="Invented estate")
    assert page.status == 422
    assert page.errors == ["The work order is missing. Fill it in."]
    assert page.fields()["title"] == ["Invented estate"]


def test_a_work_order_that_has_a_job_is_refused(shop):
    shop.job()
    taken = shop.file.get(Job, shop.file.chain)
    page = shop.browser().open("/jobs/new").send(work_order=taken.work_order, title="Again")
    assert page.status == 409
    assert "already has a job" in page.errors[0]


def test_the_heading_and_the_first_finding_say_what_would_show(shop):
    second = a_joint_that_shows(shop)
    page = job_page(shop)
    assert page.heading == "One joint on this job would show"
    first = page.main.all("li", class_="finding")[0]
    assert "Batch 2 on the left door would show against batch 1 on the left wing" in first.text
    assert "Spray both sides from one batch" in first.text
    assert first.one("a").attributes["href"] == shop.at(f"/joints/{shop.gap}")
    assert "1 of 1 joint judged" in page.document.text
    joint = page.main.one("ol", class_="joints").all("li")[0]
    assert joint.text.startswith("Left wing to Left door panel gap Shows 1.")
    # The map holds the same joint, broken as in the seam mark.
    assert len(page.main.all("a", class_="seam-shows")) == 1
    assert shop.at(f"/batches/{second.batch}") in page.html


def test_an_accepted_joint_no_longer_heads_the_page(shop):
    second = a_joint_that_shows(shop)
    shop.hand.on_job(Accept, why="Hidden by the handle.", joint_id=shop.gap)
    assert job_page(shop).heading == "Batch 2 would show against the master"
    shop.hand.on_job(Accept, why="Hidden by the handle.", batch_id=second.batch)
    assert job_page(shop).heading == "Nothing on this job shows that was not accepted"


def test_a_job_where_all_blends_says_so(shop):
    shop.job()
    first = shop.batch_with_card(shop.wing, DARK_RED)
    shop.hand.master(first.card, first.reading)
    shop.batch_with_card(shop.door, (32.05, 38.0, 20.05))
    page = job_page(shop)
    assert page.heading == "The joint on this job blends"
    assert "Nothing stands against this job." in page.main.text


def test_batches_stand_in_spray_order_with_what_was_said_of_them(shop):
    a_joint_that_shows(shop)
    shop.hand.batch(components=COMPONENTS, role="clear")
    page = job_page(shop)
    batches = page.main.one("ol", class_="batches").all("li")
    assert [item.one("a").text for item in batches] == ["Batch 1", "Batch 2", "Batch 3"]
    assert "Its card is the master." in batches[0].text and "lot B-77, R-3" in batches[0].text
    assert "Shows 1." in batches[1].text
    assert "Clear is not judged by colour." in batches[2].text
    names = page.main.one("ol", class_="swatch-names").text
    assert names == "1. Master 2. Batch 2" or names == "Left: Master Right: Batch 2"


def test_joints_of_one_batch_and_of_two_finishes_are_no_joints_to_judge(shop):
    shop.job()
    batch = shop.hand.batch(components=COMPONENTS)
    shop.hand.spray(batch, panel_ids=(shop.wing, shop.door))
    page = job_page(shop)
    assert "One joint has one batch on both sides, so there is nothing to judge." in page.main.text


def test_a_long_job_folds_its_lists_and_opens_them_on_asking(shop):
    shop.job()
    for _ in range(26):
        shop.hand.batch(components=COMPONENTS)
    page = job_page(shop)
    batches = page.main.one("ol", class_="batches").all("li")
    assert [batches[0].one("a").text, batches[-1].one("a").text] == ["Batch 3", "Batch 26"]
    whole = page.follow("Show all 26")
    assert len(whole.main.one("ol", class_="batches").all("li")) == 26


def test_only_a_manager_changes_the_limits(shop):
    shop.job()
    path = shop.at(f"/finishes/{shop.hand.finish}/limits")
    refused = shop.browser().open(path)
    assert refused.status == 403
    assert "Change the limits" not in [a.text for a in job_page(shop).main.all("a")]
    page = shop.browser(shop.manager).open(shop.at()).follow("Change the limits")
    assert page.heading == "Body is held to 0.80 against its master"
    page = page.send(limit_gap="1,1", limit_origin="Our own panel tests", why="Measured in May")
    assert "1.10 at a gap" in page.main.text and "Our own panel tests" in page.main.text
    old, new = shop.file.all(Policy)
    assert (old.limit_gap, new.limit_gap, new.reason) == (0.8, 1.1, "Measured in May")
    assert (new.risk, new.planned_looks, new.grades) == (0.05, 3, {})


def test_how_like_with_like_is_graded_is_part_of_the_limits(shop):
    shop.job()
    browser = shop.browser(shop.manager)
    path = shop.at(f"/finishes/{shop.hand.finish}/limits")
    page = browser.open(path)
    page.send(
        grade__unlike_polish="only_cannot_tell", widening__temperature_unknown="0,1", why="Ours"
    )
    policy = shop.file.all(Policy)[-1]
    assert policy.grades == {"unlike_polish": "only_cannot_tell"}
    assert policy.widening == {"temperature_unknown": 0.1}
    # What is in force stands in the form, so saving it again changes nothing of it.
    browser.open(path).send(why="Again")
    assert shop.file.all(Policy)[-1].grades == policy.grades
    assert shop.file.all(Policy)[-1].widening == policy.widening


def test_limits_without_a_reason_or_out_of_range_are_refused(shop):
    shop.job()
    page = shop.browser(shop.manager).open(shop.at(f"/finishes/{shop.hand.finish}/limits"))
    page = page.send(limit_gap="x", risk_percent="60")
    assert page.status == 422
    assert page.errors == [
        "The risk lies between 0.1 % and 25 %, not 60 %. Enter it.",
        "'x' is no number. Enter one, like 12.5 or 12,5.",
        "A new limit needs a reason. Say where it comes from.",
    ]
    assert page.fields()["risk_percent"] == ["60"]


def test_a_bake_holds_for_panels_and_cards_together(shop):
    product = shop.product(bake_minutes=30.0, bake_temperature_c=60.0)
    shop.job()
    batch = shop.hand.batch(components=COMPONENTS, product_id=product)
    card = shop.hand.card(batch)
    page = shop.browser().open(shop.at("/bakes/new"))
    assert "30 min at 60 °C (140 °F)" in page.main.text.replace("\u202f", " ")
    assert "an oven and the panels in it stay hot" in page.main.text
    assert page.fields()["card_ids"] == [card]
    page = page.send(
        panel_ids=[shop.wing],
        minutes="40",
        temperature_c="145",
        temperature_c__unit="F",
        temperature_of="metal",
    )
    assert "The bake is on record." in page.main.text
    assert "Cooling after the last bake" in page.main.text
    assert "common practice, no source; down to about 23 °C" in page.main.text.replace(
        "Common", "common"
    )
    bakes = shop.file.all(Bake)
    assert {b.panel_id or b.card_id for b in bakes} == {shop.wing, card}
    # 145 °F is 62.8 °C (NIST SP 811).
    assert bakes[0].temperature_c == pytest.approx(62.7778, abs=1e-4)
    again = shop.browser().open(shop.at("/bakes/new"))
    assert again.fields()["minutes"] == ["40"] and "card_ids" not in again.fields()


def test_an_empty_oven_is_refused(shop):
    shop.job()
    page = shop.browser().open(shop.at("/bakes/new"))
    page = page.send(minutes="40", temperature_c="60", temperature_of="air")
    assert page.errors == ["Nothing was baked. Name the panels and cards in the oven."]


def test_cutting_goes_on_from_the_last_paper_and_says_what_is_practice(shop):
    shop.job()
    card = shop.hand.card(shop.hand.batch())
    page = shop.browser().open(shop.at("/finishings/new"))
    assert "common practice, not a rule of any product" in page.main.text
    assert list(page.choices("step").values())[:5] == ["1000", "1500", "2000", "2500", "3000"]
    page.send(step="2000", card_ids=[card])
    page = shop.browser().open(shop.at("/finishings/new"))
    assert page.fields()["step"] == ["2500"] and page.fields()["card_ids"] == [card]
    page.send(step="other", other_grit="5000")
    shop.browser().open(shop.at("/finishings/new")).send(step="polish")
    steps = [(f.kind, f.grit) for f in shop.file.all(Finishing)]
    assert steps == [
        (FinishingKind.CUT, 2000),
        (FinishingKind.CUT, 5000),
        (FinishingKind.POLISH, None),
    ]


def test_another_grit_needs_its_number(shop):
    shop.job()
    page = shop.browser().open(shop.at("/finishings/new")).send(step="other")
    assert page.errors == ["Cutting needs its grit. Enter the number on the paper."]


def test_a_second_finish_stands_beside_the_first(shop):
    shop.job()
    page = shop.browser().open(shop.at("/finishes/new"))
    assert page.heading == "Which further colour is it sprayed in?"
    page = page.send(name="Roof", kind="solid")
    assert {f.name for f in shop.file.all(Finish)} == {"Body", "Roof"}
    refused = shop.browser().open(shop.at("/finishes/new")).send(name="roof", kind="solid")
    assert refused.status == 409 and "already has a finish" in refused.errors[0]


def test_a_joint_between_areas_is_named_by_its_two_places(shop):
    shop.job()
    browser = shop.browser()
    browser.open(shop.at("/areas/new")).send(panel_id=shop.door, areas=["Front", "Rear"])
    page = browser.open(shop.at("/joints/new"))
    places = page.choices("one")
    page.send(one=places["Left wing"], other=places["Left door, Front"], kind="butt")
    made = shop.file.all(Joint)[-1]
    assert (made.kind, made.panel_a, made.panel_b) == (JointKind.BUTT, shop.wing, shop.door)
    assert made.area_a is None and made.area_b is not None

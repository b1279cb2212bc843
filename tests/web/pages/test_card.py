"""The page of a card: what it is, where it is, what was said and read; and what it lets do."""

import io
from datetime import timedelta

import pytest
from coloraide import Color
from PIL import Image

from service.domain.card_code import grouped, new_card_code
from service.domain.lookups import whereabouts
from service.domain.records.cards import Card, Movement, Photo
from service.domain.records.measuring import EyeCheck, Master
from service.domain.terms import (
    EyeWord,
    FinishingKind,
    FinishKind,
    Look,
    MasterLevel,
    MovementKind,
    ZoneState,
)
from service.use_cases.cards import AddZone, CardZone, PullCard, ReportMissing
from service.use_cases.measuring import DropReading
from service.use_cases.spraying import FinishSurface
from tests.web.pages.rack_shop import GREEN, NEAR, YELLOWER, RackShop, codes_in, form_of, send


@pytest.fixture
def shop(tmp_path):
    shop = RackShop(tmp_path)
    shop.story()
    yield shop
    shop.close()


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """The story, to be read only."""
    shop = RackShop(tmp_path_factory.mktemp("cards"))
    shop.story()
    yield shop
    shop.close()


def opened(shop, hung, person=None):
    return shop.browser(person or shop.refinisher).open(f"/c/{hung.code}")


@pytest.mark.parametrize("path", ["/c/", "/C/"])
def test_any_typing_of_the_code_leads_to_the_one_address(told, path):
    code = told.good.code
    sheet = told.refinishing().open(path + grouped(code).lower())
    assert sheet.address == f"/c/{code}"


def test_a_fresh_label_that_is_scanned_leads_to_the_bench(told):
    code = new_card_code()
    sheet = told.refinishing().open(f"/c/{grouped(code)}")
    assert sheet.address == f"/bench?code={code}"
    assert sheet.heading == f"No card has the label {grouped(code)} yet"


@pytest.mark.parametrize("path", ["/c/", "/C/"])
def test_a_label_that_was_misread_leads_to_the_cards_it_may_be(told, path):
    code = told.good.code
    sheet = told.refinishing().open(path + code[1] + code[0] + code[2:])
    if code[0] != code[1]:
        assert sheet.heading == "That code has a slip in it" and code in sheet.html


def test_what_cannot_be_a_code_is_searched_for(told):
    assert told.refinishing().open("/c/wing").address == "/rack?text=wing"


def test_the_heading_says_where_it_is_and_what(told):
    assert opened(told, told.good).heading == "In slot A-03: batch 2 of Body"
    assert opened(told, told.master).heading == "In slot A-01: the master of Body"


def test_the_verdict_has_its_number_range_and_limit(told):
    sheet = opened(told, told.bad)
    said = sheet.main.one("p", class_="verdict-hero").text
    expected = Color("lab-d65", list(GREEN)).delta_e(
        Color("lab-d65", list(YELLOWER)), method="2000"
    )
    assert "Shows" in said and f"{expected:.2f}" in said and "limit 0.80" in said
    assert "yellower" in said and " to " in said
    row = [r.text for r in sheet.main.all("tr") if "+0.30" in r.text]
    assert row and "+0.40" in row[0] and "+2.40" in row[0]


def test_the_swatches_stand_side_by_side_and_say_what_they_are(told):
    figure = opened(told, told.bad).main.one("figure", class_="swatches")
    assert "Screen picture only. Compare the card itself." in figure.text
    assert "Left: Master" in figure.text and "Right: Batch 3" in figure.text
    fills = [p.attributes["fill"] for p in figure.all("path") if "fill" in p.attributes]
    assert fills[0] == "#777777" and len(set(fills)) == 3


def test_the_mix_and_the_gun_are_told(told):
    text = opened(told, told.good).main.text
    for said in ("Deep fir base", "B-77", "Formula F-31", "base gun 2", "29 psi", "12 min"):
        assert said in text
    assert "40 min at 63 °C (145.4 °F)" in text


def test_every_repeat_and_its_conditions_are_told(told):
    text = opened(told, told.good).main.text
    assert "D65/10°, d:8, specular included" in text
    for value in ("22.13", "22.08", "22.09"):
        assert value in text


def test_the_joints_it_stands_for_are_listed(told):
    joints = opened(told, told.bad).main.one("ol", class_="joints")
    assert "Left wing to Left door" in joints.text and "Shows" in joints.text


def test_a_dropped_reading_stays_with_its_reason(shop):
    later = shop.hand.read(shop.good.card, (60, 0, 0))
    shop.hand.on_job(DropReading, reading_id=later, why="The lamp was cold")
    sheet = opened(shop, shop.good)
    assert "Dropped: The lamp was cold" in sheet.main.text
    assert sheet.main.one("h2", id="readings").text == "Read once"


def test_why_two_readings_cannot_be_compared_is_said_at_the_top(shop):
    shop.hand.read(shop.good.card, NEAR, illuminant="A")
    said = opened(shop, shop.good).main.one("section", class_="card-said")
    assert "Not comparable" in said.text and "under D65" in said.text and "under A" in said.text


def test_drift_is_told_once_there_is_one(shop):
    assert "beside that of" not in opened(shop, shop.good).main.text
    shop.hand.clock += timedelta(hours=3)
    shop.hand.read(shop.good.card, (NEAR[0] + 0.5, *NEAR[1:]))
    table = next(t for t in opened(shop, shop.good).main.all("table") if "beside that of" in t.text)
    assert "+0.50" in table.text and "u 0." in table.text


def test_zones_and_finishing_are_told_with_grits_in_one_line(shop):
    half = CardZone(name="half", state=ZoneState.CUT_AND_POLISHED, cleared=True)
    zone = shop.hand.on_job(AddZone, card_id=shop.good.card, zone=half)
    for grit in (1500, 3000):
        shop.hand.on_job(FinishSurface, kind=FinishingKind.CUT, grit=grit, zone_id=zone)
    text = opened(shop, shop.good).main.text
    assert "P1500, P3000, zone half" in text
    assert "Zone half Cut and polished" in text


def test_everybody_sees_the_buttons_of_what_they_may_do(told):
    painter = opened(told, told.good, told.painter).main.text
    refinisher = opened(told, told.good).main.text
    assert "Approve it as the master" not in painter
    for text in ("Start a repair from it", "Read it", "Log an eye check", "Add a photograph"):
        assert text in painter and text in refinisher
    assert "Approve it as the master" in refinisher


# Taking out and bringing back


def moves(shop, hung):
    return shop.store.job(shop.stored_job).by(Movement, "card_id", hung.card)


def test_a_card_is_taken_out_with_a_reason(shop):
    sheet = send(opened(shop, shop.spare), "/pull", pull__why="To hold beside the car")
    assert sheet.address == f"/c/{shop.spare.code}?saved=pull"
    assert sheet.heading == "Out with Ray: batch 1 of Body"
    assert "Ray has it" in sheet.main.text and "To hold beside the car" in sheet.main.text
    (move,) = moves(shop, shop.spare)
    assert move.kind is MovementKind.PULLED and move.holder_id == shop.refinisher


def test_more_can_be_said_of_the_reason(shop):
    send(
        opened(shop, shop.spare),
        "/pull",
        pull__why="For something else",
        pull__why_more="The insurer asked",
    )
    assert moves(shop, shop.spare)[0].why == "For something else: The insurer asked"


def test_without_a_reason_it_stays_and_what_was_typed_too(shop):
    sheet = send(opened(shop, shop.spare), "/pull")
    assert sheet.status == 422
    assert sheet.errors == ["The reason is missing. Fill it in."]
    assert "#f-pull.why" in [a.attributes["href"] for a in sheet.main.all("a")]
    assert moves(shop, shop.spare) == []


def test_the_same_form_sent_twice_takes_it_out_once(shop):
    sheet = opened(shop, shop.spare)
    for _ in range(2):
        send(sheet, "/pull", pull__why="To measure it again")
    assert len(moves(shop, shop.spare)) == 1


@pytest.mark.parametrize("name", ["master", "good"])
def test_the_master_and_the_last_card_are_left_to_a_manager(shop, name):
    hung = getattr(shop, name)
    sheet = opened(shop, hung)
    assert "only a manager takes it out" in sheet.main.text
    refused = sheet.browser.post(
        f"/c/{hung.code}/pull",
        {"id": ["0f2ec1b7-5c46-4b1e-9f5f-2a54e7b6f001"], "pull.why": ["To see"]},
    )
    assert refused.status == 403 and "Only a manager may pull" in refused.errors[0]
    done = send(opened(shop, hung, shop.manager), "/pull", pull__why="To measure it again")
    assert done.heading.startswith("Out with First Manager")


def test_it_comes_back_with_a_look_at_its_state_and_into_another_slot(shop):
    shop.hand.on_job(PullCard, card_id=shop.spare.card, why="To see")
    sheet = opened(shop, shop.spare)
    slot = form_of(sheet, "/return").one("input", name="return.slot")
    assert slot.attributes["value"] == "A-02"
    back = send(
        sheet,
        "/return",
        return__state="Scratched or chipped",
        return__state_more="upper corner",
        return__slot="b-09",
    )
    assert back.heading == "In slot B-09: batch 1 of Body"
    move = moves(shop, shop.spare)[-1]
    assert (move.state, move.slot) == ("Scratched or chipped: upper corner", "B-09")
    assert "brought it back, into slot B-09" in back.main.text


def test_nobody_brings_a_card_back_without_looking_at_it(shop):
    shop.hand.on_job(PullCard, card_id=shop.spare.card, why="To see")
    sheet = send(opened(shop, shop.spare), "/return", return__slot="C-1")
    assert sheet.status == 422 and "How the card looks is missing" in sheet.errors[0]
    assert form_of(sheet, "/return").one("input", name="return.slot").attributes["value"] == "C-1"


def test_a_card_that_is_gone_is_marked_missing_and_can_come_back(shop):
    sheet = send(opened(shop, shop.spare), "/missing", missing__why="Not in its slot")
    assert sheet.heading == "Missing: batch 1 of Body"
    assert "As physical proof it is gone" in sheet.main.text
    back = send(sheet, "/return", return__state="As it was")
    assert back.heading == "In slot A-02: batch 1 of Body"


def test_marking_missing_wants_a_word_on_where_it_was_looked_for(shop):
    sheet = send(opened(shop, shop.spare), "/missing")
    assert sheet.status == 422 and "#f-missing.why" in sheet.html
    place = shop.store.job(shop.stored_job).get(Card, shop.spare.card)
    assert whereabouts(shop.store.job(shop.stored_job), place).place == "in"


def test_a_card_taken_meanwhile_says_who_has_it(shop):
    sheet = opened(shop, shop.spare)
    shop.hand.on_job(PullCard, card_id=shop.spare.card, why="To see")
    refused = send(sheet, "/pull", pull__why="To measure it again")
    assert refused.status == 409
    assert "is out with First Manager. Ask for it there." in refused.errors[0]


def test_a_missing_card_is_not_taken_out(shop):
    sheet = opened(shop, shop.spare)
    shop.hand.on_job(ReportMissing, card_id=shop.spare.card, why="Gone")
    refused = send(sheet, "/pull", pull__why="To measure it again")
    assert refused.status == 409 and "marked missing" in refused.errors[0]


# Eye checks


def eye(shop, hung=None):
    return shop.refinishing().open(f"/c/{(hung or shop.bad).code}/eye-checks/new")


def test_the_form_of_an_eye_check_keeps_the_measured_verdict_off(told):
    sheet = eye(told)
    assert not sheet.main.all("svg", class_="mark") and "Shows" not in sheet.main.text
    assert list(sheet.choices("look.face")) == ["No difference", "Just seen", "Clearly seen"]
    # A solid has no flop.
    assert not sheet.main.all("input", name="look.flop")


def test_what_was_seen_stands_beside_the_measured_verdict(shop):
    sheet = eye(shop).send(light="north window, overcast", look__face="no_difference")
    assert sheet.address == f"/c/{shop.bad.code}?saved=eye"
    section = next(s for s in sheet.main.all("section") if s.has(**{"aria-labelledby": "eyes"}))
    assert "No difference at the face" in section.text and "Shows" in section.text
    (check,) = shop.store.job(shop.stored_job).all(EyeCheck)
    assert check.word is EyeWord.NO_DIFFERENCE and check.against_card_id == shop.master.card


def test_an_effect_finish_is_looked_at_from_three_sides_in_one_form(tmp_path):
    shop = RackShop(tmp_path)
    shop.hand.open(FinishKind.METALLIC)
    panel = shop.hand.panel("Roof")
    hung = shop.hung(None, "A-1")
    sheet = eye(shop, hung)
    done = sheet.send(
        light="the sun",
        against=f"panel:{panel}",
        look__face="no_difference",
        look__middle=None,
        look__flop="clearly_seen",
        note="Darker as it turns",
    )
    assert "Clearly seen at the flop, against Roof" in done.main.text
    checks = shop.hand.file.all(EyeCheck)
    assert [c.look for c in checks] == [Look.FACE, Look.FLOP]
    shop.close()


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"light": "the sun"}, "Nothing was answered"),
        ({"look__face": "just_seen", "light": ""}, "light is missing"),
        ({"look__face": "perhaps", "light": "the sun"}, "'perhaps' is unknown"),
    ],
)
def test_an_eye_check_that_says_too_little_is_refused_and_kept(shop, fields, said):
    sheet = eye(shop).send(note="Kept", **fields)
    assert sheet.status == 422 and said in sheet.errors[0]
    assert sheet.main.one("input", name="note").attributes["value"] == "Kept"
    assert shop.store.job(shop.stored_job).all(EyeCheck) == []


# Photographs


def picture(kind="JPEG", size=(640, 480)):
    out = io.BytesIO()
    Image.new("RGB", size, (30, 60, 40)).save(out, kind)
    return out.getvalue()


def sent_photo(shop, content, caption="Lower corner"):
    browser = shop.refinishing()
    sheet = browser.open(f"/c/{shop.good.code}/photos/new")
    answer = browser.client.post(
        f"/c/{shop.good.code}/photos/new",
        data={"id": sheet.fields()["id"][0], "caption": caption},
        files={"photo": ("card.jpg", content)} if content else {},
    )
    return browser._sheet(answer)


def test_a_photograph_is_kept_as_it_came_and_shown_made_anew(shop):
    content = picture()
    sheet = sent_photo(shop, content)
    image = sheet.main.one("img")
    assert image.attributes["alt"] == "Lower corner"
    (photo,) = shop.store.job(shop.stored_job).all(Photo)
    photos = shop.app.state.services.shop.photos
    assert photos.get(photo.sha256) == content
    served = sheet.browser.client.get(image.attributes["src"])
    assert served.headers["content-type"] == "image/jpeg" and served.content != content
    assert Image.open(io.BytesIO(served.content)).size == (640, 480)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "No photograph was chosen"),
        (b"%PDF-1.7 not a picture", "a PDF document, which is not taken"),
        (b"GIF89a" + b"\0" * 40, "a GIF picture, which is not taken"),
    ],
    ids=["nothing", "pdf", "gif"],
)
def test_what_is_no_photograph_is_refused_at_its_field(shop, content, said):
    sheet = sent_photo(shop, content)
    assert sheet.status == 422 and said in sheet.errors[0]
    assert sheet.main.one("input", name="caption").attributes["value"] == "Lower corner"
    assert shop.store.job(shop.stored_job).all(Photo) == []


def test_a_photograph_of_more_than_two_mebibytes_comes_through(shop):
    noise = Image.effect_noise((1800, 1800), 90).convert("RGB")
    out = io.BytesIO()
    noise.save(out, "JPEG", quality=97)
    assert len(out.getvalue()) > 2 * 2**20
    assert sent_photo(shop, out.getvalue()).main.one("img")


def test_one_that_is_too_large_is_turned_away(shop):
    assert sent_photo(shop, b"\xff" * (41 * 2**20)).status == 413
    assert shop.store.job(shop.stored_job).all(Photo) == []


# Masters


def test_a_card_is_approved_with_one_reading_a_stage(shop):
    sheet = shop.refinishing().open(f"/c/{shop.good.code}/master")
    assert list(sheet.choices("stage.baked").values()) == [shop.good.reading, ""]
    done = sheet.send(note="It lies nearer to the car")
    assert done.heading == "In slot A-03: the master of Body"
    master = shop.store.job(shop.stored_job).all(Master)[-1]
    assert master.card_id == shop.good.card and master.reading_ids == (shop.good.reading,)
    assert master.level is MasterLevel.MASTER and master.note == "It lies nearer to the car"


def test_a_duplicate_is_offered_once_there_is_a_master(shop):
    sheet = shop.refinishing().open(f"/c/{shop.good.code}/master")
    assert set(sheet.choices("level").values()) == {"master", "duplicate", "working"}
    sheet.send(level="working")
    assert shop.store.job(shop.stored_job).all(Master)[-1].level is MasterLevel.WORKING


def test_an_approval_without_a_reading_is_refused(shop):
    sheet = shop.refinishing().open(f"/c/{shop.good.code}/master").send(stage__baked="")
    assert sheet.status == 422 and "No reading was picked" in sheet.errors[0]
    assert len(shop.store.job(shop.stored_job).all(Master)) == 1


def test_a_card_never_read_cannot_be_the_master(shop):
    hung = shop.hung(None, "B-1")
    sheet = shop.refinishing().open(f"/c/{hung.code}/master")
    assert "was never read" in sheet.heading
    assert sheet.link("Read it") == f"/c/{hung.code}/readings/new"


def test_a_painter_may_not_approve(shop):
    assert shop.browser().open(f"/c/{shop.good.code}/master").status == 403


def test_everything_a_person_wrote_is_shown_as_text(shop):
    send(
        opened(shop, shop.spare),
        "/pull",
        pull__why="For something else",
        pull__why_more="<script>alert(1)</script>",
    )
    assert "<script>alert(1)" not in opened(shop, shop.spare).html


def test_cards_near_it_are_found_by_its_own_reading(told):
    sheet = opened(told, told.good).follow("Find cards near it")
    assert sheet.heading == "The nearest card lies 0.00 from what was read"
    assert codes_in(sheet)[0] == told.good.code


def test_a_missing_card_can_be_sprayed_again(shop):
    shop.hand.on_job(ReportMissing, card_id=shop.spare.card, why="Gone")
    link = opened(shop, shop.spare).link("Spray another in its place")
    assert link == f"/jobs/{shop.stored_job}/batches/{shop.spare.batch}/cards/new"

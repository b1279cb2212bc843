"""The shop's book: people, instruments, product sheets and tokens for programs."""

from datetime import UTC, datetime

import pytest

from service.domain.records.shop import ApiToken, Instrument, Person, Product
from service.domain.terms import ComponentRole, Role
from service.use_cases.sign_in import TOKEN_PREFIX
from tests.web.pages.audit_shop import AuditShop, table

PASSWORD = "eleven quiet herons wading"


@pytest.fixture
def shop(tmp_path):
    made = AuditShop(tmp_path)
    yield made
    made.close()


@pytest.fixture
def manager(shop):
    return shop.browser(shop.manager)


def book(shop):
    return shop.store.shop()


def sign_in(shop, name, password):
    from starlette.testclient import TestClient

    client = TestClient(shop.app, headers={"Sec-Fetch-Site": "same-origin"})
    return client.post(
        "/sign-in", data={"name": name, "password": password}, follow_redirects=False
    )


def test_an_empty_book_says_what_to_enter_first(shop, manager):
    sheet = manager.open("/shop")
    assert sheet.heading == "No instrument is registered yet"
    assert "Its uncertainty and its calibration date go into every verdict." in sheet.main.text
    assert [row[0] for row in table(sheet, "Who works here")] == ["First Manager", "Pat", "Ray"]


def test_a_person_is_added_and_can_sign_in(shop, manager):
    sheet = manager.open("/shop").follow("Add a person")
    done = sheet.send(name="Wren", roles=["painter", "refinisher"], password=PASSWORD)
    assert done.address == "/shop?saved=person"
    assert "The person is added and can sign in." in done.main.text
    assert ["Wren", "Painter and refinisher", "Set a new one for Wren"] in table(
        done, "Who works here"
    )
    assert sign_in(shop, "Wren", PASSWORD).status_code == 303
    assert sign_in(shop, "Wren", PASSWORD + "!").status_code == 401


@pytest.mark.parametrize(
    ("typed", "error"),
    [
        ({"password": "short"}, "15"),
        ({"name": "Pat"}, "There is already somebody called Pat"),
        ({"name": ""}, "name"),
        ({"roles": None}, "role"),
    ],
)
def test_a_person_that_cannot_be_added_is_refused_and_keeps_what_was_typed(
    shop, manager, typed, error
):
    fields = {"name": "Wren", "roles": ["painter"], "password": PASSWORD}
    refused = manager.open("/shop/people/new").send(**{**fields, **typed})
    assert refused.status in (409, 422)
    assert any(error in said for said in refused.errors)
    assert len(book(shop).all(Person)) == 3
    name = typed.get("name", "Wren")
    assert refused.main.one("input", name="name").attributes["value"] == name
    assert PASSWORD not in refused.html


def test_a_new_password_ends_every_session_of_the_person(shop, manager):
    theirs = shop.browser(shop.painter)
    assert theirs.open("/bench").status == 200
    sheet = manager.open("/shop").follow("Set a new one for Pat")
    assert sheet.heading == "A new password for Pat"
    done = sheet.send(password=PASSWORD)
    assert "Every session of the person has ended." in done.main.text
    assert theirs.client.get("/bench", follow_redirects=False).status_code == 303
    assert sign_in(shop, "Pat", PASSWORD).status_code == 303


def test_somebody_who_left_comes_in_no_more(shop, manager):
    theirs = shop.browser(shop.painter)
    sheet = manager.open("/shop").follow("Pat")
    action = sheet.main.all("form")[1]
    fields = {e.attributes["name"]: [e.attributes.get("value", "")] for e in action.all("input")}
    done = manager.post(
        action.attributes["action"], {**fields, "why_withdrawn": ["Works elsewhere now."]}
    )
    assert done.heading == "Pat was withdrawn"
    assert [person.name for person in book(shop).all(Person)] == ["First Manager", "Ray"]
    assert theirs.client.get("/bench", follow_redirects=False).status_code == 303


def test_an_instrument_is_registered_with_what_is_known_of_it(shop, manager):
    sheet = manager.open("/shop").follow("Register an instrument")
    done = sheet.send(
        name="Bench sphere",
        geometry="d:8",
        specular="included",
        standard_uncertainty="0,05",
        calibration_due="2031-05-04",
    )
    assert done.heading == "Three people work here with one instrument"
    assert table(done, "What is known") == [
        ["Bench sphere", "d:8, specular included", "0.050", "Sun 4 May 2031"]
    ]
    (found,) = book(shop).all(Instrument)
    # Midnight in Lisbon is 23:00 UTC of the day before, in summer (IANA time zone database).
    assert found.calibration_due == datetime(2031, 5, 3, 23, 0, tzinfo=UTC)
    assert found.serial == ""


def test_an_instrument_past_its_calibration_is_the_heading(shop, manager):
    shop.instrument(name="Old sphere", calibration_due=datetime(2020, 1, 1, tzinfo=UTC))
    sheet = manager.open("/shop")
    assert sheet.heading == "Old sphere is past its calibration"
    assert table(sheet, "What is known")[0][3].endswith("past")


def test_a_product_sheet_is_registered_by_a_painter_too(shop):
    painter = shop.browser(shop.painter)
    sheet = painter.open("/shop").follow("Register a product sheet")
    done = sheet.send(
        name="Slow clear",
        role="clear",
        sheet="Sheet 9, issue 2",
        mix_ratio__clear="2",
        mix_ratio__hardener="1",
        pot_life_minutes="90",
        bake_minutes="30",
        bake_temperature_c="140",
        bake_temperature_c__unit="F",
        wax_wait_days="30",
    )
    assert done.address == "/shop?saved=product"
    (found,) = book(shop).all(Product)
    assert found.mix_ratio == ((ComponentRole.CLEAR, 2.0), (ComponentRole.HARDENER, 1.0))
    assert found.bake_temperature_c == pytest.approx((140 - 32) * 5 / 9, abs=1e-6)
    assert found.ratio_tolerance_percent == 5.0
    (row,) = table(done, "Figures of each")
    assert row[1] == "clear 2, hardener 1 within 5 %"
    assert row[2] == "1 h 30 min" and row[4] == "30 min at 60 °C (140 °F)"


def test_every_figure_that_cannot_be_taken_is_named_at_once(shop, manager):
    refused = manager.open("/shop/products/new").send(
        name="", sheet="Sheet 9", role="clear", mix_ratio__clear="two", pot_life_minutes="long"
    )
    assert refused.status == 422
    assert len(refused.errors) == 3
    assert any("'two' is no number" in said for said in refused.errors)
    assert any("'long' is no number" in said for said in refused.errors)
    assert refused.main.all("a", href="#f-mix_ratio.clear")
    assert not book(shop).all(Product)


def give(manager, shop, **fields):
    given = {"label": "Bench instrument", "person_id": shop.painter, "role": "painter"}
    return manager.open("/shop/tokens/new").send(**{**given, **fields})


def test_a_token_is_shown_once_works_and_can_be_revoked(shop, manager):
    shown = give(manager, shop)
    assert shown.heading == "Copy this token now: it is not shown again"
    token = shown.main.one("pre", class_="token").text
    assert token.startswith(TOKEN_PREFIX)
    program = manager.client.__class__(shop.app, headers={"Authorization": f"Bearer {token}"})
    assert program.get("/api/me").json()["acting_as"] == "painter"
    sheet = manager.open("/shop")
    assert token not in sheet.html
    (row,) = table(sheet, "Each acts as one person")
    assert row[0] == "Bench instrument" and row[1] == "Pat, painter"
    revoke = sheet.follow("Revoke Bench instrument")
    assert revoke.heading == "Revoke token “Bench instrument”"
    done = revoke.send(why_withdrawn="The laptop was sold.")
    assert done.heading == "Token “Bench instrument” was withdrawn"
    assert program.get("/api/me").status_code == 401
    assert not table_or_none(manager.open("/shop"), "Each acts")


def table_or_none(sheet, caption):
    return [t for t in sheet.main.all("table") if t.one("caption").text.startswith(caption)]


def test_a_form_sent_twice_gives_one_token_and_says_that_it_cannot_be_shown_again(shop, manager):
    sheet = manager.open("/shop/tokens/new")
    fields = {"label": "Bench instrument", "person_id": shop.painter, "role": "painter"}
    assert sheet.send(**fields).main.all("pre", class_="token")
    again = sheet.send(**fields)
    assert again.status == 409
    assert "a token is shown only once" in again.errors[0]
    assert not again.main.all("pre", class_="token")
    assert len(book(shop).all(ApiToken)) == 1


def test_a_token_in_a_role_the_person_lacks_is_refused_at_the_field(shop, manager):
    refused = give(manager, shop, role="manager")
    assert refused.status == 422
    assert refused.errors == ["Pat is no manager. Pick one of: painter."]
    assert not book(shop).all(ApiToken)


def test_a_token_may_have_an_end(shop, manager):
    give(manager, shop, expires_at="2020-01-02")
    (row,) = table(manager.open("/shop"), "Each acts as one person")
    assert row[3] == "Thu 2 Jan 2020 over"


def test_what_others_may_see_and_do(shop):
    painter = shop.browser(shop.painter)
    sheet = painter.open("/shop")
    assert sheet.status == 200
    assert [a.text for a in sheet.main.one("nav", class_="page-actions").all("a")] == [
        "Register a product sheet"
    ]
    assert "Tokens for programs" not in sheet.main.text
    assert not [a for a in sheet.main.all("a") if a.text in ("Pat", "The shop’s journal")]
    for path in ("people/new", "instruments/new", "tokens/new", f"people/{shop.manager}/password"):
        assert painter.open(f"/shop/{path}").status == 403
    assert Role.MANAGER not in book(shop).get(Person, shop.painter).roles

"""A new pot: filled from the last one, checked by its sheet, refused with all that was typed."""

from __future__ import annotations

import pytest

from service.domain.records.spraying import Batch, Component
from service.domain.terms import ComponentRole
from tests.web.pages.bench_shop import COMPONENTS, BenchShop


@pytest.fixture
def shop(tmp_path):
    made = BenchShop(tmp_path)
    yield made
    made.close()


def pour(row, product, amount, lot="", role="base"):
    return {
        f"components__{row}__product": product,
        f"components__{row}__amount": amount,
        f"components__{row}__lot": lot,
        f"components__{row}__role": role,
    }


def test_a_pot_is_kept_with_lots_and_amounts_and_its_pot_life(shop):
    shop.product()
    shop.job()
    page = shop.browser().open(shop.at("/batches/new"))
    page = page.send(
        **pour(0, "Deep basecoat", "400", "B-77"),
        **pour(1, "Thin reducer", "200,5", "R-3", "reducer"),
    )
    assert page.heading == "Batch 1 has no card yet"
    assert "keeps to the sheet of Deep basecoat within 5 %" in page.main.text
    assert "4 h 00 min" in page.main.text
    components = shop.file.all(Component)
    assert [(c.product, c.lot, c.amount, c.unit) for c in components] == [
        ("Deep basecoat", "B-77", 400.0, "ml"),
        ("Thin reducer", "R-3", 200.5, "ml"),
    ]
    assert shop.file.all(Batch)[0].pot_life_minutes == 240


def test_a_mix_off_its_sheet_is_said_before_and_after_it_is_saved(shop):
    shop.product()
    shop.job()
    page = shop.browser().open(shop.at("/batches/new"))
    said = "Reducer: 260 ml poured, the sheet asks for 200 ml."
    mix = {**pour(0, "Deep basecoat", "400"), **pour(1, "Thin reducer", "260", role="reducer")}
    checked = page.send(do="check", **mix)
    assert said in checked.main.text
    assert shop.file.all(Batch) == []
    assert checked.fields()["components.1.amount"] == ["260"]
    # What is poured in now is typed over what was checked.
    kept = checked.send(components__0__amount="520")
    assert "keeps to the sheet" in kept.main.text
    other = shop.browser().open(shop.at("/batches/new")).send(**mix)
    assert said in other.main.text


def test_a_mix_by_weight_is_not_checked_by_volume(shop):
    shop.product()
    shop.job()
    weighed = {"components__0__unit": "g", "components__1__unit": "g"}
    page = shop.browser().open(shop.at("/batches/new"))
    page = page.send(
        **pour(0, "Deep basecoat", "400"),
        **pour(1, "Thin reducer", "900", role="reducer"),
        **weighed,
    )
    assert "cannot be checked" in page.main.text
    assert "900 ml" not in page.main.text


def test_the_next_pot_starts_as_the_last_one_was(shop):
    shop.product()
    shop.job()
    shop.hand.batch(components=COMPONENTS, formula="Mix 4")
    page = shop.browser().open(shop.at("/batches/new"))
    assert page.heading == "Batch 2: what goes into the pot"
    assert page.fields()["components.0.lot"] == ["B-77"]
    assert page.fields()["components.1.amount"] == ["200"]
    page = page.send()
    assert page.heading == "Batch 2 has no card yet"
    first, second = shop.file.all(Batch)
    assert (second.formula, second.number) == (first.formula, 2)
    assert [c.lot for c in shop.file.by(Component, "batch_id", second.root)] == ["B-77", "R-3"]


def test_a_refused_pot_keeps_what_was_typed_and_names_each_field(shop):
    shop.product()
    shop.job()
    page = shop.browser().open(shop.at("/batches/new"))
    mix = {**pour(0, "Deep basecoat", "a lot", "B-9"), **pour(1, "", "20", role="reducer")}
    page = page.send(boxed_tins="three", **mix)
    assert page.status == 422
    assert page.errors == [
        "'a lot' is no number. Enter one, like 12.5 or 12,5.",
        "The product is missing. Fill it in.",
        "'three' is no number. Enter one, like 12.5 or 12,5.",
    ]
    assert page.fields()["components.0.lot"] == ["B-9"]
    assert page.fields()["components.0.amount"] == ["a lot"]
    assert page.document.one("title").text.startswith("Error:")


def test_a_form_sent_twice_makes_one_pot(shop):
    shop.job()
    page = shop.browser().open(shop.at("/batches/new"))
    page.send(**pour(0, "Deep basecoat", "400"))
    page.send(**pour(0, "Deep basecoat", "400"))
    assert len(shop.file.all(Batch)) == 1


def test_cautions_stand_where_a_pot_is_mixed(shop):
    shop.job()
    page = shop.browser().open(shop.at("/batches/new"))
    said = " ".join(box.text for box in page.main.all("div", class_="caution"))
    assert "isocyanates" in said and "solvents burn" in said


def test_a_pot_with_a_hardener_says_so_on_its_page(shop):
    shop.job()
    hardener = COMPONENTS[1].__class__(
        product="Slow hardener", role=ComponentRole.HARDENER, lot="H-1", amount=100.0
    )
    batch = shop.hand.batch(components=(*COMPONENTS, hardener))
    page = shop.browser().open(shop.at(f"/batches/{batch}"))
    assert "isocyanates" in page.main.one("div", class_="caution").text
    without = shop.hand.batch(components=COMPONENTS)
    page = shop.browser().open(shop.at(f"/batches/{without}"))
    assert page.main.all("div", class_="caution") == []


def test_a_job_without_a_finish_says_what_to_do_first(shop):
    browser = shop.browser()
    page = browser.open("/jobs/new").send(work_order="W-9", title="Invented trailer")
    job_id = page.address.split("/")[2]
    page = browser.open(f"/jobs/{job_id}/batches/new")
    assert page.status == 409
    assert "Add its first finish, then mix a batch." in page.main.text

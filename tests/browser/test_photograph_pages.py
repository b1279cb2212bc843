"""Photographing cards in a real browser: the phone's flow, with simulated photographs really read.

Nothing is replaced here: the bytes go through the form, the warm process reads them, and what the
page shows of them is logged.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from colour.photo.sheet import sheet_target
from demo_cards.photographing.files import FileForm
from demo_cards.photographing.photograph import Photograph
from demo_cards.photographing.scene import Card, Label
from demo_cards.photographing.setups import plausible
from service.domain.lookups import verdict_on_batch
from service.domain.records.measuring import Frame
from tests.browser.conftest import axe_findings, kept_picture
from tests.browser.test_bench_pages import Bench, Finger, served
from tests.browser.test_kit_axe import TARGETS, TEXT_SIZES
from tests.web.pages.bench_shop import BenchShop, Sprayed

pytestmark = pytest.mark.browser

LABS = {"master": (42.0, 3.0, -18.0), "card": (42.0, 3.0, -23.0)}
TAPS = 5
"""From a card's page: photograph it, choose the file, read it, save; and one to spare."""


@dataclass
class Studio(Bench):
    """A served shop with a master and an unread card, and photographs of them as files."""

    master: Sprayed
    other: Sprayed
    folder: Path
    taken: dict[str, Photograph]

    def file(self, name: str) -> str:
        return str(self.folder / f"{name}.jpg")


def photographed(target: Any, seed: int, **scene: Any) -> Photograph:
    cards = {name: Card(lab=lab) for name, lab in LABS.items()}
    set_up = plausible(
        np.random.default_rng(seed),
        target,
        cards=cards,
        frame=(1800, 1350),
        camera="matrix",
        form=FileForm(),
        **scene,
    )
    return set_up.take(np.random.default_rng(seed + 1))


@pytest.fixture(scope="module")
def studio(tmp_path_factory) -> Iterator[Studio]:
    folder = tmp_path_factory.mktemp("studio")
    shop = BenchShop(folder / "shop")
    shop.job(colour_name="Invented blue")
    master = shop.batch_with_card(lab=(41.0, 2.0, -17.0))
    shop.hand.master(master.card, master.reading)
    other = shop.batch_with_card()
    sheet = sheet_target("a4")
    labels = (Label(window="card", text=other.code), Label(window="master", text=master.code))
    taken = {
        "sheet": photographed(sheet, 5, labels=labels),
        "another": photographed(sheet, 6, labels=labels),
        "uncoded": photographed(replace(sheet, markers=()), 7),
        "table": photographed(sheet, 9, without_sheet=True),
    }
    for name, one in taken.items():
        (folder / f"{name}.jpg").write_bytes(one.content)
    with served(shop.app) as address:
        yield Studio(
            shop=shop,
            address=address,
            pages={},
            master=master,
            other=other,
            folder=folder,
            taken=taken,
        )
    shop.app.state.services.desk.close()
    shop.close()


def send(page: Any, studio: Studio, name: str) -> None:
    page.set_input_files("[name=chosen]", studio.file(name))
    press(page, "Read the photograph")


def press(page: Any, button: str) -> None:
    """Press a button and wait for the page it leads to: a photograph takes a moment to read."""
    with page.expect_navigation():
        page.get_by_role("button", name=button).click()


def checked(page: Any, name: str, width: int, least: float = 43.5) -> None:
    """Nothing for axe to find, nothing too small, nothing beside the screen."""
    with kept_picture(page, "photograph", f"{name}-{width}"):
        for fold in page.locator("summary").all():
            if fold.locator("..").get_attribute("open") is None:
                fold.click()
        page.evaluate("scrollTo(0, 0)")
        assert axe_findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        targets = page.evaluate(TARGETS)
        assert [t for t in targets if t["height"] < least or t["width"] < least] == []
        assert [found for found in page.evaluate(TEXT_SIZES) if found[0] < 17.9] == []


@pytest.mark.parametrize("width", [390, 1280])
def test_from_a_card_to_its_verdict_by_one_photograph(open_page, studio, width):
    taken = {390: "sheet", 1280: "another"}[width]
    page = open_page(f"{studio.address}/c/{studio.other.code}", width=width, **studio.signed_in())
    finger = Finger(page)
    finger.tap("link", "Photograph it beside the master")
    checked(page, "new", width)
    finger.taps += 1
    page.set_input_files("[name=photo]", studio.file(taken))
    finger.taps += 1
    press(page, "Read the photograph")
    assert finger.heading == "In this photograph the card would show against the master"
    assert page.evaluate("document.querySelector('.photo-view img').naturalWidth") > 300
    # The outline that is drawn is where the sheet lies in the picture.
    points = page.locator(".over-line").first.get_attribute("points")
    found = np.array([[float(v) for v in p.split(",")] for p in points.split()])
    assert np.abs(found - np.array(studio.taken[taken].corners)).max() < 3
    # Both labels are seen, so both cards are offered, and the third window holds none.
    chosen = {
        page.locator(f"[name='lying.{n}.window']").input_value(): page.locator(
            f"[name='lying.{n}.card_id']"
        ).input_value()
        for n in range(3)
    }
    assert chosen == {"card": studio.other.card, "master": studio.master.card, "card 2": "none"}
    for n in range(2):
        page.select_option(f"[name='lying.{n}.stage']", "baked")
    checked(page, "read", width)
    photograph = page.url
    finger.taps += 1
    press(page, "Save what these cards read")
    assert finger.taps <= TAPS
    assert f"/c/{studio.other.code}" in page.url
    verdict = verdict_on_batch(studio.shop.file, studio.other.batch)
    assert verdict.delta_b < -2
    checked_saved = page.get_by_role("link", name="Swap the two cards and take another")
    with kept_picture(page, "photograph", f"saved-{width}"):
        assert axe_findings(page) == []
    checked_saved.click()
    assert page.locator("h1").inner_text() == "Swap the two cards and photograph them again"
    # Seen again, the photograph says that it is on record, and does not ask to be saved.
    page.goto(photograph)
    assert "Readings of it are on record since" in page.locator("main").inner_text()
    assert not page.get_by_role("button", name="Save what these cards read").is_visible()
    checked(page, "on-record", width)


@pytest.mark.parametrize("width", [390, 1280])
def test_a_table_without_a_sheet_is_refused_on_the_same_page(open_page, studio, width):
    page = open_page(
        f"{studio.address}{studio.shop.at('/photographs/new')}", width=width, **studio.signed_in()
    )
    send(page, studio, "table")
    assert page.locator("h1").inner_text() == "This photograph cannot be trusted"
    assert len(page.locator(".reasons").inner_text()) > 40
    checked(page, "refused", width)
    page.get_by_role("link", name="Take another photograph", exact=True).click()
    assert page.locator("[name=photo]").is_visible()


def test_four_taps_on_the_picture_stand_for_the_codes(open_page, studio):
    """The taps land within a pixel or two of the screen; the rest is said by the fields."""
    page = open_page(f"{studio.address}{studio.shop.at('/photographs/new')}", **studio.signed_in())
    send(page, studio, "uncoded")
    assert page.locator("h1").inner_text() == "This photograph cannot be trusted"
    taken = studio.taken["uncoded"]
    box = page.locator(".photo-view").bounding_box()
    scale = box["width"] / taken.size[0]
    for x, y in taken.corners:
        page.locator(".photo-view").click(position={"x": x * scale, "y": y * scale})
    handles = page.locator(".corner-handle")
    assert handles.count() == 4 and handles.first.is_visible()
    for n, (x, y) in enumerate(taken.corners):
        typed = [float(page.locator(f"[name={axis}{n}]").input_value()) for axis in "xy"]
        assert np.abs(np.array(typed) - (x, y)).max() < 2 / scale
    # A handle goes by the arrow keys, and by what is typed into its fields.
    before = float(page.locator("[name=x0]").input_value())
    handles.first.focus()
    page.keyboard.press("ArrowRight")
    assert float(page.locator("[name=x0]").input_value()) > before
    with kept_picture(page, "photograph", "corners-390"):
        assert axe_findings(page) == []
    for n, (x, y) in enumerate(taken.corners):
        page.fill(f"[name=x{n}]", f"{x:.1f}")
        page.fill(f"[name=y{n}]", f"{y:.1f}")
    assert page.locator("[name=sheet]").input_value() == "a4"
    press(page, "Read it by these corners")
    assert page.locator("h1").inner_text().startswith("In this photograph the card would show")


def test_a_handle_is_dragged(open_page, studio):
    page = open_page(f"{studio.address}{studio.shop.at('/photographs/new')}", **studio.signed_in())
    send(page, studio, "uncoded")
    view = page.locator(".photo-view")
    view.click(position={"x": 60, "y": 60})
    handle = page.locator(".corner-handle").first
    at = handle.bounding_box()
    x, y = at["x"] + at["width"] / 2, at["y"] + at["height"] / 2
    before = [float(page.locator(f"[name={axis}0]").input_value()) for axis in "xy"]
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 40, y + 20, steps=4)
    page.mouse.up()
    after = [float(page.locator(f"[name={axis}0]").input_value()) for axis in "xy"]
    scale = view.bounding_box()["width"] / studio.taken["uncoded"].size[0]
    moved = np.subtract(after, before) * scale
    assert np.abs(moved - (40, 20)).max() < 2


def test_the_flow_works_without_script(open_page, studio):
    frames = len(studio.shop.file.all(Frame))
    page = open_page(
        f"{studio.address}{studio.shop.at('/photographs/new')}",
        script=False,
        **studio.signed_in(),
    )
    send(page, studio, "uncoded")
    for n, (x, y) in enumerate(studio.taken["uncoded"].corners):
        page.fill(f"[name=x{n}]", f"{x:.1f}")
        page.fill(f"[name=y{n}]", f"{y:.1f}")
    page.select_option("[name=sheet]", "a4")
    press(page, "Read it by these corners")
    page.select_option("[name='lying.0.card_id']", studio.other.card)
    page.select_option("[name='lying.1.card_id']", studio.master.card)
    press(page, "Save what these cards read")
    assert "/c/" in page.url
    assert len(studio.shop.file.all(Frame)) == frames + 1


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize(
    ("path", "name"), [("/photo-sheet", "sheet"), ("/shop/photo-targets/new", "register")]
)
def test_axe_finds_nothing_on_the_pages_of_the_sheet(open_page, studio, path, name, width):
    page = open_page(
        f"{studio.address}{path}", width=width, **studio.signed_in(studio.shop.manager)
    )
    with kept_picture(page, "photograph", f"{name}-{width}"):
        assert axe_findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width

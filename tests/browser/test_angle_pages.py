"""Six angles in a real browser: typed at the bench, side by side, found, held to limits."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import urlencode

import pytest

from service.domain.lookups import readings_of_card
from service.domain.terms import FinishKind
from service.use_cases import job
from tests.browser.conftest import axe_findings, kept_picture
from tests.browser.test_bench_pages import Bench, served
from tests.web.pages.rack_shop import RackShop

pytestmark = pytest.mark.browser

PEARL = {
    -15: (118.0, 3.0, -12.0),
    15: (112.0, 2.0, -10.0),
    25: (92.0, 1.0, -9.0),
    45: (64.0, 0.0, -7.0),
    75: (47.0, -0.5, -5.0),
    110: (40.0, -1.0, -4.0),
}
TURNED = {**PEARL, 15: (114.4, 2.0, -10.2), 110: (37.6, -1.0, -6.0)}


def rows(labs):
    return "\n".join(f"{angle} {' '.join(map(str, lab))}" for angle, lab in labs.items())


@pytest.fixture(scope="module")
def bench(tmp_path_factory) -> Iterator[Bench]:
    """A pearl at six angles: its master, a card that travels more, one not read at −15°."""
    shop = RackShop(tmp_path_factory.mktemp("angles"))
    fan = {
        "geometry": "multi-angle",
        "specular": None,
        "instrument_id": shop.instrument(name="Bench fan", geometry="multi-angle", specular=None),
    }
    limits = job.Limits(required_angles=tuple(PEARL), angle_limits={"-15": 1.6, "110": 1.2})
    shop.hand.open(FinishKind.PEARL, colour_name="Invented pearl", limits=limits)
    master = shop.hung(PEARL, "P-01", **fan)
    shop.hand.master(master.card, master.reading)
    turned = shop.hung(TURNED, "P-02", **fan)
    half = shop.hung({a: lab for a, lab in PEARL.items() if a != -15}, "P-03", **fan)
    shop.unread = shop.hung(None, "P-04")
    at_45 = dict(zip("lab", PEARL[45], strict=True))
    car = {
        **{"illuminant": "D65", "observer": 10, "geometry": "multi-angle", "angle": 45},
        **at_45,
        "further": rows({a: lab for a, lab in PEARL.items() if a != 45}),
    }
    cards = [("codes", card.code) for card in (master, turned, half)]
    pages = {
        "reading": f"/c/{shop.unread.code}/readings/new",
        "compare": f"/rack/compare?{urlencode(cards)}",
        "nearest": f"/rack/nearest?{urlencode(car)}",
        "limits": f"/jobs/{shop.hand.job_id}/finishes/{shop.hand.finish}/limits",
        "finish": f"/jobs/{shop.hand.job_id}/finishes/{shop.hand.finish}",
    }
    with served(shop.app) as address:
        yield Bench(shop, address, pages)
    shop.close()


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("name", ["reading", "compare", "nearest", "limits", "finish"])
def test_the_pages_of_angles_can_be_used(open_page, bench, name, width):
    page = open_page(
        bench.address + bench.pages[name], width=width, **bench.signed_in(bench.shop.manager)
    )
    with kept_picture(page, "angles", f"{name}-{width}"):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert axe_findings(page) == []


def test_six_angles_are_entered_by_one_tap_into_the_rows_and_their_paste(open_page, bench):
    page = open_page(bench.address + bench.pages["reading"], **bench.signed_in())
    taps = 0

    def tap(place):
        nonlocal taps
        taps += 1
        place.click()

    tap(page.get_by_text("Type or paste them as rows"))
    tap(page.get_by_label("One row an angle"))
    page.keyboard.insert_text("\n".join([rows(PEARL)] * 3))
    tap(page.get_by_text("Baked", exact=False).first)
    tap(page.get_by_role("button", name="Save").first)
    assert page.get_by_text("blends", exact=False).first.is_visible()
    reading = readings_of_card(bench.shop.file, bench.shop.unread.card)[-1]
    assert [(one.angle, len(one.repeats)) for one in reading.angles] == [(a, 3) for a in PEARL]
    assert taps <= 4

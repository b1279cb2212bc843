"""The batch's block on lights in a real browser: nothing spills over, axe finds nothing."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.browser.conftest import axe_findings, kept_picture
from tests.browser.test_bench_pages import Bench, served
from tests.spectral_readings import GREY, metameric
from tests.web.pages.bench_shop import BenchShop
from tests.web.pages.test_batch_lights import sprayed

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def bench(tmp_path_factory) -> Iterator[Bench]:
    """A pot that shows under one lamp, and one without a spectrum."""
    shop = BenchShop(tmp_path_factory.mktemp("lights"))
    shop.job()
    sprayed(shop, GREY)
    pages = {
        "shows": sprayed(shop, metameric(GREY))[0],
        "near": sprayed(shop, metameric(GREY, 0.0128))[0],
        "unknown": sprayed(shop, GREY, with_spectra=False)[0],
    }
    with served(shop.app) as address:
        yield Bench(shop, address, {n: shop.at(f"/batches/{id}") for n, id in pages.items()})
    shop.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("name", ["shows", "near", "unknown"])
def test_the_block_on_lights_can_be_used(open_page, bench, name, width, scheme):
    page = open_page(
        bench.address + bench.pages[name], width=width, scheme=scheme, **bench.signed_in()
    )
    with kept_picture(page, "batch-lights", f"{name}-{width}-{scheme}"):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert axe_findings(page) == []
        if name == "unknown":
            page.get_by_text("Not known under other lights").click()
            assert page.get_by_text("one light only").is_visible()
        else:
            assert page.get_by_role("heading", name="daylight").is_visible()

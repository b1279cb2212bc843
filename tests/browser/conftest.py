"""The system's Chromium for page tests, and axe to check them with.

The browser is named by KEEPCARD_TEST_CHROMIUM; without it the tests that ask for it are skipped
and say so.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
AXE = HERE / "vendor" / "axe.min.js"
OUTPUT = HERE.parent / "output"

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# Off by default in axe, and wanted here: targets of at least 24 px, and 7:1 for text.
EXTRA_RULES = {"target-size": {"enabled": True}, "color-contrast-enhanced": {"enabled": True}}

OpenPage = Callable[..., Any]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """The browser, started once for all tests."""
    named = os.environ.get("KEEPCARD_TEST_CHROMIUM")
    if not named:
        pytest.skip("KEEPCARD_TEST_CHROMIUM is not set to a Chromium")
    path = Path(named)
    if not path.is_file():
        pytest.skip(f"there is no Chromium at {path}, which KEEPCARD_TEST_CHROMIUM names")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=str(path), headless=True, args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


@pytest.fixture
def open_page(chromium: Any) -> Iterator[OpenPage]:
    """``open_page(address, width=390, scheme="light", script=True)`` opens a page of its own.

    Whatever the page then says on the console as an error (a refused style or script is one),
    and every request that leaves the server it came from, fails the test at its end.
    """
    contexts: list[Any] = []
    trouble: list[str] = []

    def opened(
        address: str, *, width: int = 390, scheme: str = "light", script: bool = True, **more: Any
    ) -> Any:
        height = 844 if width < 600 else 1000
        context = chromium.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            java_script_enabled=script,
            **more,
        )
        contexts.append(context)
        origin = "/".join(address.split("/")[:3]) + "/"
        page = context.new_page()
        page.on("console", lambda said: trouble.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: trouble.append(str(error)))
        page.on(
            "request",
            lambda asked: (
                None if asked.url.startswith(origin) else trouble.append(f"asked for {asked.url}")
            ),
        )
        page.goto(address)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not trouble


def axe_findings(page: Any, *, leave_out: tuple[str, ...] = ()) -> list[str]:
    """What axe finds on the page, one line for each element; an empty list is what we want.

    The library goes in through the debugger and not as a script element, so the page's own
    content-security policy stays in force.
    """
    page.evaluate(AXE.read_text(encoding="utf-8"))
    rules = EXTRA_RULES | {name: {"enabled": False} for name in leave_out}
    found = page.evaluate("rules => axe.run(document, {rules})", rules)
    assert found["passes"], "axe checked nothing"
    return [
        f"{violation['id']}: {node['html'][:160]} ({node['failureSummary']})"
        for violation in found["violations"]
        for node in violation["nodes"]
    ]


@contextmanager
def kept_picture(page: Any, folder: str, name: str) -> Iterator[None]:
    """Keep a picture of the whole page under tests/output, also when the block fails."""
    try:
        yield
    finally:
        target = OUTPUT / folder / f"{name}.png"
        target.parent.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=str(target), full_page=True)

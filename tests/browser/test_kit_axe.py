"""The face kit in a real browser: axe, targets, sizes, reflow, keyboard, paper."""

import hashlib
import re

import pytest

from tests.browser import kit_preview
from tests.browser.conftest import AXE, axe_findings, kept_picture

pytestmark = pytest.mark.browser

# Reach of what a finger can press, in CSS pixels: a link that is stretched over its row by an
# absolutely placed ::after counts with that row. Links inside a sentence are exempt, as in
# WCAG 2.2, 2.5.8; so are the pictures' own links, which the list or table beside them repeats.
TARGETS = """() => [...document.querySelectorAll('a, button, input, select, textarea, summary')]
  .filter(e => e.tabIndex >= 0 && e.type !== 'hidden' && e.checkVisibility())
  .filter(e => !e.classList.contains('skip'))
  .map(e => {
    let box = e;
    if (getComputedStyle(e, '::after').position === 'absolute') box = e.offsetParent;
    if (e.closest('label')) box = e.closest('label');
    const r = box.getBoundingClientRect();
    return {what: e.outerHTML.slice(0, 90), width: r.width, height: r.height};
  })"""

TEXT_SIZES = """() => {
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const sizes = [];
  while (walker.nextNode()) {
    const e = walker.currentNode.parentElement;
    if (walker.currentNode.data.trim() && e.checkVisibility() && !e.closest('svg'))
      sizes.push([parseFloat(getComputedStyle(e).fontSize), e.outerHTML.slice(0, 80)]);
  }
  return sizes;
}"""


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    directory = tmp_path_factory.mktemp("kit")
    kit_preview.write_pages(directory)
    with kit_preview.served(directory) as where:
        yield where


def test_the_vendored_axe_is_the_one_its_note_names():
    note = (AXE.parent / "README.md").read_text(encoding="utf-8")
    assert hashlib.sha256(AXE.read_bytes()).hexdigest() in note


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 820, 1280])
@pytest.mark.parametrize("name", kit_preview.PAGES)
def test_axe_finds_nothing(open_page, address, name, width, scheme):
    page = open_page(f"{address}/{name}.html", width=width, scheme=scheme)
    with kept_picture(page, "kit", f"{name}-{width}-{scheme}"):
        assert axe_findings(page) == []


def test_axe_would_find_what_is_wrong(open_page, address):
    page = open_page(f"{address}/rack.html")
    page.evaluate("document.querySelector('label[for=f-reason]').remove()")
    page.evaluate("document.querySelector('h1').style.color = '#999999'")
    found = " ".join(axe_findings(page))
    assert "label:" in found and "color-contrast:" in found


@pytest.mark.parametrize("width", [320, 390, 820, 1280])
@pytest.mark.parametrize("name", kit_preview.PAGES)
def test_no_page_is_wider_than_its_screen(open_page, address, name, width):
    page = open_page(f"{address}/{name}.html", width=width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("width", [390, 820])
@pytest.mark.parametrize(("name", "least"), [("bench", 72), ("rack", 44), ("audit", 44)])
def test_whatever_a_finger_presses_is_large_enough(open_page, address, name, least, width):
    page = open_page(f"{address}/{name}.html", width=width)
    targets = page.evaluate(TARGETS)
    assert len(targets) >= 8
    small = [t for t in targets if t["height"] < least - 0.5 or t["width"] < least - 0.5]
    assert small == []


@pytest.mark.parametrize("width", [390, 1280])
def test_bench_text_is_never_below_eighteen_pixels(open_page, address, width):
    page = open_page(f"{address}/bench.html", width=width)
    assert [found for found in page.evaluate(TEXT_SIZES) if found[0] < 18] == []


@pytest.mark.parametrize("width", [390, 820, 1280])
@pytest.mark.parametrize("name", ["audit", "large"])
def test_no_letter_in_a_picture_shrinks_below_eleven_pixels(open_page, address, name, width):
    page = open_page(f"{address}/{name}.html", width=width)
    sizes = page.evaluate(
        "[...document.querySelectorAll('svg text')].map(e => [e.getScreenCTM().a *"
        " parseFloat(getComputedStyle(e).fontSize), e.textContent])"
    )
    assert len(sizes) > 20
    assert [found for found in sizes if found[0] < 11] == []


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_a_swatch_is_fifteen_millimetres_and_its_surround_as_wide(open_page, address, width):
    page = open_page(f"{address}/bench.html", width=width)
    whole = page.locator(".swatches svg").bounding_box()
    # Four swatch widths and three heights make the picture; 1 mm is 96/25.4 CSS pixels.
    assert whole["width"] / 4 >= 15 * 96 / 25.4
    assert whole["height"] / 3 == pytest.approx(whole["width"] / 4, rel=0.01)


def test_the_swatches_touch_with_nothing_between_them(open_page, address):
    page = open_page(f"{address}/bench.html", width=820)
    from io import BytesIO

    from PIL import Image

    drawing = page.locator(".swatches svg")
    row = Image.open(BytesIO(drawing.screenshot())).convert("RGB")
    middle = [row.getpixel((x, row.height // 2)) for x in range(row.width)]
    seen = [
        colour for colour, before in zip(middle, [None, *middle], strict=False) if colour != before
    ]
    grey, master, batch = (0x77, 0x77, 0x77), (0x5F, 0x71, 0x80), (0x58, 0x69, 0x7C)
    assert seen == [grey, master, batch, grey]


def test_the_action_stays_in_the_bottom_third_of_a_phone(open_page, address):
    page = open_page(f"{address}/bench.html", width=390)
    button = page.get_by_role("button", name="Save and judge")
    page.locator("#f-film").scroll_into_view_if_needed()
    page.locator("#f-film").focus()
    box = button.bounding_box()
    assert box["y"] > 844 * 2 / 3 and box["y"] + box["height"] <= 844
    assert box["width"] >= 350


def test_the_keyboard_reaches_everything_and_shows_where_it_is(open_page, address):
    page = open_page(f"{address}/rack.html", width=820)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    wanted = page.evaluate(
        "[...document.querySelectorAll('a, button, input, select, textarea, summary')]"
        ".filter(e => e.tabIndex >= 0 && e.checkVisibility()).length"
    )
    reached, hidden = set(), []
    for _ in range(wanted + 20):
        state = page.evaluate(
            """() => { const e = document.activeElement;
              const style = getComputedStyle(e), r = e.getBoundingClientRect();
              const tile = e.closest('label');
              const seen = tile ? getComputedStyle(tile) : style;
              return [e.tagName, e.id + e.className + e.textContent.slice(0, 20) + r.top,
                      seen.outlineStyle !== 'none', r.top >= 0 && r.top < innerHeight]; }"""
        )
        if state[0] == "BODY":
            break
        reached.add(state[1])
        if not (state[2] and state[3]):
            hidden.append(state)
        page.keyboard.press("Tab")
    assert len(reached) >= wanted
    assert hidden == []


def test_the_error_summary_has_the_focus_when_a_refused_form_comes_back(open_page, address):
    page = open_page(f"{address}/bench.html", script=False)
    assert page.locator(".error-summary:focus").count() == 1


def test_the_page_is_whole_without_script(open_page, address):
    page = open_page(f"{address}/audit.html", script=False)
    assert page.get_by_role("heading", level=1).inner_text() == "Four joints on this job would show"
    page.get_by_role("link", name="Rack").click()
    assert page.url.endswith("/rack.html")


def test_the_map_leads_a_pointer_to_the_joint(open_page, address):
    page = open_page(f"{address}/audit.html", width=1280)
    page.locator(".seam-shows .seam-label").first.click()
    assert re.search(r"#[a-z_]+-[a-z_]+$", page.url)


def test_paper_is_black_on_white_whatever_the_screen_was(open_page, address):
    page = open_page(f"{address}/audit.html", width=1280, scheme="dark")
    page.emulate_media(media="print", color_scheme="dark")
    colours = page.evaluate(
        "[getComputedStyle(document.documentElement).backgroundColor,"
        " getComputedStyle(document.querySelector('h1')).color]"
    )
    assert colours == ["rgb(255, 255, 255)", "rgb(0, 0, 0)"]
    assert not page.locator(".entrances").is_visible()
    assert page.locator("time .on-paper").first.is_visible()
    assert not page.locator("time .on-screen").first.is_visible()
    with kept_picture(page, "kit", "audit-print"):
        assert page.locator("table").first.is_visible()

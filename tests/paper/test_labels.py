"""Labels read back from their PDF, as a label printer prints them and a scanner sees them.

Stock sizes are common practice, no source. The quiet zone of four modules is of ISO/IEC 18004;
codes are read by zxing-cpp, which shares nothing with what made them.
"""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
import zxingcpp

from service.domain.card_code import read_card_code
from service.domain.refused import Invalid
from service.paper.labels import labels_pdf, labels_values
from service.paper.quick_code import LEAST_MODULE_MM, quick_code
from service.use_cases.label_papers import (
    LabelPaper,
    check_count,
    fresh_labels,
    what_scanning_opens,
)
from service.use_cases.label_stock import MOST_LABELS, STOCKS, LabelStock, check_start, stock_named
from tests.paper_pages import Pages, overlapping

ADDRESS = "https://cards.example:8470"
SPRAYED = datetime(2026, 3, 4, 23, 40, tzinfo=UTC)
LONG = {
    "slot": "Rear wall hook 12 left below the lamp xx",
    "finish": "Lower body, sills and bumpers of the two-tone, sprayed on the stand in booth 2",
    "colour": "INV-20417-B Ελληνικό μπλε, тёмно-синий, 漢字の名前 of the second mixing bank",
    "of": "Batch 1234, W-2026-00000000000000000000000000001042",
}
each_stock = pytest.mark.parametrize("stock", STOCKS, ids=lambda stock: stock.name)


def label(code: str = "", address: str = ADDRESS, **fields: object) -> LabelPaper:
    code = code or fresh_labels(1, public_address="", is_demo=False)[0].code
    given = {
        "slot": "B-12",
        "finish": "Body",
        "colour": "INV-7 Harbour blue",
        "of": "Batch 3, W-1042",
        "sprayed_at": SPRAYED,
        "zone": "Europe/Lisbon",
        **fields,
    }
    return LabelPaper(code=code, opens=what_scanning_opens(code, address), **given)  # type: ignore[arg-type]


def printed(pages: Pages, page: int = 0) -> np.ndarray:
    """A page as a label printer makes it: 203 dots to the inch, each black or white."""
    return np.where(np.asarray(pages.picture(page, 203)) < 128, 0, 255).astype(np.uint8)


def scanned(picture: np.ndarray) -> set[str]:
    codes = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    return {code.text for code in codes}


@each_stock
@pytest.mark.parametrize("address", ["", ADDRESS, "https://cards.paint-shop.harbour-road.example"])
def test_every_code_is_read_from_dots_that_are_black_or_white(stock, address):
    labels = [label(address=address), label(address=address, **LONG), *blank(1, address)]
    pages = Pages(labels_pdf(labels, stock))
    found = set()
    for page in range(len(pages)):
        found |= scanned(printed(pages, page))
    assert found == {one.opens for one in labels}


def blank(count: int, address: str = ADDRESS, demo: bool = False) -> tuple[LabelPaper, ...]:
    return fresh_labels(count, public_address=address, is_demo=demo)


@each_stock
def test_a_whole_sheet_has_a_label_in_each_place_and_the_next_begins_another(stock):
    labels = [label() for _ in range(stock.each_page + 1)]
    pages = Pages(labels_pdf(labels, stock))
    pages.keep(f"labels-{stock.name}")
    assert len(pages) == 2
    assert pages.size_mm() == pytest.approx(stock.page_mm, abs=0.05)
    assert scanned(printed(pages, 0)) == {one.opens for one in labels[:-1]}
    assert scanned(printed(pages, 1)) == {labels[-1].opens}


@each_stock
def test_modules_are_large_enough_and_four_of_them_around_stay_white(stock):
    values = labels_values([label(**LONG)], stock)
    modules = quick_code(label().opens).modules
    place = values["quick"]
    module = place["side"] / modules
    assert module >= LEAST_MODULE_MM
    x, y = values["pages"][0][0]["x"] + place["x"], values["pages"][0][0]["y"] + place["y"]
    # All of it, the quiet zone too, lies inside the label.
    assert place["x"] >= 1 and place["y"] >= 1
    assert place["x"] + place["side"] <= stock.width_mm
    assert place["y"] + place["side"] <= stock.height_mm - 1
    dots = 600 / 25.4
    picture = np.asarray(Pages(labels_pdf([label(**LONG)], stock)).picture(0, 600))
    whole = picture[
        round(y * dots) : round((y + place["side"]) * dots),
        round(x * dots) : round((x + place["side"]) * dots),
    ]
    quiet = int(4 * module * dots) - 1
    assert whole[:quiet].min() == whole[-quiet:].min() == 255
    assert whole[:, :quiet].min() == whole[:, -quiet:].min() == 255
    assert whole.min() == 0


@each_stock
@pytest.mark.parametrize("fields", [{}, LONG], ids=["short", "long"])
def test_nothing_overlaps_or_leaves_its_label(stock, fields):
    labels = [label(is_demo=True, **fields), label(**fields), *blank(1, demo=True)]
    pages = Pages(labels_pdf(labels, stock))
    pieces = list(pages.lying())
    assert overlapping(pieces) == []
    inset_x, inset_y = stock.inset_mm
    for piece in pieces:
        corners = [(0.0, 0.0)] if stock.is_roll else [stock.corner_mm(n) for n in range(3)]
        assert any(
            x + inset_x - 0.1 <= piece.left
            and piece.right <= x + stock.width_mm - inset_x + 0.1
            and y + inset_y - 0.1 <= piece.top
            and piece.bottom <= y + stock.height_mm - inset_y + 0.1
            for x, y in corners
        ), piece


@each_stock
def test_what_stands_on_a_label_is_read_back(stock):
    shown = Pages(labels_pdf([label("7K3QX9WD4", is_demo=True)], stock)).text()
    # In two lines the code parts behind its first group.
    assert "7K3Q-X9WD-4" in shown.replace("7K3Q- X9WD", "7K3Q-X9WD").replace("\u00a0", "")
    for words in ("Slot B-12", "Body, INV-7 Harbour blue", "Batch 3, W-1042", "invented", "demo"):
        assert words in shown
    if stock.height_mm > 22:
        assert "2026-03-04" in shown


def test_the_day_is_that_of_the_shop():
    tokyo = Pages(labels_pdf([label(zone="Asia/Tokyo")], stock_named("roll-62x29"))).text()
    assert "2026-03-05" in tokyo


def test_a_blank_label_has_room_to_write_and_a_valid_code():
    (one,) = blank(1)
    pages = Pages(labels_pdf([one], stock_named("roll-62x29")))
    pages.keep("labels-blank")
    assert "Batch" in pages.text() and "Date" in pages.text() and "Slot" not in pages.text()
    assert read_card_code(one.opens.rpartition("/")[2]) == one.code


@pytest.mark.parametrize("start", [1, 2, 21])
def test_a_partly_used_sheet_begins_where_its_labels_do(start):
    stock = stock_named("a4-21")
    pages = Pages(labels_pdf([label(), label()], stock, start))
    assert len(pages) == (2 if start == 21 else 1)
    filled = set()
    for piece in pages.lying():
        for place in range(stock.each_page):
            left, top = stock.corner_mm(place)
            across = left < piece.left < left + stock.width_mm
            if across and top < piece.top < top + stock.height_mm:
                filled.add((piece.page, place))
    assert filled == {(0, start - 1), (1, 0) if start == 21 else (0, start)}


@pytest.mark.parametrize(
    ("name", "left", "top"),
    [
        # Worked out by hand from the sizes: half of what the labels leave of the paper.
        ("a4-21", 7.25, 15.15),
        ("a4-24", 0.0, 0.5),
        ("a4-65", 4.75, 10.7),
        ("letter-30", 4.7625, 12.7),
        ("letter-10", 3.96875, 12.7),
    ],
)
def test_sheets_lie_in_the_middle_of_their_paper(name, left, top):
    stock = stock_named(name)
    assert stock.margins_mm == pytest.approx((left, top), abs=0.01)
    assert stock.each_page == int(name.rpartition("-")[2])


@pytest.mark.parametrize("start", [0, 22, -1])
def test_a_place_the_sheet_lacks_is_refused(start):
    with pytest.raises(Invalid, match=rf"no place {start}.*1 to 21"):
        check_start(stock_named("a4-21"), start)


def test_other_refusals_say_what_to_do():
    with pytest.raises(Invalid, match="no stock 'a3-99'. Choose one of a4-21"):
        stock_named("a3-99")
    with pytest.raises(Invalid, match="A roll has no place 2. Leave the start at 1"):
        check_start(stock_named("roll-62x29"), 2)
    with pytest.raises(Invalid, match=f"0 labels. Print 1 to {MOST_LABELS} at once"):
        fresh_labels(0, public_address="", is_demo=False)
    with pytest.raises(Invalid, match="no card in slot Z-9, so there is no label"):
        check_count(0, "slot", "in slot Z-9")
    with pytest.raises(Invalid, match="more than 500 labels. Print at most 500"):
        check_count(MOST_LABELS + 1, "order", "")
    tiny = LabelStock(name="tiny", width_mm=20, height_mm=10)
    with pytest.raises(Invalid, match="does not fit into .* Choose a larger label"):
        labels_pdf([label()], tiny)


def test_fresh_codes_are_all_different_and_scan_as_the_rack_reads_them():
    labels = blank(MOST_LABELS, "")
    assert len({one.code for one in labels}) == MOST_LABELS
    assert all(read_card_code(one.opens) == one.code for one in labels)


def test_capitals_keep_the_code_small():
    # ISO/IEC 18004: version 2-M holds 38 characters of the alphanumeric set in 25 modules.
    opens = label("7K3QX9WD4").opens
    assert opens == "HTTPS://CARDS.EXAMPLE:8470/C/7K3QX9WD4" and len(opens) == 38
    assert quick_code(opens).modules == 25 + 8


HOSTILE = (
    '#panic("typed")',
    '"); #read("/etc/passwd")',
    "$ x^2 $ _a_ *b* `c` <d> @e // f /* g",
    "\\u{41} \\ ~ -- --- ... 'q' \"q\"",
    '#import "@preview/x:1.0.0": *',
    "a\nb\r\nc\td\x00e\u2028f",
    "\u202egnp.drowrehto",
    "'\"><svg onload=x>",
)


@pytest.mark.parametrize("name", HOSTILE)
def test_what_people_type_is_never_a_command(name):
    shown = Pages(labels_pdf([label(finish=name, colour="")], stock_named("roll-100x50"))).text()
    assert "7K" in shown or "-" in shown
    letters = [c for c in name if c.isalnum() and c.isascii()]
    seen = iter(c for c in shown if c.isalnum())
    # Every letter that was typed stands there, in its order.
    assert all(c in seen for c in letters), shown


def test_letters_the_fonts_lack_show_as_boxes_and_the_rest_stays():
    pages = Pages(labels_pdf([label(finish="漢字 blue", colour="")], stock_named("roll-62x29")))
    pages.keep("labels-other-letters")
    assert "blue" in pages.text()

"""The sheet as it is printed: read back from its picture, and opened as PDF and SVG."""

import io
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest
import zxingcpp
from PIL import Image

from colour.photo.sheet import printed_colours, sheet_target
from colour.photo.sheet_changes import with_chart
from colour.photo.target import BadTarget, Measurement, Patch, Target
from service.paper.photo_sheet import sheet_pdf, sheet_png, sheet_source, sheet_svg

DOTS = 10.0
POINTS_PER_MM = 72 / 25.4


@pytest.fixture(scope="module", params=["a4", "letter"])
def sheet(request):
    return sheet_target(request.param, "7K3Q")


@pytest.fixture(scope="module")
def picture(sheet):
    return Image.open(io.BytesIO(sheet_png(sheet, DOTS))).convert("RGB")


def span(start_mm, length_mm):
    """Pixels that lie wholly within a length."""
    return slice(int(np.ceil(start_mm * DOTS - 1e-6)), int((start_mm + length_mm) * DOTS + 1e-6))


def cut(pixels, place, grown_mm=0.0):
    return pixels[
        span(place.y_mm - grown_mm, place.height_mm + 2 * grown_mm),
        span(place.x_mm - grown_mm, place.width_mm + 2 * grown_mm),
    ]


def test_every_pixel_of_every_patch_has_its_exact_colour_and_the_next_ones_are_paper(
    sheet, picture
):
    pixels = np.asarray(picture)
    for patch in sheet.patches:
        rgb = np.array(printed_colours()[patch.name])
        assert np.all(cut(pixels, patch) == rgb), patch.name
        around = cut(pixels, patch, 0.3).copy()
        inner = cut(pixels, patch, 0.1)
        edge = (around.shape[0] - inner.shape[0]) // 2 or 1
        for strip in (around[:edge], around[-edge:], around[:, :edge], around[:, -edge:]):
            assert np.all(strip == 255), patch.name


def test_windows_are_blank_paper_within_a_thin_line(sheet, picture):
    pixels = np.asarray(picture)
    for window in sheet.windows:
        assert np.all(cut(pixels, window, -0.2) == 255)
        rim = cut(pixels, window, 0.15)
        assert rim[0].max() < 200 or rim[1].max() < 200  # the line is there


def test_the_codes_are_found_where_the_numbers_say(sheet, picture):
    found = {
        code.text: code.position
        for code in zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    }
    assert set(found) == {marker.text for marker in sheet.markers}
    for marker in sheet.markers:
        at = found[marker.text]
        right, bottom = marker.x_mm + marker.width_mm, marker.y_mm + marker.height_mm
        for point, corner in (
            (at.top_left, (marker.x_mm, marker.y_mm)),
            (at.top_right, (right, marker.y_mm)),
            (at.bottom_right, (right, bottom)),
            (at.bottom_left, (marker.x_mm, bottom)),
        ):
            # zxing-cpp gives whole pixels, a tenth of a millimetre here.
            assert (point.x / DOTS, point.y / DOTS) == pytest.approx(corner, abs=0.25)


def test_codes_have_sharp_modules_without_hairlines_and_a_quiet_zone(sheet, picture):
    pixels = np.asarray(picture).min(axis=-1)
    for marker in sheet.markers:
        quiet = 4 * marker.width_mm / 21  # ISO/IEC 18004: four modules
        block = pixels[span(marker.y_mm - quiet, quiet), span(marker.x_mm - quiet, 18 + 2 * quiet)]
        assert np.all(block == 255)
        # The solid 3 by 3 heart of a finder pattern is black all through.
        module = marker.width_mm / 21
        heart = pixels[
            span(marker.y_mm + 2 * module + 0.1, 3 * module - 0.2),
            span(marker.x_mm + 2 * module + 0.1, 3 * module - 0.2),
        ]
        assert np.all(heart == 0)


def test_the_picture_states_its_scale_and_that_it_is_srgb(sheet):
    picture = Image.open(io.BytesIO(sheet_png(sheet)))
    picture.load()
    assert picture.info["dpi"] == pytest.approx((254, 254), abs=0.01)
    assert picture.info["srgb"] == 1
    assert picture.size == (round(sheet.width_mm * 10), round(sheet.height_mm * 10))
    finer = Image.open(io.BytesIO(sheet_png(sheet, 12)))
    assert finer.size == pytest.approx((sheet.width_mm * 12, sheet.height_mm * 12), abs=1)


def test_a_bar_of_100_mm_is_on_the_sheet(sheet, picture):
    dark = np.asarray(picture).max(axis=-1) < 60
    longest = 0
    for row in dark[-int(30 * DOTS) :]:
        edges = np.flatnonzero(np.diff(np.concatenate(([0], row.view(np.int8), [0]))))
        longest = max(longest, int((edges[1::2] - edges[::2]).max(initial=0)))
    assert longest / DOTS == pytest.approx(100, abs=0.1)


def test_the_pdf_is_one_page_of_the_papers_size_with_tagged_colours(sheet):
    pdf = sheet_pdf(sheet)
    assert pdf.startswith(b"%PDF-") and pdf.rstrip().endswith(b"%%EOF")
    assert len(re.findall(rb"/Type ?/Page\b", pdf)) == 1
    (box,) = re.findall(rb"/MediaBox ?\[([^\]]*)\]", pdf)
    expected = [0, 0, sheet.width_mm * POINTS_PER_MM, sheet.height_mm * POINTS_PER_MM]
    assert [float(number) for number in box.split()] == pytest.approx(expected, abs=0.01)
    assert b"/ICCBased" in pdf


def test_the_svg_holds_every_colour_and_no_font(sheet):
    svg = sheet_svg(sheet)
    root = ElementTree.fromstring(svg)
    width, height = (float(number) for number in root.attrib["viewBox"].split()[2:])
    assert (width, height) == pytest.approx(
        (sheet.width_mm * POINTS_PER_MM, sheet.height_mm * POINTS_PER_MM), abs=0.01
    )
    fills = {item.attrib.get("fill", "") for item in root.iter()}
    for red, green, blue in set(printed_colours().values()):
        assert fills & {f"#{red:02x}{green:02x}{blue:02x}", f"rgb({red}, {green}, {blue})"}
    assert b"font-family" not in svg and b"http://www.w3.org/2000/svg" in svg


def test_the_same_sheet_is_the_same_bytes_each_time(sheet):
    assert sheet_pdf(sheet) == sheet_pdf(sheet)
    assert sheet_png(sheet, 4) == sheet_png(sheet, 4)


def test_the_print_code_paper_and_instructions_stand_on_the_sheet(sheet):
    source = sheet_source(sheet)
    for words in ("print 7K3Q", "Print in colour", "This bar is 100 mm", "Photo sheet", "master"):
        assert words in source


def chart(name='invented "chart" \\ #1'):
    patches = tuple(
        Patch(name=f"A{i}", x_mm=2, y_mm=2 + 8.0 * i, width_mm=6, height_mm=7, lab=(50, 0, 0))
        for i in range(6)
    )
    return Target(
        name=name,
        width_mm=50,
        height_mm=80,
        measurement=Measurement(illuminant="D65", observer="2"),
        patches=patches,
        windows=(),
    )


def test_a_sheet_with_a_chart_leaves_the_charts_place_blank_but_for_words(sheet):
    both = with_chart(sheet, chart())
    pixels = np.asarray(Image.open(io.BytesIO(sheet_png(both, DOTS))).convert("RGB"))
    window = sheet.window("card 2")
    inside = cut(pixels, window, -8)
    assert np.mean(inside == 255) > 0.95
    assert inside.min() < 100


def test_another_target_and_an_absurd_scale_are_refused(sheet):
    with pytest.raises(BadTarget, match="is not the photo sheet, so it cannot be printed"):
        sheet_pdf(chart())
    with pytest.raises(BadTarget, match="is not the photo sheet"):
        sheet_pdf(replace(sheet, markers=sheet.markers[:2]))
    with pytest.raises(BadTarget, match="600 dots per mm cannot be drawn"):
        sheet_png(sheet, 600)

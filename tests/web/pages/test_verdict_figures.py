"""What a verdict's page draws: every drawing beside its numbers, and the numbers are right.

ΔE00 is by scikit-image, off the page's own numbers; spectra are those that were logged.
"""

import json
import re
from dataclasses import replace
from types import SimpleNamespace
from urllib.parse import urlsplit

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from service.domain.records.cards import Card
from service.domain.records.measuring import AngleReading, AngleSpectrum, Verdict
from service.domain.terms import FinishKind
from service.web.pages import figures
from tests.chart import chart_every
from tests.web.pages.audit_shop import BLUE, evidence, table
from tests.web.pages.figure_shop import DARK_FLOP, FLAKE, PATCH, FigureShop
from tests.web.pages.rack_shop import RackShop

ANGLE_TABLE = "Batch 2 less the master, angle by angle"


def made(folder, story):
    shop = FigureShop(folder)
    story(shop)
    return shop


@pytest.fixture(scope="module")
def flake(tmp_path_factory):
    shop = made(tmp_path_factory.mktemp("flake"), FigureShop.flake)
    yield shop
    shop.close()


@pytest.fixture(scope="module")
def solid(tmp_path_factory):
    shop = made(tmp_path_factory.mktemp("solid"), FigureShop.solid_with_spectra)
    yield shop
    shop.close()


def address(shop, number=2):
    verdict = shop.verdict(batch_id=shop.told.batches[number])
    return f"/jobs/{verdict.job_id}/verdicts/{verdict.root}"


def opened(shop, query="", number=2):
    return shop.browser(shop.manager).open(address(shop, number) + query)


def card_page(shop, number=2, query=""):
    code = shop.hand.file.get(Card, shop.told.cards[number]).code
    return shop.browser(shop.manager).open(f"/c/{code}{query}")


def number(text):
    return float(text.replace("−", "-").replace("+", ""))


def drawing(sheet, finding):
    """The one figure whose finding begins so."""
    found = [
        figure
        for figure in sheet.main.all("figure")
        if figure.one("figcaption").text.startswith(finding)
    ]
    assert len(found) == 1, [f.one("figcaption").text for f in sheet.main.all("figure")]
    return found[0]


def path_of(figure, class_):
    return [p.attributes["d"] for p in figure.all("path", class_=class_)]


def points_of(path):
    return [tuple(map(float, p.split(","))) for p in path.strip("MZ").split("L")]


def axis(figure, class_, place):
    """Positions to values by the letters on an axis."""
    ticks = [
        (float(t.attributes[place]), number(t.text)) for t in figure.all("text", class_=class_)
    ]
    (p, v), (q, w) = ticks[0], ticks[-1]
    return lambda at: v + (at - p) * (w - v) / (q - p)


def test_every_angle_stands_in_the_table_with_its_own_limit_range_and_words(flake):
    sheet = opened(flake)
    assert sheet.main.one("h2", id="angles").text == "Every angle by itself; the worst decided"
    rows = table(sheet, ANGLE_TABLE)
    assert [row[0] for row in rows] == [
        "−15°, behind the gloss",
        "15°, face",
        "25°, face",
        "45°, middle",
        "75°, flop",
        "110°, flop decided",
    ]
    judged = {
        one["angle"]: one
        for one in evidence(flake.verdict(batch_id=flake.told.batches[2]))["angles"]
    }
    for row, angle in zip(rows, FLAKE, strict=True):
        expected = float(deltaE_ciede2000(FLAKE[angle], DARK_FLOP[angle]))
        figure, low, high = re.fullmatch(r"([\d.]+) ([\d.]+) to ([\d.]+)", row[2]).groups()
        assert float(figure) == pytest.approx(expected, abs=0.0051)
        assert float(low) <= expected <= float(high)
        assert number(row[3]) == (1.4 if angle in (15, -15) else 0.8)
        assert number(row[3]) == pytest.approx(judged[angle]["limit"])
        step = np.subtract(DARK_FLOP[angle], FLAKE[angle])
        assert [number(cell) for cell in row[4:7]] == pytest.approx(step, abs=0.0051)
    assert rows[0][1] == "Blends" and rows[-1][1] == "Shows"
    assert "darker" in rows[-1][7] and rows[0][7] == "–none"


def test_the_colours_the_flop_curve_is_drawn_from_are_listed(flake):
    rows = table(opened(flake), "Means of the repeats")
    assert len(rows) == 12
    for row, lab in zip(rows[::2], FLAKE.values(), strict=True):
        assert row[1] == "The master"
        assert [number(cell) for cell in row[2:]] == pytest.approx(lab, abs=0.0051)


def test_the_flop_of_both_is_told_beside_the_curve(flake):
    """Alman's index worked out here from the colours that were logged; formula from memory."""
    sheet = opened(flake)
    figure = drawing(sheet, "Batch 2: ")
    assert "darker at the flop" in figure.one("figcaption").text
    index = [
        2.69 * (lab[15][0] - lab[110][0]) ** 1.11 / lab[45][0] ** 0.86 for lab in (FLAKE, DARK_FLOP)
    ]
    told = re.search(
        r"Flop index: ([\d.]+) \(u [\d.]+\) of the master, ([\d.]+) \(u [\d.]+\) of batch 2",
        sheet.main.text,
    )
    assert [float(one) for one in told.groups()] == pytest.approx(index, abs=0.02)


def test_each_angle_s_point_stands_over_its_own_limit_and_leads_to_the_card(flake):
    figure = drawing(opened(flake), "Worst at 110°: 1.57, limit 0.80")
    points = figure.all("a", class_="point")
    assert len(points) == 6 and len(figure.all("rect", class_="chart-band")) == 6
    code = flake.hand.file.get(Card, flake.told.cards[2]).code
    assert {point.attributes["href"] for point in points} == {f"/c/{code}"}
    assert points[-1].has(class_="point-shows") and points[0].has(class_="point-blends")
    bold = [t.text for t in figure.all("text", class_="chart-decides")]
    assert bold == ["110"]


def test_an_angle_that_was_not_read_is_said_and_drawn_as_such(tmp_path):
    few = {angle: lab for angle, lab in DARK_FLOP.items() if angle != 75}
    shop = made(tmp_path, lambda shop: shop.flake(few))
    sheet = opened(shop)
    assert sheet.main.one("h2", id="angles").text == "Every angle by itself; 75° was not read"
    row = next(row for row in table(sheet, ANGLE_TABLE) if row[0].startswith("75°"))
    assert row[1] == "Not read" and row[3] == "0.80" and row[2] == "–none"
    figure = drawing(sheet, "Worst at 110°")
    assert len(figure.all("a", class_="point")) == 5
    assert [t.text for t in figure.all("text", class_="chart-unread")] == ["?"]
    assert "? was not read" in sheet.main.text
    assert [a.text for a in sheet.main.one("nav", class_="figure-angles").all("a")][-2:] == [
        "45°",
        "110°",
    ]
    shop.close()


@pytest.mark.parametrize("angle", ["", "15", "45", "75"])
def test_the_contour_on_the_page_lies_at_the_limit_by_the_page_s_own_numbers(flake, angle):
    sheet = opened(flake, f"?angle={angle}" if angle else "")
    at = int(angle or 110)
    chosen = [
        a.text
        for a in sheet.main.one("nav", class_="figure-angles").all("a")
        if "aria-current" in a.attributes
    ]
    assert chosen == [f"{at}°"]
    rows = table(sheet, f"Position in CIELAB units at {at}°")
    master = [number(row[1]) for row in rows]
    limit = 1.4 if at == 15 else 0.8
    figure = drawing(sheet, "Batch 2 reads")
    across, up = axis(figure, "tick-x", "x"), axis(figure, "tick-y", "y")
    level = path_of(figure, "contour-level") or path_of(figure, "contour-inside")
    lines = [(level[0], 0.0)]
    if path_of(figure, "contour-level") and path_of(figure, "contour-inside"):
        lines.append((path_of(figure, "contour-inside")[0], number(rows[0][3])))
    for path, lightness in lines:
        labs = [
            (master[0] + lightness, master[1] + across(x), master[2] + up(y))
            for x, y in points_of(path)
        ]
        found = deltaE_ciede2000(np.tile(master, (len(labs), 1)), np.array(labs))
        # The page prints two decimals, half of the last of which is worth so much.
        assert found == pytest.approx(limit, abs=0.001 if lightness == 0 else 0.006)


def test_the_contour_of_a_blue_is_tilted_on_the_page_too(solid):
    sheet = opened(solid)
    rows = table(sheet, "Position in CIELAB units")
    master = [number(row[1]) for row in rows]
    figure = drawing(sheet, "Batch 2 reads beyond the limit of 0.80")
    across, up = axis(figure, "tick-x", "x"), axis(figure, "tick-y", "y")
    away = [(across(x), up(y)) for x, y in points_of(path_of(figure, "contour-level")[0])]
    labs = [(master[0], master[1] + a, master[2] + b) for a, b in away]
    found = deltaE_ciede2000(np.tile(master, (len(labs), 1)), np.array(labs))
    assert found == pytest.approx(0.8, abs=0.001)
    a, b = max(away, key=lambda point: np.hypot(*point))
    assert a * b < 0 and np.hypot(a, b) > 3 * min(np.hypot(*point) for point in away)
    for row, index in zip(rows, range(3), strict=True):
        for end in row[4].split(" or "):
            moved = [part + number(end) * (i == index) for i, part in enumerate(master)]
            assert deltaE_ciede2000(master, moved) == pytest.approx(0.8, abs=0.004)


def test_the_point_is_where_the_table_says_and_leads_to_its_card(solid):
    sheet = opened(solid)
    rows = table(sheet, "Position in CIELAB units")
    figure = drawing(sheet, "Batch 2 reads beyond")
    across, up = axis(figure, "tick-x", "x"), axis(figure, "tick-y", "y")
    point = figure.one("a", class_="point")
    touch = point.one("circle", class_="point-touch").attributes
    assert across(float(touch["cx"])) == pytest.approx(number(rows[1][3]), abs=0.006)
    assert up(float(touch["cy"])) == pytest.approx(number(rows[2][3]), abs=0.006)
    code = solid.hand.file.get(Card, solid.told.cards[2]).code
    assert point.attributes["href"] == f"/c/{code}"
    assert solid.browser(solid.manager).open(point.attributes["href"]).status == 200


def test_both_spectra_their_difference_and_all_their_numbers_are_shown(solid):
    sheet = opened(solid)
    nm, chart = chart_every(10)
    rows = table(sheet, "Light reflected, %")
    assert len(rows) == len(nm) == 41
    master, card = chart[PATCH], chart[PATCH] * np.where(nm > 560, 1.15, 1.0) + 0.0005
    for row, wavelength, one, other in zip(rows, nm, master, card, strict=True):
        assert row[0] == f"{wavelength:g} nm"
        assert number(row[1]) == pytest.approx(100 * one, abs=0.0051)
        assert number(row[2]) == pytest.approx(100 * other, abs=0.0051)
        assert number(row[3]) == pytest.approx(100 * (other - one), abs=0.0051)
    both = drawing(sheet, "Both spectra")
    lines = [len(points_of(p.attributes["d"])) for p in both.all("path", class_="line")]
    assert lines == [41, 41]
    assert both.all("path", class_="line-solid") and both.all("path", class_="line-dashed")
    assert [t.text for t in both.all("text", class_="line-name")] == ["master", "batch 2"]
    assert drawing(sheet, "Batch 2 reflects more than the master, most at 700 nm")
    assert "the master, mean of 3 repeats" in sheet.main.text


def test_a_spectrum_of_one_nanometre_is_drawn_and_listed_in_every_second_value(tmp_path):
    shop = FigureShop(tmp_path)
    shop.hand.open(coats_to_hide=3)
    nm = np.arange(360, 831)
    reflectance = 0.2 + 0.1 * np.sin(nm / 60)
    for number_, factor in ((1, 1.0), (2, 1.01)):
        shop.sprayed(number_, None)
        shop.told.readings[number_] = shop.read_spectrum(number_, nm, reflectance * factor)
        if number_ == 1:
            shop.hand.master(shop.told.cards[1], shop.told.readings[1])
    sheet = opened(shop)
    rows = table(sheet, "Light reflected, %")
    assert len(rows) == 236
    assert [row[0] for row in rows[:3]] == ["360 nm", "362 nm", "364 nm"]
    assert "Of 471 wavelengths one in 2 is drawn and listed" in sheet.main.text
    for row, value in zip(rows, reflectance[::2], strict=True):
        assert number(row[1]) == pytest.approx(100 * value, abs=0.0051)
    shop.close()


def test_spectra_that_share_no_wavelength_are_drawn_and_not_subtracted(tmp_path):
    shop = FigureShop(tmp_path)
    shop.hand.open(coats_to_hide=3)
    for number_, first in ((1, 400.0), (2, 405.0)):
        shop.sprayed(number_, None)
        nm = first + 10.0 * np.arange(30)
        shop.told.readings[number_] = shop.read_spectrum(number_, nm, 0.2 + 0 * nm)
        if number_ == 1:
            shop.hand.master(shop.told.cards[1], shop.told.readings[1])
    sheet = opened(shop)
    assert "They share no wavelength" in sheet.main.text
    rows = table(sheet, "Light reflected, %")
    assert len(rows) == 60 and all(row[3] == "–none" for row in rows)
    shop.close()


def test_the_card_s_page_shows_its_spectrum_beside_the_master_s(solid):
    sheet = card_page(solid)
    assert sheet.main.one("h2", id="spectra").text == "Its spectrum beside the master’s"
    assert len(table(sheet, "Light reflected, %")) == 41
    assert table(sheet, "Position in CIELAB units")
    alone = card_page(solid, 1)
    assert alone.main.one("h2", id="spectra").text == "Its spectrum"
    assert len(table(alone, "Light reflected, %")[0]) == 2


def test_a_card_read_elsewhere_without_spectra_leaves_the_master_s_alone(tmp_path):
    shop = FigureShop(tmp_path)
    shop.solid_with_spectra(second=False)
    shop.told.readings[2] = shop.hand.read(shop.told.cards[2], (33.0, 13.5, -46.0))
    sheet = opened(shop)
    assert sheet.main.one("h2", id="spectra").text == "The spectrum"
    assert "There is no spectrum of batch 2 to lay beside it." in sheet.main.text
    shop.close()


def test_the_card_s_page_draws_its_angles_and_keeps_the_place_folded_until_asked(flake):
    sheet = card_page(flake)
    assert len(table(sheet, ANGLE_TABLE)) == 6
    assert drawing(sheet, "Batch 2: darker at the flop")
    folded = next(d for d in sheet.main.all("details") if "drawn" in d.one("summary").text)
    assert "open" not in folded.attributes
    link = folded.one("nav").all("a")[0].attributes["href"]
    assert urlsplit(link).query == "angle=-15" and urlsplit(link).fragment == "where"
    asked = flake.browser(flake.manager).open(link)
    folded = next(d for d in asked.main.all("details") if "drawn" in d.one("summary").text)
    assert "open" in folded.attributes
    assert table(asked, "Position in CIELAB units at −15°")


def test_a_joint_is_drawn_from_its_first_side(tmp_path):
    shop = FigureShop(tmp_path)
    shop.story()
    joint = shop.told.joints["Wing Bonnet"]
    sheet = shop.browser(shop.manager).open(f"/jobs/{shop.hand.job_id}/joints/{joint}")
    assert sheet.main.one("h2", id="where").text == "Where batch 3 lies from batch 1"
    rows = table(sheet, "Position in CIELAB units")
    verdict = shop.verdict(joint_id=joint)
    assert [number(row[3]) for row in rows] == pytest.approx(
        (verdict.delta_l, verdict.delta_a, verdict.delta_b), abs=0.0051
    )
    shop.close()


def test_a_reading_whose_range_crosses_the_limit_says_so_over_its_drawing(tmp_path):
    shop = FigureShop(tmp_path)
    shop.hand.open(coats_to_hide=3)
    restless = {"repeats": ((0.3, -0.2, 0.2), (-0.2, 0.3, -0.1), (-0.1, -0.1, -0.1))}
    shop.sprayed(1, BLUE, standard_uncertainty=None, **restless)
    shop.hand.master(shop.told.cards[1], shop.told.readings[1])
    shop.sprayed(2, (44.2, -4.9, -22.4), standard_uncertainty=None, **restless)
    sheet = opened(shop)
    assert "could not be told" in sheet.heading
    figure = drawing(sheet, "Batch 2 reads within the limit of 0.80, but its range of ")
    assert "crosses it" in figure.one("figcaption").text
    assert figure.all("ellipse", class_="chart-region")
    assert "95 % region of the reading" in sheet.main.text
    shop.close()


def test_a_car_is_drawn_from_the_card_of_its_stored_finish(tmp_path):
    shop = RackShop(tmp_path)
    shop.story()
    shop.repair()
    shop.read_car((22.8, -11.6, 5.2))
    verdict = shop.hand.file.all(Verdict)[-1]
    sheet = shop.browser(shop.manager).open(f"/jobs/{verdict.job_id}/verdicts/{verdict.root}")
    assert sheet.main.one("h2", id="where").text == "Where the car lies from the stored card"
    rows = table(sheet, "Position in CIELAB units")
    assert [number(row[3]) for row in rows] == pytest.approx(
        (verdict.delta_l, verdict.delta_a, verdict.delta_b), abs=0.0051
    )
    shop.close()


def test_a_repair_s_batch_is_drawn_from_the_master_of_the_job_it_goes_back_to(tmp_path):
    shop = RackShop(tmp_path)
    shop.story()
    master = shop.master.code
    shop.repair()
    shop.hung((22.4, -11.9, 4.5), "R-01", panel=shop.damaged)
    verdict = shop.hand.file.all(Verdict)[-1]
    sheet = shop.browser(shop.manager).open(f"/jobs/{verdict.job_id}/verdicts/{verdict.root}")
    rows = table(sheet, "Position in CIELAB units")
    assert [number(row[3]) for row in rows] == pytest.approx(
        (verdict.delta_l, verdict.delta_a, verdict.delta_b), abs=0.0051
    )
    assert sheet.main.one("h2", id="readings").text == "Two readings it rests on"
    facts = [
        pair for pair in sheet.main.all("div") if [dt.text for dt in pair.all("dt")] == ["Master"]
    ]
    assert facts[0].one("a").attributes["href"] == f"/c/{master}"
    code = shop.hand.file.get(Card, verdict.card_id).code
    card = shop.browser(shop.manager).open(f"/c/{code}")
    assert table(card, "Position in CIELAB units") == rows
    assert card.link("the master") == f"/c/{master}"
    shop.close()


def test_another_angle_of_a_card_s_own_spectra_is_chosen_by_its_address(tmp_path):
    shop = FigureShop(tmp_path)
    shop.hand.open(FinishKind.METALLIC, coats_to_hide=3)
    shop.sprayed(1, None)
    nm = np.arange(400.0, 701.0, 10.0)
    at = {15: 0.9, 45: 0.3, 110: 0.1}
    spectra = tuple(
        AngleSpectrum(angle=a, wavelengths_nm=tuple(nm), reflectance=((level,) * len(nm),))
        for a, level in at.items()
    )
    colours = tuple(
        AngleReading(angle=a, repeats=(shop.lab(nm, np.full(len(nm), level)),))
        for a, level in at.items()
    )
    shop.hand.read(
        shop.told.cards[1],
        (50.0, 0.0, 0.0),
        geometry="multi-angle",
        specular=None,
        angles=colours,
        spectra=spectra,
    )
    sheet = card_page(shop, 1)
    assert table(sheet, "Light reflected, % at 45°")[0][1] == "30.00"
    nav = sheet.main.one("nav", class_="figure-angles")
    assert [a.text for a in nav.all("a")] == ["15°", "45°", "110°"]
    other = shop.browser(shop.manager).open(nav.all("a")[2].attributes["href"])
    assert table(other, "Light reflected, % at 110°")[0][1] == "10.00"
    shop.close()


def test_what_the_readings_do_not_bear_out_is_not_drawn(solid, monkeypatch):
    verdict = solid.verdict(batch_id=solid.told.batches[2])
    working = json.loads(verdict.evidence)
    working["angles"][0]["difference"][1] += 0.01
    other = replace(verdict, evidence=json.dumps(working))
    here = SimpleNamespace(link=lambda name, **parts: f"/{name}")
    place = [
        figures.figures_on_record(here, solid.hand.file, one, "", str).place
        for one in (verdict, other)
    ]
    assert place[0] is not None and place[1] is None

    monkeypatch.setattr(figures, "SAME", -1.0)
    sheet = opened(solid)
    assert "It cannot be drawn: its readings do not by themselves give" in sheet.main.text
    rows = table(sheet, "Batch 2 less the master, CIELAB units")
    assert [number(cell) for cell in rows[0][1:]] == pytest.approx(
        (verdict.delta_l, verdict.delta_a, verdict.delta_b), abs=0.0051
    )


def test_an_angle_nobody_judged_falls_back_to_the_one_that_decided(flake):
    for asked in ("60", "x", "-15°", "<script>"):
        sheet = opened(flake, f"?angle={asked}")
        assert sheet.status == 200
        assert table(sheet, "Position in CIELAB units at 110°")


def test_a_drawing_carries_no_style_and_is_said_in_words(flake, solid):
    for sheet in (opened(flake), opened(solid)):
        assert "style=" not in sheet.html and "<style" not in sheet.html
        for figure in sheet.main.all("figure"):
            svg = figure.one("svg")
            said = svg.attributes.get("aria-label") or figure.one("div").attributes["aria-label"]
            assert figure.one("figcaption").text in said
            assert svg.attributes.get("role") == "img" or svg.attributes["aria-hidden"] == "true"

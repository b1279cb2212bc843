"""Cards side by side and cards near a reading; differences checked with another program's."""

import re

import pytest
from coloraide import Color

from service.domain.card_code import grouped, new_card_code
from service.domain.terms import FinishKind
from tests.web.pages.rack_shop import GREEN, NEAR, YELLOWER, RackShop, codes_in, query_of

# Near blacks, invented: the second bluer, the third redder, the fourth lighter than the first.
BLACKS = [(8.0, 0.1, -0.3), (8.1, 0.0, -2.6), (8.2, 2.4, -0.2), (11.0, 0.2, 0.6)]


@pytest.fixture
def shop(tmp_path):
    shop = RackShop(tmp_path)
    yield shop
    shop.close()


@pytest.fixture(scope="module")
def dark(tmp_path_factory):
    """A shop with near blacks, to be read only."""
    shop = RackShop(tmp_path_factory.mktemp("blacks"))
    shop.hand.open(colour_name="Near blacks")
    shop.blacks = [shop.hung(lab, f"N-{n}") for n, lab in enumerate(BLACKS)]
    yield shop
    shop.close()


@pytest.fixture
def blacks(dark):
    return dark.blacks


@pytest.fixture(scope="module")
def green(tmp_path_factory):
    """A shop with the story of the green, to be read only."""
    shop = RackShop(tmp_path_factory.mktemp("green"))
    shop.story()
    yield shop
    shop.close()


def delta_e(one, other):
    return Color("lab-d65", list(one)).delta_e(Color("lab-d65", list(other)), method="2000")


def compared(shop, cards):
    query = "&".join(f"codes={card.code}" for card in cards)
    return shop.refinishing().open(f"/rack/compare?{query}")


def test_no_card_named_yet_asks_for_codes(shop):
    sheet = shop.refinishing().open("/rack/compare")
    assert sheet.heading == "Lay cards side by side"
    assert sheet.main.one("textarea", name="codes")


def test_every_pair_has_its_difference(dark, blacks):
    sheet = compared(dark, blacks)
    rows = sheet.main.one("table", class_="pairs").one("tbody").all("tr")
    for i, row in enumerate(rows):
        for j, cell in enumerate(row.all("td")):
            if i == j:
                assert "the same card" in cell.text
                continue
            expected = delta_e(BLACKS[i], BLACKS[j])
            if expected > 5:
                assert cell.text.startswith("over 5")
            else:
                shown = float(re.match(r"[\d.]+", cell.text).group())
                # Shown to two decimals; the repeats are rounded to four.
                assert shown == pytest.approx(expected, abs=6e-3)


def test_the_heading_says_how_far_apart_the_widest_pair_is(dark, blacks):
    sheet = compared(dark, blacks[:2])
    assert sheet.heading == f"{delta_e(*BLACKS[:2]):.2f} apart"
    widest = max(delta_e(a, b) for a in BLACKS for b in BLACKS)
    assert f"{widest:.2f} apart at the widest" in compared(dark, blacks).heading


def test_which_is_bluer_redder_greener_deeper_is_answered(dark, blacks):
    ends = compared(dark, blacks).main.one("dl", class_="facts").text
    first, blue, red, light = (grouped(card.code) for card in blacks)
    assert f"Lightest is {light}, deepest {first}" in ends
    assert f"Reddest is {red}, greenest {blue}" in ends
    assert f"Yellowest is {light}, bluest {blue}" in ends
    assert "ΔL* 3.00 between them" in ends and "Δb* 3.20 between them" in ends


def test_ends_that_lie_within_the_noise_say_so(shop):
    shop.hand.open()
    cards = [shop.hung((30.0, a, 0.0), f"N-{n}") for n, a in enumerate((0.0, 0.05))]
    said = compared(shop, cards).main.one("dl", class_="facts").text
    assert "Δa* 0.05 between them, which is within the noise of their readings" in said


def test_each_is_told_against_the_first_and_any_can_be_made_first(dark, blacks):
    sheet = compared(dark, blacks[:3])
    _, blue, red = (item.text for item in sheet.main.one("ol", class_="laid").all("li"))
    assert "Bluer" in blue and "Redder" in red
    turned = sheet.follow(f"Make first: {grouped(blacks[2].code)}")
    assert query_of(turned.address)["codes"] == [blacks[n].code for n in (2, 0, 1)]
    assert "Greener" in turned.main.one("ol", class_="laid").all("li")[1].text


def test_a_card_can_be_taken_off(dark, blacks):
    sheet = compared(dark, blacks[:3]).follow(f"Take off {grouped(blacks[0].code)}")
    assert query_of(sheet.address)["codes"] == [blacks[1].code, blacks[2].code]


def test_codes_come_in_any_typing_and_each_card_once(dark, blacks):
    one, two = (card.code for card in blacks[:2])
    typed = f"{grouped(one).lower()}%0A{one},%20{two[:4]}%20{two[4:]}"
    sheet = dark.refinishing().open(f"/rack/compare?codes={typed}")
    assert len(sheet.main.one("ol", class_="laid").all("li")) == 2


def test_a_code_that_is_none_keeps_the_cards_that_are_there(dark, blacks):
    sheet = dark.refinishing().open(f"/rack/compare?codes={blacks[0].code}&codes=nonsense")
    assert sheet.status == 422 and "nonsense" in sheet.errors[0]
    assert blacks[0].code in sheet.html
    missing = new_card_code()
    sheet = dark.refinishing().open(f"/rack/compare?codes={blacks[0].code}&codes={missing}")
    assert sheet.status == 422 and missing in sheet.errors[0]


def test_cards_read_in_unlike_ways_are_not_told_against_each_other(shop):
    shop.hand.open()
    one = shop.hung(GREEN, "N-1")
    other = shop.hung(GREEN, "N-2", illuminant="A", observer=2)
    sheet = compared(shop, [one, other])
    assert "not read alike" in sheet.heading
    assert "Read both alike." in sheet.main.text


def test_a_card_never_read_says_so(shop):
    shop.hand.open()
    sheet = compared(shop, [shop.hung(GREEN, "N-1"), shop.hung(None, "N-2")])
    assert "was never read" in sheet.main.text


def nearest(shop, lab=GREEN, **fields):
    given = {
        **dict(zip("lab", lab, strict=True)),
        "illuminant": "D65",
        "observer": "10",
        "geometry": "d:8",
        **fields,
    }
    query = "&".join(f"{name}={value}" for name, value in given.items())
    return shop.refinishing().open(f"/rack/nearest?{query}")


def test_the_nearest_cards_come_with_difference_uncertainty_and_direction(green):
    car = (22.0, -12.0, 4.6)
    sheet = nearest(green, car, uncertainty="0,05")
    hits = sheet.main.all("div", class_="hit")
    expected = sorted((delta_e(car, lab), lab) for lab in (GREEN, GREEN, NEAR, YELLOWER))
    shown = [float(hit.one("p", class_="near-figure").one("strong").text) for hit in hits]
    assert shown == pytest.approx([round(d, 2) for d, _ in expected], abs=0.011)
    assert sheet.heading == f"The nearest card lies {shown[0]:.2f} from what was read"
    assert all("standard uncertainty" in hit.text for hit in hits)
    assert codes_in(sheet)[-1] == green.bad.code
    assert "yellower than what was read" in hits[-1].text.lower()


def test_without_the_instruments_own_figure_no_uncertainty_is_claimed(green):
    assert "standard uncertainty 0" not in nearest(green).main.text


def test_only_cards_read_alike_are_looked_through(green):
    sheet = nearest(green, observer="2")
    assert sheet.heading == "No card was read under those conditions"
    assert nearest(green, specular="excluded").heading == "No card was read under those conditions"
    assert codes_in(nearest(green, specular="included"))


def test_effect_finishes_are_found_at_an_angle(shop):
    shop.hand.open(FinishKind.METALLIC)
    labs = {15: (90.0, 0.0, 1.0), 45: (55.0, 0.0, 1.0), 110: (30.0, 0.0, 1.0)}
    card = shop.hung(labs, "M-1", geometry="multi-angle")
    sheet = nearest(shop, (55.0, 0.0, 1.0), geometry="multi-angle", angle="45")
    assert codes_in(sheet) == [card.code]


SILVER = {15: (90.0, 0.0, 1.0), 45: (55.0, 0.0, 1.0), 110: (30.0, 0.0, 1.0)}
FURTHER = "15 90 0 1%0A110 30,0 0 1"


@pytest.fixture(scope="module")
def silvers(tmp_path_factory):
    """Three metallics, to be read only: one off at the flop, one a little off, one half read."""
    shop = RackShop(tmp_path_factory.mktemp("silvers"))
    shop.hand.open(FinishKind.METALLIC)
    fan = {"geometry": "multi-angle", "specular": None}
    dark_flop = {**SILVER, 110: (26.0, 0.0, 1.0)}
    even = {angle: (lab[0] + 0.5, *lab[1:]) for angle, lab in SILVER.items()}
    half = {45: (55.9, 0.0, 1.0), 15: (90.9, 0.0, 1.0)}
    shop.cards = [
        shop.hung(labs, f"M-{n}", **fan) for n, labs in enumerate((dark_flop, even, half))
    ]
    yield shop
    shop.close()


def test_at_several_angles_the_worst_ranks_and_is_named(silvers):
    dark_flop, even, half = silvers.cards
    car = SILVER[45]
    sheet = nearest(silvers, car, geometry="multi-angle", angle="45", further=FURTHER)
    assert codes_in(sheet) == [even.code, half.code, dark_flop.code]
    hits = sheet.main.all("div", class_="hit")
    last = delta_e(SILVER[110], (26.0, 0.0, 1.0))
    assert (
        f"{last:.2f} at 110°" in hits[2].text and "Darker than what was read there" in hits[2].text
    )
    assert "0.00 at 15°, 0.00 at 45°" in hits[2].text
    assert "Not read at 110°, so it may lie further off there." in hits[1].text
    near = delta_e(car, (55.5, 0.0, 1.0))
    assert sheet.heading == f"The nearest card lies {near:.2f} from what was read, at 45°"
    assert "at 45°, 15° and 110°" in sheet.document.text
    # By 45° alone the order is another.
    alone = nearest(silvers, car, geometry="multi-angle", angle="45")
    assert codes_in(alone) == [dark_flop.code, even.code, half.code]


def test_cards_read_at_several_angles_are_told_angle_by_angle(silvers):
    dark_flop, even, half = silvers.cards
    sheet = compared(silvers, [even, dark_flop, half])
    one = {angle: (lab[0] + 0.5, *lab[1:]) for angle, lab in SILVER.items()}
    other = {**SILVER, 110: (26.0, 0.0, 1.0)}
    apart = {angle: delta_e(one[angle], other[angle]) for angle in SILVER}
    assert sheet.heading == f"Three cards, {apart[110]:.2f} apart at the widest, at 110°"
    section = sheet.main.one("section", **{"aria-labelledby": "angles"})
    first, second = section.all("table")
    rows = [row.text for row in first.one("tbody").all("tr")]
    assert [row.split()[0] for row in rows] == ["15°", "45°", "110°"]
    for row, angle in zip(rows, SILVER, strict=True):
        assert f"{apart[angle]:.2f}" in row
        assert f"−{one[angle][0] - other[angle][0]:.2f}" in row
    assert "worst" in rows[2] and "darker" in rows[2]
    assert [row.text.split()[0] for row in second.one("tbody").all("tr")] == ["15°", "45°"]
    assert f"{grouped(half.code)} was not read at 110°." in section.text
    assert "not yet alike to the eye" in section.text
    words = [p.text for p in sheet.main.all("p", class_="laid-words")]
    assert words[1].startswith(f"{apart[110]:.2f} at 110°, where it differs most: darker")
    words_of_flop = "Darker at the face, the middle and the flop, so it travels more"
    assert words_of_flop in sheet.main.text
    for face, middle, flop in ((90.5, 55.5, 30.5), (90.0, 55.0, 26.0)):
        # The formula by hand; one decimal is shown.
        index = 2.69 * (face - flop) ** 1.11 / middle**0.86
        assert f"Flop index {index:.1f}" in sheet.main.text
    pairs = sheet.main.one("table", class_="pairs").text
    assert f"{apart[110]:.2f} at 110°" in pairs


def test_metallics_read_otherwise_are_still_not_alike(silvers):
    other = silvers.hung(SILVER, "M-9", geometry="multi-angle", specular=None, illuminant="A")
    sheet = compared(silvers, [silvers.cards[0], other])
    assert "none can be told against another" in sheet.heading
    assert not sheet.main.all("section", **{"aria-labelledby": "angles"})


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"angle": "15"}, "Cards read at several angles are found by their 45°."),
        ({"angle": "45", "further": "45 1 2 3"}, "45° stands twice in it."),
        ({"angle": "45", "further": "15 1 2 3%0A15 1 2 3"}, "15° stands twice in it."),
        ({"angle": "45", "further": "1 2 3"}, "No angle stands in it."),
        ({"angle": "45", "further": "15 900 2 3"}, "L* at 15° cannot be 900"),
        ({"angle": "45", "further": "15 1"}, "Row 1 has 2 numbers."),
    ],
    ids=str,
)
def test_further_angles_that_cannot_be_are_refused_and_kept(silvers, fields, said):
    sheet = nearest(silvers, SILVER[45], geometry="multi-angle", **{"further": FURTHER, **fields})
    assert sheet.status == 422 and sheet.errors[0].startswith(said)
    assert sheet.main.one("textarea", name="further").text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"l": "", "a": "1"}, "L* is missing"),
        ({"b": "pale"}, "'pale' is no number"),
        ({"l": "180"}, "L* cannot be 180"),
        ({"illuminant": ""}, "illuminant is missing"),
        ({"observer": "7"}, "The observer cannot be '7'"),
        ({"geometry": ""}, "geometry is missing"),
        ({"uncertainty": "-1"}, "-1 cannot be an uncertainty"),
    ],
    ids=str,
)
def test_nothing_is_guessed_and_what_was_typed_is_kept(green, fields, said):
    sheet = nearest(green, **fields)
    assert sheet.status == 422 and said in sheet.errors[0]
    kept = sheet.main.one("input", name="a").attributes["value"]
    assert kept == fields.get("a", str(GREEN[1]))


def test_commas_are_read_as_points(green):
    sheet = nearest(green, ("22,0", "-12,0", "4,0"))
    assert sheet.heading == "The nearest card lies 0.00 from what was read"


def test_colours_a_screen_cannot_show_have_no_swatch(shop):
    shop.hand.open()
    cards = [shop.hung(GREEN, f"N-{n}", illuminant="F11") for n in range(2)]
    assert not compared(shop, cards).main.all("figure", class_="swatches")

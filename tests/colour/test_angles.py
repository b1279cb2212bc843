"""Angle sets, the flop index and the words of flop."""

import math
import random
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.color import deltaE_ciede2000

from colour.angles import (
    FIVE_ANGLES,
    METAL_FLAKE,
    SIX_ANGLES,
    angle_set,
    aspecular_degrees,
    flop_difference,
    flop_index,
)

lightness = st.floats(5, 140)
SILVER = {15: 125.0, 45: 65.0, 110: 35.0}


def at(face, middle, flop):
    return {15: face, 45: middle, 110: flop}


# 2.69 (L*15 - L*110)^1.11 / (L*45)^0.86 worked by hand: where the fall and L* at 45° are powers
# of ten, the powers are 10^(1.11 m - 0.86 n), and 10^0.25 = 1.778279, 10^0.5 = 3.162278.
BY_HAND = [
    (at(2.0, 1.0, 1.0), 2.69),
    (at(30.0, 10.0, 20.0), 2.69 * 1.778279),
    (at(120.0, 100.0, 20.0), 2.69 * 3.162278),
    (at(20.0, 1.0, 10.0), 2.69 * 12.88250),  # 10^1.11, by a table of logarithms
    (at(21.0, 10.0, 20.0), 2.69 * 0.1380384),  # 10^-0.86
]


@pytest.mark.parametrize(("labs", "index"), BY_HAND)
def test_the_index_is_what_it_is_by_hand(labs, index):
    assert flop_index(labs).value == pytest.approx(index, rel=1e-6)


def test_a_solid_is_near_zero_and_a_strong_metallic_between_15_and_17():
    """As public glossaries of the trade describe the index; the colours are invented."""
    solid, strong = flop_index(at(41.0, 40.0, 39.8)), flop_index(at(138.0, 56.0, 22.0))
    assert solid.value < 1 and solid.words == "no flop stands out"
    assert 15 < strong.value < 17 and strong.words == "a strong flop"
    assert flop_index(SILVER).words == "some flop"


def test_a_flop_lighter_than_the_face_is_no_flop():
    assert flop_index(at(40.0, 40.0, 40.3)).value == 0.0


@pytest.mark.parametrize("middle", [0.0, -0.4])
def test_without_any_light_at_45_there_is_no_index(middle):
    assert flop_index(at(1.0, middle, 0.5)) is None


@pytest.mark.parametrize("angle", METAL_FLAKE)
def test_a_missing_angle_leaves_no_index(angle):
    assert flop_index({a: value for a, value in SILVER.items() if a != angle}) is None
    assert flop_index({**SILVER, angle: math.nan}) is None


@given(lightness, lightness, lightness, st.floats(0.1, 20))
def test_a_brighter_face_a_darker_flop_and_a_darker_middle_raise_the_index(face, middle, flop, by):
    index = flop_index(at(face, middle, flop)).value
    assert flop_index(at(face + by, middle, flop)).value >= index
    assert flop_index(at(face, middle, flop - by)).value >= index
    assert flop_index(at(face, middle + by, flop)).value <= index
    assert index >= 0


def test_the_uncertainty_of_the_index_is_that_of_a_monte_carlo():
    """20 000 draws: a sampling error of the scatter of half a per cent; 3 % are allowed."""
    noise = {15: 0.3, 45: 0.2, 110: 0.15}
    dice = random.Random(4)
    drawn = [
        flop_index({a: dice.gauss(value, noise[a]) for a, value in SILVER.items()}).value
        for _ in range(20_000)
    ]
    found = flop_index(SILVER, noise)
    assert found.standard_uncertainty == pytest.approx(statistics.stdev(drawn), rel=0.03)


def test_near_zero_the_uncertainty_covers_what_noise_alone_makes_of_a_solid():
    noise, dice = dict.fromkeys(METAL_FLAKE, 0.5), random.Random(4)
    drawn = [flop_index({a: dice.gauss(8.0, 0.5) for a in METAL_FLAKE}).value for _ in range(4000)]
    found = flop_index(dict.fromkeys(METAL_FLAKE, 8.0), noise)
    assert found.value == 0
    assert found.standard_uncertainty >= statistics.stdev(drawn)
    assert sum(one <= 2 * found.standard_uncertainty for one in drawn) >= 0.95 * 4000


def test_a_fall_within_the_noise_is_not_said_to_be_flop():
    black = at(6.0, 3.0, 4.5)
    assert flop_index(black).words == "some flop"
    assert flop_index(black, dict.fromkeys(METAL_FLAKE, 0.6)).words == "no flop stands out"


@pytest.mark.parametrize("missing", [None, 9.0])
def test_noise_unknown_or_as_large_as_the_middle_leaves_the_doubt_unknown(missing):
    assert flop_index(at(12.0, 8.0, 6.0), {15: 0.1, 45: missing, 110: 0.1})[1] is None


KNOWN = dict.fromkeys(SIX_ANGLES, 0.1)


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ((2, 0, -2), "lighter at the face, darker at the flop, so it travels more"),
        ((-2, 0, 2), "darker at the face, lighter at the flop, so it travels less"),
        ((0, 0, -1.5), "darker at the flop, so it travels more"),
        ((0, 1, 0), "lighter at the middle"),
        ((-2.2, -1, -1), "darker at the face, the middle and the flop"),
        ((0.1, 0.1, -0.1), ""),
        ((0, 0, 0), ""),
    ],
)
def test_the_words_name_where_the_card_is_lighter_or_darker(steps, words):
    card = {a: value + step for (a, value), step in zip(SILVER.items(), steps, strict=True)}
    assert flop_difference(SILVER, card, KNOWN).words == words


def test_nothing_is_said_of_what_the_noise_may_bring():
    card = {**SILVER, 110: 33.8}
    assert flop_difference(SILVER, card, KNOWN).words.startswith("darker at the flop")
    assert flop_difference(SILVER, card, dict.fromkeys(SIX_ANGLES, 0.9)).words == ""


def test_of_unknown_noise_only_what_half_of_the_observers_would_see_is_said():
    near, far = {**SILVER, 110: 34.4}, {**SILVER, 110: 33.0}
    assert flop_difference(SILVER, near, KNOWN).words and not flop_difference(SILVER, near).words
    assert flop_difference(SILVER, far).words.startswith("darker at the flop")


def test_a_step_weighs_as_ciede2000_weighs_lightness():
    card = {**SILVER, 110: 33.0}
    size = flop_difference(SILVER, card).places[-1].size
    assert abs(size) == pytest.approx(deltaE_ciede2000((35, 0, 0), (33, 0, 0)), abs=1e-9)


@given(lightness, lightness, st.floats(-5, 5), st.floats(-5, 5))
def test_no_word_contradicts_the_steps_it_is_about(face, flop, face_step, flop_step):
    found = flop_difference(
        {15: face, 110: flop}, {15: face + face_step, 110: flop + flop_step}, KNOWN
    )
    for place in found.places:
        if place.word:
            assert (place.word == "lighter") is (place.delta_l > 0)
    if found.travels:
        assert (found.travels == "more") is (face_step - flop_step > 0)


@given(lightness, lightness, lightness, st.tuples(*[st.floats(-5, 5)] * 3))
def test_the_other_way_round_every_word_turns(face, middle, flop, steps):
    one = at(face, middle, flop)
    other = {a: value + step for (a, value), step in zip(one.items(), steps, strict=True)}
    turned = {"lighter": "darker", "darker": "lighter", "more": "less", "less": "more", "": ""}
    there, back = flop_difference(one, other, KNOWN), flop_difference(other, one, KNOWN)
    assert [turned[place.word] for place in there.places] == [place.word for place in back.places]
    assert turned[there.travels] == back.travels


@pytest.mark.parametrize("angles", [{45: 50.0}, {15: 60.0, 45: 50.0}, {45: 50.0, 110: 30.0}, {}])
def test_without_a_face_or_a_flop_there_is_nothing_to_tell(angles):
    assert flop_difference(angles, angles) is None


def test_25_and_75_stand_in_where_15_and_110_were_not_read():
    one, other = {25: 90.0, 75: 40.0}, {25: 92.5, 75: 40.0}
    found = flop_difference(one, other, KNOWN)
    assert [place.angle for place in found.places] == [25, 75]
    assert found.words.startswith("lighter at the face")


@pytest.mark.parametrize(
    ("typed", "angles"),
    [
        ("", ()),
        ("45", (45,)),
        ("15, 45, 110", METAL_FLAKE),
        ("110 75 45 25 15", FIVE_ANGLES),
        ("−15° 15° 25° 45° 75° 110°", SIX_ANGLES),
        ("15;25;45;75;110;-15", SIX_ANGLES),
        ("as -15, as 15 and 45 deg / 110 °", (-15, 15, 45, 110)),
    ],
)
def test_a_set_is_read_as_people_type_it(typed, angles):
    assert angle_set(typed) == angles


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("15, fifteen", "'fifteen' is not an angle"),
        ("15.5", "'15.5' is not an angle"),
        ("15-110", "'15-110' is not an angle"),
        ("180", "cannot be 180°"),
        ("-91", "cannot be -91°"),
        ("45 45", "45° stands twice"),
        (" ".join(map(str, range(1, 40))), "39 angles"),
    ],
)
def test_what_is_no_angle_is_refused_with_what_to_write(typed, said):
    with pytest.raises(ValueError, match=said.replace("°", ".")):
        angle_set(typed)


@pytest.mark.parametrize("value", [True, None, "1e2", "", 15.5])
def test_no_angle_is_made_of_what_is_none(value):
    with pytest.raises(ValueError, match="is not an angle"):
        aspecular_degrees(value)


@pytest.mark.parametrize("value", [110, 110.0, "110.0", "110,0 °", "+110", "110 degrees"])
def test_whole_degrees_are_read_however_they_were_written(value):
    assert aspecular_degrees(value) == 110

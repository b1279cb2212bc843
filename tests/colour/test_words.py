"""The painter's words. The cases are common practice in the trade, with no published source."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from colour.difference import components, delta_e_2000
from colour.words import NO_WORDS, NOTABLE, SEEN_BY_HALF, directions, is_neutral, words

HUE_WORDS = {"redder", "greener", "yellower", "bluer"}
CHROMA_WORDS = {"cleaner", "greyer"}
OPPOSITE = {
    "lighter": "darker",
    "redder": "greener",
    "yellower": "bluer",
    "cleaner": "greyer",
}
OPPOSITE |= {second: first for first, second in OPPOSITE.items()}

SILVER = (72.0, -0.6, -1.4)
BLACK = (4.0, 0.2, -0.6)
WHITE = (94.0, -1.0, 3.0)
RED = (42.0, 58.0, 34.0)
ORANGE = (60.0, 45.0, 60.0)
YELLOW = (82.0, 4.0, 82.0)
GREEN = (45.0, -40.0, 15.0)
BLUE = (30.0, 8.0, -45.0)
NAVY = (18.0, 3.0, -14.0)


def moved(colour, *step):
    return tuple(value + change for value, change in zip(colour, step, strict=True))


def turned(colour, degrees):
    lightness, a, b = colour
    hue = np.radians(degrees)
    return (
        lightness,
        float(a * np.cos(hue) - b * np.sin(hue)),
        float(a * np.sin(hue) + b * np.cos(hue)),
    )


def scaled(colour, factor):
    return (colour[0], colour[1] * factor, colour[2] * factor)


@pytest.mark.parametrize(
    ("master", "sample", "expected"),
    [
        pytest.param(SILVER, moved(SILVER, 0, 0, -1.5), "bluer", id="silver, bluer"),
        pytest.param(SILVER, moved(SILVER, 0, 0, 1.5), "yellower", id="silver, yellower"),
        pytest.param(SILVER, moved(SILVER, 0, 1, 0), "redder", id="silver, redder"),
        pytest.param(SILVER, moved(SILVER, -0.9, 0, -1.5), "bluer and darker", id="silver, two"),
        pytest.param(SILVER, moved(SILVER, -2.5, 0, -1.0), "darker and bluer", id="silver, turned"),
        pytest.param(BLACK, moved(BLACK, 0, 0, -0.8), "bluer", id="black, bluer"),
        pytest.param(BLACK, moved(BLACK, 1.5, 0, 0), "lighter", id="black, lighter"),
        pytest.param(WHITE, moved(WHITE, 0, 0, 1.2), "yellower", id="white, yellower"),
        pytest.param(WHITE, moved(WHITE, 0, -0.8, 0), "greener", id="white, greener"),
        pytest.param(RED, turned(RED, 2), "yellower", id="red turns towards yellow"),
        pytest.param(RED, turned(RED, -2), "bluer", id="red turns towards blue"),
        pytest.param(RED, scaled(RED, 1.1), "cleaner", id="red, more chroma"),
        pytest.param(RED, scaled(RED, 0.9), "greyer", id="red, less chroma"),
        pytest.param(RED, moved(scaled(RED, 0.9), -0.8, 0, 0), "greyer and darker", id="red, two"),
        pytest.param(ORANGE, turned(ORANGE, 2), "yellower", id="orange towards yellow"),
        pytest.param(ORANGE, turned(ORANGE, -2), "redder", id="orange towards red"),
        pytest.param(YELLOW, turned(YELLOW, 2), "greener", id="yellow towards green"),
        pytest.param(YELLOW, turned(YELLOW, -2), "redder", id="yellow towards red"),
        pytest.param(GREEN, turned(GREEN, 3), "bluer", id="green towards blue"),
        pytest.param(GREEN, turned(GREEN, -3), "yellower", id="green towards yellow"),
        pytest.param(BLUE, turned(BLUE, 3), "redder", id="blue towards red"),
        pytest.param(BLUE, turned(BLUE, -3), "greener", id="blue towards green"),
        pytest.param(NAVY, scaled(NAVY, 0.85), "greyer", id="navy, less chroma"),
        pytest.param(NAVY, moved(NAVY, 1.2, 0, 0), "lighter", id="navy, lighter"),
    ],
)
def test_a_painter_would_say(master, sample, expected):
    assert words(master, sample) == expected


def test_a_red_that_gains_only_a_is_called_redder_not_bluer():
    # Its hue angle turns towards blue, but its b* has not moved.
    assert words(RED, moved(RED, 0, 3, 0)) == "redder and cleaner"


def test_a_red_that_turns_yellow_but_loses_b_is_not_called_yellower():
    sample = moved(RED, 0, -4, -1)
    assert components(RED, sample).delta_h > 0
    assert words(RED, sample) == "greyer and greener"


def test_a_yellow_that_fades_and_reddens_is_not_called_bluer():
    assert words(YELLOW, moved(YELLOW, 0, 2, -5)) == "redder and greyer"


def test_three_words_are_joined_as_people_write_them():
    sample = moved(turned(scaled(RED, 0.96), 1.6), -0.8, 0, 0)
    assert words(RED, sample) == "yellower, darker and greyer"


def test_the_largest_part_comes_first_and_small_ones_are_left_out():
    named = directions(SILVER, moved(SILVER, 3.0, 0.0, 0.5))
    assert [direction.word for direction in named] == ["lighter"]
    assert named[0].size == pytest.approx(3.0 / 1.3, rel=0.05)  # S_L is near 1.3 at L* 72


@pytest.mark.parametrize("colour", [SILVER, BLACK, WHITE, RED, BLUE, (50.0, 0.0, 0.0)])
def test_equal_colours_have_no_words(colour):
    assert words(colour, colour) == NO_WORDS
    assert directions(colour, colour) == ()


@pytest.mark.parametrize(
    ("colour", "neutral"),
    [
        (SILVER, True),
        (BLACK, True),
        (WHITE, True),
        ((50.0, 0.0, 0.0), True),
        ((88.0, 1.0, 12.0), True),  # a cream
        (NAVY, False),
        (RED, False),
        ((30.0, 6.0, 3.0), False),
    ],
)
def test_what_counts_as_neutral(colour, neutral):
    assert is_neutral(colour) is neutral


@pytest.mark.parametrize("master", [[72, -0.6, -1.4], np.array(SILVER), np.float32(SILVER)])
def test_any_sequence_of_three_numbers_will_do(master):
    assert words(master, list(moved(SILVER, 0, 0, -1.5))) == "bluer"


@pytest.mark.parametrize(
    ("master", "sample", "message"),
    [
        ((50.0, 1.0), SILVER, r"master must be one colour, three numbers .* got \(50.0, 1.0\)"),
        (SILVER, [SILVER, SILVER], "sample must be one colour"),
        (SILVER, [SILVER, SILVER, SILVER], "sample must be one colour"),
        (SILVER, 7, "sample must be one colour.* got 7"),
        ((50.0, float("nan"), 0.0), SILVER, "master must be finite to be put in words"),
    ],
)
def test_what_is_not_one_colour_is_refused(master, sample, message):
    with pytest.raises(ValueError, match=message):
        words(master, sample)


def test_words_need_no_numpy():
    program = (
        "import sys; from colour.words import words; words((50., 2., 3.), (51., 2., 2.));"
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", program]).returncode == 0


axis = st.one_of(st.floats(-100, 100), st.floats(-6, 6), st.sampled_from([0.0, -0.0]))
lab = st.tuples(st.floats(0, 120), axis, axis)
small = st.floats(-3, 3)
near_pair = st.tuples(lab, small, small, small).map(lambda v: (v[0], moved(v[0], *v[1:])))
any_pair = st.one_of(near_pair, st.tuples(lab, lab))


@given(any_pair)
def test_no_word_contradicts_the_numbers_beside_it(pair):
    d = components(*pair)
    sign = {
        "lighter": d.delta_l,
        "redder": d.delta_a,
        "yellower": d.delta_b,
        "cleaner": d.delta_c,
    }
    sign |= {OPPOSITE[word]: -value for word, value in sign.items()}
    for direction in directions(*pair):
        assert sign[direction.word] > 0


@given(any_pair)
def test_words_are_few_distinct_and_in_order(pair):
    named = directions(*pair)
    assert len(named) <= 3
    spoken = {direction.word for direction in named}
    assert not any(OPPOSITE[word] in spoken for word in spoken)
    sizes = [direction.size for direction in named]
    assert sizes == sorted(sizes, reverse=True)


@given(any_pair)
def test_what_half_the_observers_see_always_has_a_word(pair):
    delta_e = delta_e_2000(*pair)
    if delta_e >= SEEN_BY_HALF:
        assert directions(*pair)
    if delta_e < NOTABLE:
        assert words(*pair) == NO_WORDS


@given(lab, st.floats(-5, 5))
def test_lightness_alone_gives_no_hue_word(colour, step):
    named = {direction.word for direction in directions(colour, moved(colour, step, 0, 0))}
    assert not named & (HUE_WORDS | CHROMA_WORDS)


@given(lab, st.floats(0.8, 1.25))
def test_chroma_alone_gives_no_hue_word_on_a_colour(colour, factor):
    assume(not is_neutral(colour))
    named = {direction.word for direction in directions(colour, scaled(colour, factor))}
    assert not named & HUE_WORDS


@given(any_pair)
def test_neutrals_are_never_cleaner_or_greyer(pair):
    assume(is_neutral(pair[0]))
    assert not {direction.word for direction in directions(*pair)} & CHROMA_WORDS


def test_across_grey_the_axes_are_named():
    assert words((40.0, 0.0, 6.0), (40.0, 0.0, -6.0)) == "bluer"
    assert words((40.0, 20.0, 0.0), (40.0, -15.0, 0.0)) == "greener"


@given(near_pair)
def test_swapping_the_cards_turns_every_word_round(pair):
    master, sample = pair
    assume(is_neutral(master) == is_neutral(sample))
    forth = [direction.word for direction in directions(master, sample)]
    back = [direction.word for direction in directions(sample, master)]
    # An orange turns redder one way and yellower the other: of a colour's hue only the place in
    # the order is the same both ways.
    if not is_neutral(master):
        forth, back = (
            [w if w not in HUE_WORDS else "hue" for w in named] for named in (forth, back)
        )
    assert [OPPOSITE.get(word, "hue") for word in forth] == back

"""The filters: what a page prints is what was measured, in words and units people read."""

import math
from datetime import UTC, datetime, timedelta
from enum import Enum

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jinja2 import Environment

from service.web import filters

NARROW, MINUS = "\u202f", "\u2212"


class Word(Enum):
    CANNOT_TELL = "cannot_tell"


def back(text: str) -> float:
    """The number a filter printed, read back by hand."""
    return float(text.split(NARROW)[0].replace(MINUS, "-").replace("+", ""))


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.84, "0.84"), (0.8, "0.80"), (0, "0.00"), (5, "5.00"), (5.01, "over 5"), (23, "over 5")],
)
def test_a_difference_has_two_decimals_and_none_beyond_five(value, shown):
    assert filters.delta_e(value) == shown


def test_a_negative_difference_is_refused():
    with pytest.raises(ValueError, match="cannot be negative, got -0.1"):
        filters.delta_e(-0.1)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_none_is_refused_by_every_filter(value):
    for shown in (filters.number, filters.signed, filters.temperature, filters.temperature_both):
        with pytest.raises(ValueError, match="must be finite"):
            shown(value)
    with pytest.raises(ValueError, match="must be finite"):
        filters.lab(value, "L")


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.42, "+0.42"), (-0.42, f"{MINUS}0.42"), (0, "0.00"), (-0.004, "0.00"), (0.004, "0.00")],
)
def test_a_signed_number_carries_its_sign_and_zero_none(value, shown):
    assert filters.signed(value) == shown


@pytest.mark.parametrize(
    ("low", "high", "limit", "shown"),
    [
        (1.21, 1.66, 0.80, "1.2 to 1.7"),
        (0.41, 1.12, 0.80, "0.4 to 1.2"),
        (0.83, 1.40, 0.80, "0.83 to 1.40"),  # 0.8 would stand on the limit
        (0.31, 0.77, 0.80, "0.31 to 0.77"),  # so would 0.8 from below
        (0.313, 0.42, 0.80, "0.31 to 0.42"),  # too narrow for one decimal
        (0.3, 0.7, None, "0.3 to 0.7"),
    ],
)
def test_a_range_is_rounded_outwards_and_never_onto_the_limit(low, high, limit, shown):
    assert filters.interval((low, high), limit) == shown


@given(st.floats(0, 20), st.floats(0, 20), st.sampled_from([None, 0.5, 0.8, 1.2]))
def test_a_shown_range_is_never_narrower_than_the_true_one(one, other, limit):
    low, high = sorted((one, other))
    shown_low, shown_high = map(back, filters.interval((low, high), limit).split(" to "))
    assert shown_low <= low + 1e-8 and high - 1e-8 <= shown_high
    assert low - shown_low < 0.1 and shown_high - high < 0.1


def test_a_range_that_runs_backwards_is_refused():
    with pytest.raises(ValueError, match="from low to high, got 2 to 1"):
        filters.interval((2, 1))


def test_a_colour_is_written_with_the_names_of_its_axes():
    assert filters.lab(34.211, "L") == f"L*{NARROW}34.21"
    assert filters.lab_triple((34.21, -0.42, 5.1)) == (
        f"L*{NARROW}34.21, a*{NARROW}{MINUS}0.42, b*{NARROW}5.10"
    )
    with pytest.raises(ValueError, match='"L", "a" or "b", got'):
        filters.lab(1.0, "c")


@pytest.mark.parametrize(
    ("share", "shown"),
    [(0.05, "5 %"), (0.004, "0.4 %"), (0.0002, "under 0.1 %"), (0.9999, "over 99.9 %")]
    + [(0, "0 %"), (1, "100 %"), (0.996, "99.6 %"), (0.82, "82 %")],
)
def test_a_share_is_never_rounded_to_a_certainty(share, shown):
    assert filters.percent(share) == shown.replace(" %", f"{NARROW}%")


# The two scales are defined by F = C · 9/5 + 32; pairs as in NIST SP 811 (from memory).
@pytest.mark.parametrize(
    ("celsius", "fahrenheit"), [(0, 32), (100, 212), (-40, -40), (23, 73.4), (60, 140), (140, 284)]
)
def test_a_temperature_reads_the_same_on_both_scales(celsius, fahrenheit):
    assert back(filters.temperature(celsius, "C")) == celsius
    assert back(filters.temperature(celsius, "F")) == fahrenheit
    first, second = filters.temperature_both(celsius).rstrip(")").split(" (")
    assert (back(first), back(second)) == (celsius, fahrenheit)


def test_a_temperature_is_followed_by_its_unit_after_a_narrow_space():
    assert filters.temperature_both(60) == "60\u202f°C (140\u202f°F)"
    assert filters.temperature_both(60, "F") == "140\u202f°F (60\u202f°C)"


def test_a_difference_of_temperatures_has_no_offset():
    assert filters.temperature_difference(10, "F") == f"18{NARROW}°F"


@given(st.integers(-400, 6000))
def test_what_was_entered_in_fahrenheit_is_shown_as_entered(tenths):
    entered = tenths / 10
    assert back(filters.temperature((entered - 32) * 5 / 9, "F")) == entered


# NIST Handbook 44, appendix C (from memory): 1 mil = 25.4 µm, 1 oz = 28.349 523 125 g,
# 1 US fluid ounce = 29.573 529 562 5 ml; 1 psi = 6 894.757 293 168 Pa (NIST SP 811).
@pytest.mark.parametrize(
    ("stored", "unit", "shown_unit"),
    [
        (25.4, "µm", "mil"),
        (28.349523125, "g", "oz"),
        (29.5735295625, "ml", "fl oz"),
        (0.06894757293168, "bar", "psi"),
        (25.4, "mm", "in"),
    ],
)
def test_one_of_each_unit_is_its_published_worth(stored, unit, shown_unit):
    assert filters.quantity(stored, unit, shown_unit) == f"1{NARROW}{shown_unit}"
    assert filters.UNIT_FACTORS[unit, shown_unit] == pytest.approx(stored, rel=1e-12)


def test_an_unknown_conversion_says_which_are_known():
    with pytest.raises(ValueError, match="no conversion from g to psi; known are µm to mil"):
        filters.quantity(1, "g", "psi")


@pytest.mark.parametrize(
    ("minutes", "shown"),
    [
        (12, "12 min"),
        (65, "1 h 05 min"),
        (119.9, "2 h 00 min"),
        (0, "0 min"),
        (0.5, "30 s"),
        (1440, "1 day"),
        (51 * 60, "2 days 3 h"),
        (timedelta(minutes=30), "30 min"),
    ],
)
def test_a_duration_is_said_as_a_person_would(minutes, shown):
    words = filters.duration(minutes).replace(NARROW, " ")
    assert words == shown


def test_a_negative_duration_is_refused():
    with pytest.raises(ValueError, match="cannot be negative"):
        filters.duration(-1)


# IANA time zone data: Lisbon is at UTC in winter and an hour ahead from 30 March 2025, 01:00 UTC.
@pytest.mark.parametrize(
    ("moment", "local", "paper"),
    [
        (datetime(2025, 3, 30, 0, 59, tzinfo=UTC), "Sun 30 Mar 2025, 00:59", "00:59 +00:00"),
        (datetime(2025, 3, 30, 1, 1, tzinfo=UTC), "Sun 30 Mar 2025, 02:01", "02:01 +01:00"),
        (datetime(2025, 6, 30, 23, 30, tzinfo=UTC), "Tue 1 Jul 2025, 00:30", "00:30 +01:00"),
    ],
)
def test_a_moment_is_told_by_the_clock_of_the_shop(moment, local, paper):
    assert filters.local_moment(moment, "Europe/Lisbon") == local
    assert filters.iso_local(moment, "Europe/Lisbon").endswith(paper)


@given(st.datetimes(datetime(2000, 1, 1), datetime(2099, 1, 1), timezones=st.just(UTC)))
def test_the_iso_forms_read_back_as_the_same_instant(moment):
    moment = moment.replace(second=0, microsecond=0)
    assert datetime.fromisoformat(filters.iso(moment)) == moment
    paper = filters.iso_local(moment, "America/Denver")
    assert datetime.fromisoformat(paper.replace(" ", "T", 1).replace(" ", "")) == moment


def test_a_moment_without_its_zone_is_refused():
    with pytest.raises(ValueError, match="must carry its time zone"):
        filters.local_date(datetime(2025, 3, 3), "Europe/Lisbon")


@pytest.mark.parametrize("typed", ["7K3QX9WD4", "7k3q-x9wd-4", "7K3Q X9WD 4"])
def test_a_card_code_is_grouped_however_it_was_typed(typed):
    assert filters.card_code(typed) == "7K3Q-X9WD-4"


def test_words_come_from_enums_and_strings_alike():
    assert filters.verdict_word(Word.CANNOT_TELL) == filters.verdict_word("cannot_tell")
    assert filters.verdict_word("not_comparable") == "Not comparable"
    assert filters.joint_kind("gap") == "panel gap"
    with pytest.raises(KeyError):
        filters.verdict_word("maybe")


@pytest.mark.parametrize(("total", "said"), [(0, "no joints"), (1, "1 joint"), (12, "12 joints")])
def test_a_count_agrees_with_its_noun(total, said):
    assert filters.count_of(total, "joint") == said


def test_words_are_joined_as_in_a_sentence():
    assert filters.listed(["bluer"]) == "bluer"
    assert filters.listed(["bluer", "darker", "greyer"]) == "bluer, darker and greyer"
    assert filters.listed([]) == ""
    assert filters.first_capital("two HVLP guns") == "Two HVLP guns"


@pytest.mark.parametrize("wrong", ["red", "#12345", "#1234567", "url(#x)", '#123456" onload="'])
def test_a_malformed_screen_colour_is_refused(wrong):
    with pytest.raises(ValueError, match="must look like #1a2b3c, got"):
        filters.screen_colour(wrong)


def test_what_is_not_known_is_said_to_be_so():
    for name in ("delta_e", "number", "signed", "interval", "percent", "temperature", "duration"):
        assert filters.FILTERS[name](None) == "not recorded"


def test_every_public_filter_is_installed_under_its_own_name():
    environment = Environment(autoescape=True)
    filters.install(environment, link=lambda name, **parts: f"/{name}")
    for name, function in filters.FILTERS.items():
        assert environment.filters[name] is function and function.__name__ == name
    assert environment.from_string("{{ link('rack') }}").render() == "/rack"

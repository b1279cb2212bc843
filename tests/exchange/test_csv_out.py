"""CSV out: RFC 4180 quoting, no cell a spreadsheet would run, numbers left as numbers."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.exchange.csv_out import csv_bytes, csv_lines, guard_text, unguard_text

# OWASP, Application Security Verification Standard 5.0, item 1.2.10; CR and LF from the same
# project's page on CSV injection.
ASVS_FIRST_CHARACTERS = ["=", "+", "-", "@", "\t", "\0", "\r", "\n"]


def back(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


@pytest.mark.parametrize("first", ASVS_FIRST_CHARACTERS)
def test_text_that_a_spreadsheet_would_run_gets_an_apostrophe(first):
    (_, (cell, _)) = back(csv_bytes(["name", "n"], [[f"{first}1+1", 1]]))
    assert cell == f"'{first}1+1"


def test_headings_are_guarded_too():
    assert back(csv_bytes(["=heading"], [])) == [["'=heading"]]


def test_numbers_stay_numbers_also_when_negative():
    written = csv_bytes(["a", "b", "c"], [[-1.25, -3, 0.1]])
    assert written == b"a,b,c\r\n-1.25,-3,0.1\r\n"


def test_the_dialect_is_that_of_rfc_4180():
    # Sections 2.1 (CR LF), 2.6 (line breaks, quotes and commas in quotes), 2.7 (doubled quotes).
    written = csv_bytes(["x", "y", "z"], [['b"bb', "b\r\nbb", "b,b"], ["aaa", None, ""]])
    assert written == b'x,y,z\r\n"b""bb","b\r\nbb","b,b"\r\naaa,,\r\n'


def test_a_file_for_a_spreadsheet_begins_with_the_byte_order_mark():
    assert csv_bytes(["Δ"], [], for_spreadsheet=True) == b"\xef\xbb\xbf\xce\x94\r\n"


def test_times_and_truth_values_are_written_in_words():
    moment = datetime(2026, 3, 1, 8, 30, tzinfo=UTC)
    assert back(csv_bytes(["t", "late"], [[moment, True]]))[1] == [
        "2026-03-01T08:30:00+00:00",
        "yes",
    ]


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_what_is_not_finite_is_a_mistake_of_the_caller(bad):
    with pytest.raises(ValueError, match="must be finite"):
        csv_bytes(["a"], [[bad]])


def test_a_row_of_the_wrong_width_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="must have 2 cells, got 1"):
        csv_bytes(["a", "b"], [[1.0]])


def test_an_unknown_kind_of_value_is_a_mistake_of_the_caller():
    with pytest.raises(TypeError, match="text, a number, a time or None"):
        csv_bytes(["a"], [[object()]])


def test_lines_come_one_by_one_without_the_whole_table():
    def endless():
        number = 0
        while True:
            number += 1
            yield [number]

    lines = csv_lines(["n"], endless())
    assert [next(lines) for _ in range(3)] == ["n\r\n", "1\r\n", "2\r\n"]


@settings(deadline=None)  # a busy machine is no failure
@given(st.text())
def test_guarding_loses_nothing_and_leaves_nothing_a_spreadsheet_would_run(text):
    guarded = guard_text(text)
    assert unguard_text(guarded) == text
    assert guarded[:1] not in ASVS_FIRST_CHARACTERS


@settings(deadline=None)  # a busy machine is no failure
@given(
    st.lists(
        st.tuples(
            st.text(st.characters(codec="utf-8")),
            st.floats(allow_nan=False, allow_infinity=False),
        )
    )
)
def test_any_text_and_number_come_back_through_python_s_own_reader(rows):
    _, *found = back(csv_bytes(["name", "value"], rows))
    assert [(unguard_text(name), float(value)) for name, value in found] == rows

"""Card codes: the check character catches what fingers do wrong."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.card_code import (
    CARD_ALPHABET,
    check_character,
    grouped,
    new_card_code,
    read_card_code,
)
from service.domain.refused import Invalid

codes = st.builds(
    lambda seed: new_card_code(lambda letters: letters[seed.randrange(len(letters))]),
    st.randoms(use_true_random=False),
)


def test_check_character_is_that_of_the_standard():
    # ISO/IEC 7064 MOD 37-2 as ISBT 128 uses it for donation numbers; its printed example
    # G1234 98 654321 with check character H is from memory.
    assert check_character("G123498654321") == "H"


@given(codes, st.integers(0, 8), st.sampled_from(CARD_ALPHABET))
def test_one_wrong_character_is_always_caught(code, place, wrong):
    typed = code[:place] + wrong + code[place + 1 :]
    if typed == code:
        assert read_card_code(typed) == code
    else:
        with pytest.raises(Invalid, match="wrong character"):
            read_card_code(typed)


@given(codes, st.integers(0, 7))
def test_two_neighbours_swapped_are_caught(code, place):
    typed = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    if typed != code:
        with pytest.raises(Invalid, match="swapped"):
            read_card_code(typed)


@given(codes)
def test_a_code_may_be_typed_as_it_looks(code):
    typed = grouped(code).lower().replace("0", "o").replace("1", "l")
    assert read_card_code(f" {typed} ") == code


@pytest.mark.parametrize("typed", ["", "7K3Q", "7K3Q-X9WD-4-2", "7K3Q-X9W!-4", "UUUU-UUUU-U"])
def test_what_is_no_code_is_refused_with_an_example(typed):
    with pytest.raises(Invalid, match="like 7K3Q-X9WD-4"):
        read_card_code(typed)


@pytest.mark.parametrize("address", ["HTTPS://CARDS.EXAMPLE/C/", "http://10.0.0.7:8470/c/"])
def test_a_scanner_may_type_the_address_a_label_carries(address):
    code = new_card_code()
    assert read_card_code(f"{address}{code}") == code
    assert read_card_code(f" {address}{grouped(code).lower()} ") == code


@pytest.mark.parametrize(
    "typed", ["HTTPS://CARDS.EXAMPLE/C/", "HTTPS://CARDS.EXAMPLE/C/7K3Q/X", "HTTPS://CARDS.EXAMPLE"]
)
def test_an_address_without_a_code_is_refused_as_it_was_typed(typed):
    with pytest.raises(Invalid, match="is not a card code") as refused:
        read_card_code(typed)
    assert repr(typed) in str(refused.value)

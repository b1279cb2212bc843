"""What a mistyped code may have been.

ISO/IEC 7064 MOD 37-2 finds every single wrong character and every swap of two neighbours; so the
code that was meant is always among those one slip away, and what was typed is never valid itself.
"""

from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.card_code import CARD_ALPHABET, check_card_code, new_card_code
from service.domain.code_slips import as_a_code, one_slip_away

codes = st.randoms(use_true_random=False).map(lambda rng: new_card_code(rng.choice))


@settings(deadline=None)
@given(codes, st.integers(0, 8), st.sampled_from(CARD_ALPHABET))
def test_a_code_with_one_wrong_character_leads_back_to_the_one_that_was_meant(code, place, typed):
    slipped = code[:place] + typed + code[place + 1 :]
    assert slipped == code or code in one_slip_away(slipped)


@settings(deadline=None)
@given(codes, st.integers(0, 7))
def test_a_code_with_two_characters_swapped_leads_back_too(code, place):
    slipped = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    assert slipped == code or code in one_slip_away(slipped)


@settings(deadline=None)
@given(codes)
def test_whatever_is_offered_is_a_code(code):
    for one in one_slip_away("0" + code[1:]):
        check_card_code(one)


def test_a_text_is_taken_for_a_code_in_any_typing():
    code = new_card_code()
    assert as_a_code(f" {code[:4].lower()}-{code[4:8]} {code[8]} ") == code


def test_a_mistyped_code_is_still_taken_for_one():
    assert as_a_code("7k3q-x9wd-0") == "7K3QX9WD0"
    assert as_a_code("O12345678") == "012345678"


def test_words_and_work_orders_of_another_length_are_not():
    for text in ("roof", "red wing left", "W-1234", "crosshead", "", "7K3QX9WD", "ÄÖÜ123456"):
        assert as_a_code(text) is None

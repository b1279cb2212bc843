"""Names of samples: the code of a card, and what may stand beside it without being guessed at."""

from __future__ import annotations

import random

import pytest

from service.domain.card_code import grouped, new_card_code
from service.domain.refused import Invalid
from service.domain.terms import Stage
from service.use_cases.import_names import Beside, read_beside, read_freely, taken_apart

CODE, OTHER = (new_card_code(random.Random(seed).choice) for seed in ("one", "other"))
SHOWN = grouped(CODE)
ZONES = ("Step 1", "Step 2", "polished")


@pytest.mark.parametrize(
    ("name", "beside"),
    [
        (CODE, Beside()),
        (SHOWN, Beside()),
        (f" {SHOWN.lower()} ", Beside()),
        (SHOWN.replace("-", " "), Beside()),
        (SHOWN.replace("-", "–"), Beside()),
        (f"https://rack.test/c/{SHOWN}", Beside()),
        (f"Card {SHOWN}", Beside()),
        (f"{SHOWN} baked", Beside(stage=Stage.BAKED)),
        (f"{SHOWN}, base dry", Beside(stage=Stage.BASE_DRY)),
        (f"{SHOWN} 2", Beside(repeat=2)),
        (f"{SHOWN}-02", Beside(repeat=2)),
        (f"{SHOWN}_3", Beside(repeat=3)),
        (f"{SHOWN} (1)", Beside(repeat=1)),
        (f"{SHOWN} rep 2", Beside(repeat=2)),
        (f"{SHOWN} baked r2", Beside(stage=Stage.BAKED, repeat=2)),
        (f"{SHOWN} step 2", Beside(zone=1)),
        (f"{SHOWN} Step 2 baked 3", Beside(stage=Stage.BAKED, zone=1, repeat=3)),
        (f"{SHOWN} polished", Beside(stage=Stage.POLISHED, zone=2)),
    ],
)
def test_what_can_be_read_in_one_way_is_taken(name, beside):
    taken = taken_apart(name)
    assert taken.codes == (CODE,)
    assert read_beside(taken.words, ZONES) == beside


@pytest.mark.parametrize("name", ["White tile", f"{CODE}2", f"x{SHOWN}", "", SHOWN[:-1] + "!"])
def test_a_name_without_a_whole_code_names_no_card(name):
    assert taken_apart(name).codes == ()


def test_a_mistyped_code_is_none():
    wrong = ("0" if CODE[0] != "0" else "1") + CODE[1:]
    assert taken_apart(f"{grouped(wrong)} baked").codes == ()


def test_two_codes_in_one_name_are_both_told():
    assert taken_apart(f"{SHOWN} against {grouped(OTHER)}").codes == (CODE, OTHER)


@pytest.mark.parametrize("beside", ["back", "door left", "baked polished", "2 of 3"])
def test_words_that_mean_nothing_here_are_refused_with_what_would(beside):
    with pytest.raises(Invalid, match=f"'{beside}' beside the code is no stage, zone or repeat"):
        read_beside(taken_apart(f"{SHOWN} {beside}").words, ())


def test_a_number_that_may_be_a_zone_or_a_repeat_is_refused():
    with pytest.raises(Invalid, match="'step 2' beside the code can be read in more than one way"):
        read_beside(("step", "2"), ("Step", "Step 2"))


def test_a_name_without_a_code_is_read_for_its_number_alone():
    assert read_freely(("test", "2")) == (("test",), Beside(repeat=2))
    assert read_freely(("3",)) == ((), Beside(repeat=3))
    assert read_freely(("baked", "2")) == ((), Beside(stage=Stage.BAKED, repeat=2))

"""Numbers typed in the unit at hand are kept in one, and come back as they were typed."""

from __future__ import annotations

import pytest

from service.domain.refused import Invalid
from service.web.forms import Form, FormRefused
from service.web.pages.bench_forms import Filled, Kind, in_kept_unit, read_set_up


def form(**fields: str | list[str]) -> Form:
    """A form as it was sent; ``__`` in a name stands for a point."""
    return Form(
        {
            name.replace("__", "."): [value] if isinstance(value, str) else value
            for name, value in fields.items()
        }
    )


@pytest.mark.parametrize(
    ("kind", "typed", "unit", "kept"),
    [
        # NIST Special Publication 811 (2008), appendix B.8: 1 psi = 6.894757 E+03 Pa and
        # 1 in = 2.54 E-02 m; 1 bar = 1 E+05 Pa.
        (Kind.PRESSURE, "100", "psi", 6.894757),
        (Kind.PRESSURE, "2,1", "bar", 2.1),
        (Kind.LENGTH, "8", "in", 203.2),
        # The same, for the scale: t/°C = (t/°F - 32)/1.8.
        (Kind.TEMPERATURE, "140", "F", 60.0),
        (Kind.TEMPERATURE, "-40", "F", -40.0),
        (Kind.TEMPERATURE, "21.5", "C", 21.5),
    ],
)
def test_a_number_is_kept_in_one_unit(kind, typed, unit, kept):
    given = form(x=typed, **{"x__unit": unit})
    assert in_kept_unit(given, "x", kind) == pytest.approx(kept, abs=5e-7)


def test_nothing_typed_is_nothing_kept():
    assert in_kept_unit(form(x="", **{"x__unit": "psi"}), "x", Kind.PRESSURE) is None


def test_a_unit_nobody_offers_is_refused_by_name():
    with pytest.raises(Invalid, match="'furlong' is unknown here. Pick mm or in."):
        in_kept_unit(form(x="8", **{"x__unit": "furlong"}), "x", Kind.LENGTH)


def test_every_field_that_cannot_be_taken_is_named_at_once():
    given = form(
        set_up__pressure_bar="two",
        set_up__booth_temperature_c="warm",
        set_up__flash_minutes="long",
        set_up__gun="Gun 3",
    )
    with pytest.raises(FormRefused) as refused:
        read_set_up(given)
    assert {error.field for error in refused.value.errors} == {
        "f-set_up.pressure_bar",
        "f-set_up.booth_temperature_c",
        "f-set_up.flash_minutes",
    }


def test_a_set_up_is_read_whole():
    given = form(
        set_up__pressure_bar="29",
        set_up__pressure_bar__unit="psi",
        set_up__booth_temperature_c="70",
        set_up__booth_temperature_c__unit="F",
        set_up__gun="Gun 3",
        set_up__hides="no",
    )
    set_up = read_set_up(given)
    assert set_up.gun == "Gun 3"
    assert set_up.hides is False
    assert set_up.pressure_bar == pytest.approx(29 * 0.06894757, abs=1e-6)
    assert set_up.booth_temperature_c == pytest.approx(21.111111)
    assert set_up.tip_mm is None


def test_a_form_not_sent_yet_shows_what_it_starts_with_and_a_sent_one_what_was_typed():
    start = {"slot": "A-13", "panel_ids": ("one", "two")}
    fresh = Filled(form=Form(), start=start)
    assert fresh.value("slot") == "A-13"
    assert fresh.has("panel_ids", "two") and not fresh.has("panel_ids", "three")
    sent = Filled(form=form(slot="", panel_ids=["three"]), start=start)
    assert sent.value("slot") == ""
    assert sent.has("panel_ids", "three") and not sent.has("panel_ids", "two")

"""The words for illuminant, observer, geometry, specular mode, stage and temperature."""

from __future__ import annotations

import pytest

from service.domain.terms import Specular, Stage
from service.exchange import condition_words as words


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("D65", "D65"),
        ("d 65", "D65"),
        ("CIE D50", "D50"),
        ("Illuminant A", "A"),
        ("a", "A"),
        ("FL11", "F11"),
        ("F 2", "F2"),
        ("led b3", "LED-B3"),
        ("LED-B1", "LED-B1"),
        ("E", "E"),
    ],
)
def test_illuminants(written, meant):
    assert words.illuminant(written) == meant


def test_every_illuminant_the_contract_names_is_known():
    assert {
        "A",
        "D50",
        "D65",
        "F2",
        "F11",
        "LED-B1",
        "LED-B2",
        "LED-B3",
        "LED-B4",
        "LED-B5",
    } <= set(words.ILLUMINANTS)
    for name in words.ILLUMINANTS:
        assert words.illuminant(name) == name


# CIE 15:2018 writes geometries with degree signs, as 45°a:0° and di:8° (from memory).
@pytest.mark.parametrize(
    ("written", "meant", "mode"),
    [
        ("45/0", "45:0", None),
        ("45°:0°", "45:0", None),
        ("45°a:0°", "45a:0", None),
        ("0°:45°c", "0:45c", None),
        ("d/8", "d:8", None),
        ("di:8°", "d:8", Specular.INCLUDED),
        ("de:8°", "d:8", Specular.EXCLUDED),
        ("8°:di", "8:d", Specular.INCLUDED),
        ("d/8 (SCE)", "d:8", Specular.EXCLUDED),
        ("Multi-Angle", "multi-angle", None),
    ],
)
def test_geometries(written, meant, mode):
    assert words.geometry(written) == (meant, mode)
    assert words.geometry_is_known(meant)


def test_a_geometry_of_no_known_form_is_kept_as_written():
    assert words.geometry(" hand lens ") == ("hand lens", None)
    assert not words.geometry_is_known("hand lens")
    assert not words.geometry_is_known(words.geometry("45:45")[0])


@pytest.mark.parametrize("written", ["SCI", "included", "Specular Included", "SPIN", "in"])
def test_specular_included(written):
    assert words.specular(written) is Specular.INCLUDED


@pytest.mark.parametrize(
    "written", ["SCE", "excluded", "Specular component excluded", "SPEX", "out"]
)
def test_specular_excluded(written):
    assert words.specular(written) is Specular.EXCLUDED


def test_every_stage_of_the_record_can_be_written():
    for stage in Stage:
        assert words.stage(stage.value) is stage
        assert words.stage(stage.value.replace("_", " ").title()) is stage


def test_an_unstated_unit_of_temperature_is_asked_for():
    with pytest.raises(ValueError, match="'23' has no unit. Write 23 C or 73 F"):
        words.temperature_c("23", None)


def test_two_units_at_once_are_refused():
    with pytest.raises(ValueError, match="headed °C"):
        words.temperature_c("73 F", "C")


# 23 °C is 73.4 °F and 60 °C is 140 °F: the definition F = C·9/5 + 32.
@pytest.mark.parametrize(("written", "celsius"), [("73.4 F", 23), ("140°F", 60), ("-4,0 f", -20)])
def test_fahrenheit(written, celsius):
    assert words.temperature_c(written, None) == pytest.approx(celsius, abs=1e-12)

"""``keepcard import`` and ``export`` of CGATS.17 and CxF3, through the same doors as CSV."""

from __future__ import annotations

import json
from pathlib import Path
from typing import NamedTuple

import pytest

from service.domain.card_code import grouped
from service.domain.records.cards import Card
from service.domain.records.job import Job
from service.domain.records.measuring import Reading
from service.storage.database import open_database, open_store
from tests.shop_hand import ShopHand

MANAGER = "First Manager"


class Shop(NamedTuple):
    """A folder with one card that was never read."""

    folder: Path
    job_id: str
    code: str
    work_order: str

    def readings(self) -> list[Reading]:
        store = open_store(self.folder, read_only=True)
        with store.database:
            return list(store.job(self.job_id).all(Reading))


@pytest.fixture
def shop(tmp_path):
    folder = tmp_path / "shop"
    folder.mkdir()
    with open_database(folder) as database:
        store = database.create_shop("Test shop", manager=MANAGER)
        hand = ShopHand(store)
        hand.open()
        card = hand.card(hand.batch())
        hand.bake(card)
        job = store.job(hand.job_id).get(Job, hand.job_id)
        return Shop(folder, hand.job_id, hand.file.get(Card, card).code, job.work_order)


@pytest.fixture
def imported(keepcard, shop, tmp_path):
    def run(text: str | bytes, *more: str):
        path = tmp_path / "readings.txt"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        where = ("--data", str(shop.folder), "--as", MANAGER, "--stage", "baked")
        return keepcard("import", str(path), *where, *more)

    return run


def cgats(code: str, fields: str, *rows: str, head: str = "") -> str:
    body = "\n".join(f'{n} "{grouped(code)}" {row}' for n, row in enumerate(rows, 1))
    return (
        f'CGATS.17\nMEASUREMENT_GEOMETRY "45/0"\n{head}BEGIN_DATA_FORMAT\nSAMPLE_ID SAMPLE_NAME '
        f"{fields}\nEND_DATA_FORMAT\nBEGIN_DATA\n{body}\nEND_DATA\n"
    )


LIGHT = 'WEIGHTING_FUNCTION "ILLUMINANT, D65"\nWEIGHTING_FUNCTION "OBSERVER, 10 degree"\n'
BANDS = " ".join(f"SPECTRAL_NM{nm}" for nm in range(360, 790, 10))


def cxf(code: str) -> str:
    return (
        '<CxF xmlns="http://colorexchangeformat.com/CxF3-core"><Resources><ObjectCollection>'
        f'<Object ObjectType="Standard" Name="{grouped(code)}" Id="o1"><ColorValues>'
        '<ColorCIELab ColorSpecification="s"><L>25</L><A>-12</A><B>6</B></ColorCIELab>'
        "</ColorValues></Object></ObjectCollection><ColorSpecificationCollection>"
        '<ColorSpecification Id="s"><TristimulusSpec><Illuminant>D65</Illuminant>'
        "<Observer>10_Degree</Observer></TristimulusSpec><MeasurementSpec><GeometryChoice>"
        "<SphereGeometry>Specular_Included</SphereGeometry></GeometryChoice></MeasurementSpec>"
        "</ColorSpecification></ColorSpecificationCollection></Resources></CxF>"
    )


def test_cgats_rows_of_one_card_are_stored_as_its_repeats(imported, shop):
    text = cgats(shop.code, "LAB_L LAB_A LAB_B", "25 -12 6", "25.1 -12 6", head=LIGHT)
    assert imported(text).exit_code == 0
    (reading,) = shop.readings()
    assert reading.angles[0].repeats == ((25, -12, 6), (25.1, -12, 6))
    assert (reading.illuminant, reading.observer, reading.geometry) == ("D65", 10, "45:0")


def test_a_cxf_object_is_stored_with_its_specifications_conditions(imported, shop):
    result = imported(cxf(shop.code))
    assert result.exit_code == 0, result.output
    (reading,) = shop.readings()
    assert reading.angles[0].repeats == ((25, -12, 6),)
    assert (reading.geometry, reading.specular) == ("d:8", "included")


def test_what_a_file_leaves_open_is_asked_for_and_nothing_is_stored(imported, shop):
    result = imported(cgats(shop.code, "LAB_L LAB_A LAB_B", "25 -12 6"))
    assert result.exit_code == 2
    assert "State --illuminant, --observer" in result.stderr
    assert shop.readings() == []


def test_a_spectrum_alone_gives_its_colour_under_the_stated_light(imported, shop):
    # A reflectance of 0.2 throughout has Y = 20 under every light: by the definition of CIELAB
    # (ISO/CIE 11664-4) L* is 116 * 0.2 ** (1/3) - 16 and a* = b* = 0.
    text = cgats(shop.code, BANDS, " ".join(["0.2"] * 43))
    result = imported(text, "--illuminant", "F11", "--observer", "10", "--json")
    assert result.exit_code == 0, result.output
    codes = {warning["code"] for warning in json.loads(result.stdout)["warnings"]}
    assert "lab_from_spectrum" in codes
    (reading,) = shop.readings()
    (spectrum,) = reading.spectra
    assert spectrum.wavelengths_nm == tuple(range(360, 790, 10))
    assert spectrum.reflectance == ((0.2,) * 43,)
    ((lightness, a, b),) = reading.angles[0].repeats
    # The record keeps four digits of what is worked out.
    assert lightness == pytest.approx(116 * 0.2 ** (1 / 3) - 16, abs=5e-5)
    assert (a, b) == pytest.approx((0, 0), abs=5e-5)


def test_a_spectrum_alone_without_a_light_is_not_guessed_at(imported, shop):
    result = imported(cgats(shop.code, BANDS, " ".join(["0.2"] * 43)))
    assert result.exit_code == 2
    assert "State --illuminant, --observer" in result.stderr


def test_an_instrument_the_file_names_otherwise_is_told_by_option(imported, shop):
    head = LIGHT + 'INSTRUMENTATION "Maker model 7"\n'
    result = imported(cgats(shop.code, "LAB_L LAB_A LAB_B", "25 -12 6", head=head))
    assert result.exit_code == 2
    assert "no instrument is registered as Maker model 7" in result.stderr
    assert "name a registered one by --instrument" in result.stderr


@pytest.mark.parametrize(("form", "name"), [("cgats", "job.txt"), ("cxf", "job.cxf")])
def test_exported_readings_are_read_back_as_they_were(
    keepcard, imported, shop, tmp_path, form, name
):
    text = cgats(shop.code, "LAB_L LAB_A LAB_B", "25 -12 6", "25.125 -12.5 6", head=LIGHT)
    assert imported(text).exit_code == 0
    out = tmp_path / name
    where = ("--data", str(shop.folder), "--job", shop.work_order, "--form", form)
    result = keepcard("export", str(out), *where)
    assert result.exit_code == 0, result.output
    told = json.loads(keepcard("read", str(out), "--json").stdout)
    (sample,) = told["samples"]
    assert (told["format"], sample["name"]) == (form, grouped(shop.code))
    assert [repeat["lab"] for repeat in sample["repeats"]] == [[25, -12, 6], [25.125, -12.5, 6]]
    assert (sample["stage"], sample["conditions"]["geometry"]) == ("baked", "45:0")
    assert sample["conditions"]["illuminant"] == "D65"


def test_a_job_without_readings_has_nothing_to_export(keepcard, shop, tmp_path):
    where = ("--data", str(shop.folder), "--job", shop.work_order, "--form", "cxf")
    result = keepcard("export", str(tmp_path / "job.cxf"), *where)
    assert result.exit_code == 2
    assert "The job has no readings to export" in result.stderr
    assert not (tmp_path / "job.cxf").exists()


def test_a_lamps_spectrum_is_no_reading_of_a_card(imported, shop):
    bands = " ".join("0.5" for _ in BANDS.split())
    result = imported(cgats(shop.code, BANDS, bands, head='MEAS_TYPE "EMISSION"\n'))
    assert result.exit_code == 2 and "no reflectance of a surface" in result.stderr
    assert "Export the readings of the cards alone." in result.stderr
    assert not shop.readings()

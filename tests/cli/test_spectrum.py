"""``keepcard spectrum``: a file of spectra, and their colours under a light."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from colour.metamerism import metamerism
from colour.spectra import lab_from_reflectance, xyz_from_reflectance
from service.app import command_ports
from service.cli import cli
from service.exchange.readings import Reading, ReadingsFile, Sample
from tests.chart import chart_every, computed

NM, CHART = chart_every(10)


def csv_of(rows, nm=NM, above="", percent=False):
    """A readings file with a row for each name and spectrum."""
    lines = ["name," + ",".join(f"{x:g}" for x in nm)]
    scale = 100 if percent else 1
    for name, spectrum in rows:
        lines.append(",".join([name, *(f"{value * scale:.6g}" for value in spectrum)]))
    return above + "\n".join(lines) + "\n"


@pytest.fixture
def written(tmp_path):
    def write(content: str) -> str:
        path = tmp_path / "cards.csv"
        path.write_text(content, encoding="utf-8")
        return str(path)

    return write


def test_the_whole_chart_is_what_another_library_computes(keepcard, written):
    """CIELAB by colour-science's own ASTM E308, tests/reference/chart_lab.txt."""
    file = written(csv_of((f"patch {i}", row) for i, row in enumerate(CHART)))
    for light, observer in (("D65", 10), ("A", 2), ("LED-B3", 10)):
        done = keepcard(
            "spectrum", file, "--illuminant", light, "--observer", str(observer), "--json"
        )
        assert (done.exit_code, done.stderr) == (0, "")
        found = json.loads(done.stdout)
        assert (found["illuminant"], found["observer"]) == (light, observer)
        assert [sample["name"] for sample in found["samples"]] == [f"patch {i}" for i in range(24)]
        labs = [sample["lab"] for sample in found["samples"]]
        np.testing.assert_allclose(labs, computed()["e308_10", light, observer][1], atol=2e-4)


def test_json_has_the_contract_shape(keepcard, written):
    done = keepcard("spectrum", written(csv_of([("card", CHART[3])])), "--json")
    found = json.loads(done.stdout)
    (sample,) = found["samples"]
    assert sample["name"] == "card" and sample["angle"] is None
    d65 = {"illuminant": "D65", "observer": 10}
    assert sample["xyz"] == pytest.approx(list(xyz_from_reflectance(CHART[3], NM, **d65)))
    assert sample["lab"] == pytest.approx(list(lab_from_reflectance(CHART[3], NM, **d65)))
    assert "metamerism" not in found


def test_percent_and_repeats_and_names_as_people_write_them(keepcard, written):
    rows = [("card", CHART[3]), ("card", CHART[4]), ("other", CHART[5])]
    file = written(csv_of(rows, above="# reflectance: percent\n", percent=True))
    done = keepcard("spectrum", file, "--illuminant", "led b3", "--observer", "2°", "--json")
    found = json.loads(done.stdout)
    assert (found["illuminant"], found["observer"]) == ("LED-B3", 2)
    card, other = found["samples"]
    mean = (CHART[3] + CHART[4]) / 2
    for sample, spectrum in ((card, mean), (other, CHART[5])):
        lab = lab_from_reflectance(spectrum, NM, illuminant="LED-B3", observer=2)
        assert sample["lab"] == pytest.approx(list(lab), abs=1e-3)
    assert [warning["code"] for warning in found["warnings"]] == ["repeats_by_name"]


def test_people_see_a_table(keepcard, written):
    done = keepcard("spectrum", written(csv_of([("white", np.ones(len(NM)))])))
    assert done.exit_code == 0
    assert "D65/10°, Y of the perfect white is 100" in done.stdout
    row = next(line for line in done.stdout.splitlines() if line.startswith("white"))
    assert row.split() == ["white", "100.00", "0.00", "0.00", "94.81", "100.00", "107.30"]
    assert "taken as a share of 1" in done.stdout
    assert "geometry" not in done.stdout  # no part of this calculation


def test_metamerism_compares_every_other_sample_with_the_named_one(keepcard, written):
    sample = CHART[3] * (1.02 + 0.05 * np.cos(2 * np.pi * (NM - 380) / 80))
    file = written(csv_of([("a", sample), ("the master", CHART[3]), ("b", CHART[3])]))
    done = keepcard("spectrum", file, "--metamerism", "the master", "--json")
    found = json.loads(done.stdout)["metamerism"]
    assert (found["master"], found["limit"]) == ("the master", 0.8)
    a, b = found["samples"]
    assert [test["illuminant"] for test in a["tests"]] == ["A", "F11", "LED-B3"]
    expected = metamerism(CHART[3], sample, NM, observer=10)
    for test, light in zip(a["tests"], expected.tests, strict=True):
        assert test["index_2000"] == pytest.approx(light.index_2000, abs=1e-3)
        assert test["delta_e_2000"] == pytest.approx(light.delta_e_2000, abs=1e-3)
    assert a["reference"]["illuminant"] == "D65" and a["reference"]["delta_e_2000"] > 0.2
    assert b["words"].startswith("matches in daylight (D65, 0.0), matches under a filament lamp")
    shown = keepcard("spectrum", file, "--metamerism", "the master", "--limit", "0,1").stdout
    assert "- a shows in daylight (D65, " in shown
    assert "- b matches in daylight (D65, 0.0)" in shown
    assert "Metamerism index" in shown


def test_each_angle_is_compared_with_the_masters_own(keepcard, written):
    lines = ["name,angle," + ",".join(f"{x:g}" for x in NM)]
    for name, angle, row in (("m", 15, 3), ("m", 110, 4), ("c", 15, 3), ("c", 110, 4)):
        lines.append(",".join([name, str(angle), *(f"{value:.6g}" for value in CHART[row])]))
    file = written("\n".join(lines) + "\n")
    found = json.loads(keepcard("spectrum", file, "--metamerism", "m", "--json").stdout)
    assert [(s["name"], s["angle"]) for s in found["samples"]] == [
        ("m", 15),
        ("m", 110),
        ("c", 15),
        ("c", 110),
    ]
    assert [s["angle"] for s in found["metamerism"]["samples"]] == [15, 110]
    for sample in found["metamerism"]["samples"]:
        assert sample["reference"]["delta_e_2000"] == 0


LAB_ONLY = "name,L,a,b\nmaster,50,1,2\ncard,50,1,3\n"
REFUSED = {
    "unknown light": (
        csv_of([("a", CHART[0])]),
        ["--illuminant", "F12"],
        "Illuminant 'F12' is not known. Known are A, D50, D65, F2, F11, LED-B1",
    ),
    "unknown observer": (
        csv_of([("a", CHART[0])]),
        ["--observer", "5"],
        "Observer '5' is not known. Known are 2 (CIE 1931) and 10 (CIE 1964), degrees.",
    ),
    "no spectrum": (LAB_ONLY, [], "holds no spectrum. X, Y, Z and L*, a*, b* cannot be turned"),
    "too short": (
        csv_of([("a", CHART[0, 5:])], NM[5:]),
        [],
        "a: the spectrum runs from 430 to 780 nm and so misses 15.3% of the weight of Z",
    ),
    "a gap": (
        csv_of([("a", np.delete(CHART[0], [9, 10]))], np.delete(NM, [9, 10])),
        [],
        "a: there is nothing between 460 and 490 nm; gaps up to 20 nm are bridged",
    ),
    "no such master": (
        csv_of([("a", CHART[0]), ("b", CHART[1])]),
        ["--metamerism", "c"],
        "No sample is named 'c'. There are a, b.",
    ),
    "only the master": (
        csv_of([("a", CHART[0])]),
        ["--metamerism", "a"],
        "'a' is the only spectrum in the file. Add one to compare it with.",
    ),
}


@pytest.mark.parametrize(("content", "options", "told"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_met_is_refused_in_words(keepcard, written, content, options, told):
    done = keepcard("spectrum", written(content), *options, "--json")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.startswith("Error: ") and told in done.stderr
    assert done.stderr.rstrip().endswith(".")


def test_a_master_with_lab_alone_is_refused_with_the_reason():
    """Formats with several tables may hold spectra of some samples and only Lab of others."""
    lab = Reading(line=2, lab=(50, 1, 2))
    spectrum = Reading(line=3, reflectance=tuple(CHART[3]))
    file = ReadingsFile(
        format="cgats",
        samples=(
            Sample(name="master", readings=(lab,)),
            Sample(name="card", readings=(spectrum,), wavelengths_nm=tuple(NM)),
        ),
    )
    reader = command_ports()._replace(read_readings=lambda data: file)

    def run(*options):
        return CliRunner().invoke(cli, ["spectrum", "-", *options], obj=reader)

    done = run("--metamerism", "master")
    assert done.exit_code == 2
    assert "Metamerism needs a spectrum of each card, and that of the master is" in done.stderr
    assert "one light only" in done.stderr
    assert "Left out, having no spectrum in the file: master." in run().stdout


def test_standard_input_is_read(keepcard):
    done = keepcard("spectrum", "-", "--json", input=csv_of([("card", CHART[0])]))
    assert json.loads(done.stdout)["samples"][0]["name"] == "card"

"""The readings files to import: they are what their script makes, and what they say years later."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from skimage.color import deltaE_ciede2000

from demo_cards.names import id_of
from demo_cards.readings_files import FOLDER, files
from demo_cards.script import card_id, job_id
from service.app import command_ports
from service.cli import cli
from service.domain.card_code import read_card_code
from service.domain.lookups import mean_lab, verdict_on_batch
from service.domain.records.measuring import Reading, Verdict
from service.domain.records.shop import Instrument
from service.domain.terms import Stage, Word
from service.exchange.reading_files import read_readings
from service.storage.database import open_database
from tests.demo_cards.conftest import Told


def test_the_files_are_those_the_script_makes():
    assert {path.name: path.read_bytes() for path in FOLDER.glob("*.csv")} == files()


def test_between_them_they_hold_the_dialects_of_instruments():
    content = files()
    assert sum(text.startswith(b"\xef\xbb\xbf") for text in content.values()) == 1
    assert sum(b"\r\n" in text for text in content.values()) == 1
    assert sum(b";" in text for text in content.values()) == 2


@pytest.mark.parametrize("name", files())
def test_each_sample_is_a_card_of_the_demo_with_its_conditions_stated(demo: Told, name: str):
    file = read_readings(files()[name])
    for sample in file.samples:
        found = demo.store.card_by_code(read_card_code(sample.name or ""))
        assert found is not None and found[0] == job_id("van")
        assert (sample.conditions.illuminant, sample.conditions.observer) == ("D65", 10)
        assert sample.conditions.geometry in ("45:0", "multi-angle")
        assert sample.stage is not None
        instruments = {one.name for one in demo.store.shop().all(Instrument)}
        assert sample.instrument in instruments
    assert not [w.code for w in file.warnings if w.code.endswith("not_stated")]


MONDAY_AFTER = "2022-05-16T07:30Z"
"""When the single-angle instrument came back; the file stayed on it."""


def imported(name: str, folder: Path, *more: str) -> dict[str, Any]:
    """What ``keepcard import`` says of a file it took in as the refinisher."""
    told = ["--data", str(folder), "--as", "Anselm Quill", "--json", *more]
    result = CliRunner().invoke(
        cli,
        ["import", str(FOLDER / name), *told],
        obj=command_ports(),
    )
    assert result.exit_code == 0, result.output
    said: dict[str, Any] = json.loads(result.stdout)
    return said


def test_a_file_of_the_monday_after_settles_both_dark_cards_however_late_it_is_sent(
    demo_copy: Callable[[], Path],
):
    folder = demo_copy()
    imported("deep-fir-again.csv", folder, "--read-at", MONDAY_AFTER)
    with open_database(folder, read_only=True) as database:
        van = database.store().job(job_id("van"))
    for number in (9, 10):
        verdict = verdict_on_batch(van, id_of("van", "batch", number))
        assert verdict is not None and verdict.word is Word.BLENDS


def test_the_readme_sends_it_as_of_that_monday():
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    assert f"--read-at {MONDAY_AFTER}" in readme


def test_reading_the_dark_cards_years_later_turns_no_word(demo_copy: Callable[[], Path]):
    """The two readings of card 10 are of one true colour; ΔE00 by a library outside the project."""
    folder = demo_copy()
    before = words(folder)
    imported("deep-fir-again.csv", folder)
    assert words(folder) == before
    with open_database(folder, read_only=True) as database:
        van = database.store().job(job_id("van"))
    read = [r for r in van.by(Reading, "card_id", card_id("10")) if r.stage is Stage.BAKED]
    assert [len(r.angles[0].repeats) for r in read] == [1, 8]
    first, again = (mean_lab(r.angles[0]) for r in read)
    assert deltaE_ciede2000(first, again) < 0.3


@pytest.mark.parametrize("name", ["frost-lake-corner.csv", "frost-lake-bonnet.csv"])
def test_reading_the_light_cards_again_changes_no_word(demo_copy: Callable[[], Path], name: str):
    folder = demo_copy()
    before = words(folder)
    imported(name, folder)
    assert words(folder) == before


def words(folder: Path) -> dict[str, Word]:
    """The word of each batch and joint of the van."""
    with open_database(folder, read_only=True) as database:
        van = database.store().job(job_id("van"))
    return {v.joint_id or v.batch_id or "": v.word for v in van.all(Verdict)}

"""The readings files to import: they are what their script makes, and settle what is open."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from uuid import uuid4

import pytest

from demo_cards.names import id_of
from demo_cards.readings_files import FOLDER, files
from demo_cards.script import job_id, person_id
from service.domain.card_code import read_card_code
from service.domain.lookups import verdict_on_batch
from service.domain.records.measuring import AngleReading
from service.domain.terms import Word
from service.exchange.reading_files import read_readings
from service.storage.database import open_database
from service.use_cases import all_verbs  # noqa: F401  read for the verbs it registers
from service.use_cases.command import perform
from service.use_cases.measuring import LogReading, Measured
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
    assert not [w.code for w in file.warnings if w.code.endswith("not_stated")]


def test_reading_the_dark_cards_again_settles_both(demo_copy: Callable[[], Path]):
    file = read_readings(files()["deep-fir-again.csv"])
    with open_database(demo_copy()) as database:
        store = database.store()
        for sample in file.samples:
            found = store.card_by_code(read_card_code(sample.name or ""))
            assert found is not None and sample.stage is not None
            reading = Measured(
                stage=sample.stage,
                illuminant=sample.conditions.illuminant or "",
                observer=sample.conditions.observer or 0,
                geometry=sample.conditions.geometry,
                angles=tuple(
                    AngleReading(angle=angle, repeats=labs)
                    for angle, labs in sample.labs_by_angle().items()
                ),
                card_id=found[1],
                surface_temperature_c=sample.readings[0].surface_temperature_c,
            )
            command = LogReading(id=str(uuid4()), job_id=found[0], reading=reading)
            perform(store, person_id("refinisher"), command)
        van = store.job(job_id("van"))
        for number in (9, 10):
            verdict = verdict_on_batch(van, id_of("van", "batch", number))
            assert verdict is not None and verdict.word is Word.BLENDS

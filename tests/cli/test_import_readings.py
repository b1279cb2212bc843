"""``keepcard import``: what it says of spectra and of what is on record, and real files."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from service.domain.card_code import grouped
from service.domain.records.cards import Card
from service.domain.records.measuring import Reading
from service.storage.database import open_database, open_store
from tests.shop_hand import ShopHand

MANAGER = "First Manager"
SAID = ("--stage", "baked", "--illuminant", "D65", "--observer", "10", "--geometry", "45:0")


class Shop:
    """A folder with two cards that were never read."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        with open_database(folder) as database:
            store = database.create_shop("Test shop", manager=MANAGER)
            hand = ShopHand(store)
            hand.open()
            cards = [hand.card(hand.batch()) for _ in range(2)]
            hand.bake(*cards)
            self.job_id = hand.job_id
            self.codes = [grouped(hand.file.get(Card, card).code) for card in cards]

    def readings(self) -> list[Reading]:
        store = open_store(self.folder, read_only=True)
        with store.database:
            return store.job(self.job_id).all(Reading)


@pytest.fixture
def shop(tmp_path):
    return Shop(tmp_path / "shop")


@pytest.fixture
def imported(keepcard, shop, tmp_path):
    def run(content: str | bytes, *more: str, name: str = "readings.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        where = ("--data", str(shop.folder), "--as", MANAGER)
        return keepcard("import", str(path), *where, *SAID, *more)

    return run


def spectra(*names: str) -> str:
    bands = range(400, 710, 10)
    rows = [f"{name},{','.join(['0.2'] * len(bands))}" for name in names]
    return "\n".join(["name," + ",".join(f"{nm} nm" for nm in bands), *rows, ""])


def test_spectra_are_stored_and_named_in_the_summary(imported, shop):
    first, second = shop.codes
    result = imported(spectra(first, first, first, second))
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[0] == f"{first}  baked, D65/10°, 3 repeats, 3 spectra 400–700 nm by 10"
    assert lines[1] == f"{second}  baked, D65/10°, 1 repeats, 1 spectrum 400–700 nm by 10"
    assert lines[2] == "2 readings stored."
    assert "worked out from the spectra" in result.stderr
    assert len(shop.readings()[0].spectra[0].reflectance) == 3


def test_json_tells_the_spectra_and_the_batch_beside_the_rest(imported, shop):
    told = json.loads(imported(spectra(shop.codes[0]), "--json", "--dry-run").stdout)
    (reading,) = told["readings"]
    assert reading["spectra"][0]["wavelengths_nm"] == list(range(400, 710, 10))
    assert reading["spectra"][0]["reflectance"] == [[0.2] * 31]
    assert (reading["batch"], reading["on_record"]) == (1, None)
    assert set(told) == {"file", "stored", "readings", "warnings", "verdicts", "receipt"}


def test_a_copy_of_a_file_under_another_name_is_known_again(imported, shop):
    text = f"name,L,a,b\n{shop.codes[0]},25,-12,6\n"
    assert imported(text).exit_code == 0
    grown = f"{text}{shop.codes[1]},26,-12,6\n"
    result = imported(grown, name="grown.csv")
    assert result.exit_code == 0, result.output
    assert "1 readings stored, 1 were on record already." in result.stdout
    assert f"{shop.codes[0]}  baked, D65/10°, 1 repeats (on record since 20" in result.stdout
    assert len(shop.readings()) == 2


def test_samples_that_name_no_card_stay_out_only_when_that_is_said(imported, shop):
    text = f"name,L,a,b\n{shop.codes[0]},25,-12,6\nwhite tile,95,0,0\n"
    refused = imported(text)
    assert refused.exit_code == 2
    assert "Sample 2 (white tile): 'white tile' names no card." in refused.stderr
    result = imported(text, "--leave-out-unknown")
    assert result.exit_code == 0
    assert "left out: white tile." in result.stderr
    assert len(shop.readings()) == 1


def test_numbered_samples_of_one_card_are_its_repeats(imported, shop):
    text = "name,L,a,b\n1,25,-12,6\n2,25.1,-12,6\n3,25.2,-12,6\n"
    result = imported(text, "--card", shop.codes[0])
    assert result.exit_code == 0, result.output
    (reading,) = shop.readings()
    assert len(reading.angles[0].repeats) == 3


def test_every_problem_of_every_sample_is_printed(imported, shop):
    text = f"name,L,a,b\n{shop.codes[0]} back,25,-12,6\nZZZZ-ZZZZ-Z,20,1,1\n"
    result = imported(text)
    assert result.exit_code == 2
    assert "Sample 1" in result.stderr and "Sample 2" in result.stderr
    assert shop.readings() == []


def sample(name: str) -> bytes:
    named = os.environ.get("KEEPCARD_SAMPLES")
    if not named or not (Path(named) / name).exists():
        pytest.skip("unproved: KEEPCARD_SAMPLES does not lead to the samples")
    return (Path(named) / name).read_bytes()


def test_a_real_spectral_file_of_one_sample_is_stored_for_the_card_given(keepcard, shop, tmp_path):
    path = tmp_path / "single.txt"
    path.write_bytes(sample("cgats17_single_spectral_nm_fields.txt"))
    where = ("--data", str(shop.folder), "--as", MANAGER, "--card", shop.codes[0])
    said = ("--stage", "baked", "--geometry", "45:0", "--instrument", "")
    result = keepcard("import", str(path), *where, *said)
    assert result.exit_code == 0, result.output
    (reading,) = shop.readings()
    (spectrum,) = reading.spectra
    assert 0 < min(spectrum.reflectance[0]) and max(spectrum.reflectance[0]) < 1.2
    assert "spectrum" in result.stdout


@pytest.mark.parametrize("name", ["cxf_sample.cxf", "lgorowlength_spectral_d65.txt"])
def test_a_real_file_of_many_samples_names_no_card_here_and_stays_out(imported, shop, name):
    result = imported(sample(name), name=name)
    assert result.exit_code == 2
    assert "Sample 1 (" in result.stderr
    assert "names no card" in result.stderr or "no card here" in result.stderr
    assert shop.readings() == []


def test_when_it_was_read_is_stated_and_kept(imported, shop):
    moment = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=5)
    result = imported(spectra(shop.codes[0]), "--read-at", moment.isoformat())
    assert result.exit_code == 0, result.output
    assert shop.readings()[0].observed_at == moment
    refused = imported(spectra(shop.codes[1]), "--read-at", "last Friday")
    assert refused.exit_code == 2 and "is no time. Write --read-at as" in refused.stderr
    tomorrow = (datetime.now(UTC) + timedelta(days=3)).isoformat()
    refused = imported(spectra(shop.codes[1]), "--read-at", tomorrow)
    assert refused.exit_code == 2 and "lies in the future" in refused.stderr
    assert len(shop.readings()) == 1

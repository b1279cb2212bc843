"""The demo's simulated photographs: what they are, what they tell, and what the record holds."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from hashlib import sha256

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image
from skimage.color import deltaE_ciede2000

from colour.photo.outcome import PhotoRead, PhotoRefused
from demo_cards.diary_photographs import FOLDER, photograph_of
from demo_cards.make_photographs import SHOTS, cards_in, take, truths
from demo_cards.names import code_of, id_of
from demo_cards.script import card_id, told, zone_id
from service.app import command_ports
from service.cli import cli
from service.domain.card_code import read_card_code
from service.domain.records.cards import Photo
from service.domain.records.measuring import Frame, Reading, Verdict
from service.domain.terms import Method, Stage, Word
from service.photos.desk import PhotoDesk
from tests.demo_cards.conftest import Told
from tests.photo_trials import CHI_SQUARE_95, pairs_of

TOLD = ("deep-fir-blends", "deep-fir-shows")
REFUSED = "deep-fir-glare"
LIMIT = 0.8


@pytest.fixture(scope="module")
def desk() -> Iterator[PhotoDesk]:
    with PhotoDesk() as desk:
        yield desk


@pytest.fixture(scope="module")
def read(desk: PhotoDesk) -> dict[str, PhotoRead]:
    return {name: desk.read(photograph_of(name)) for name in TOLD}


def pixels_of(content: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(content)) as image:
        return np.asarray(image.convert("RGB"))


def likeness(pixels: np.ndarray) -> np.ndarray:
    """A sixteenth of the size: what another encoder of JPEGs cannot change."""
    rows, columns = (side // 16 * 16 for side in pixels.shape[:2])
    blocks = pixels[:rows, :columns].reshape(rows // 16, 16, columns // 16, 16, 3)
    return blocks.mean(axis=(1, 3))


def test_the_folder_holds_what_the_script_makes():
    assert {path.stem for path in FOLDER.glob("*.jpg")} == set(SHOTS)
    assert set(SHOTS) == set(told("photographs")["cards"]) == {*TOLD, REFUSED}


@pytest.mark.parametrize("name", SHOTS)
def test_each_file_is_what_the_script_makes(name: str):
    kept, made = pixels_of(photograph_of(name)), pixels_of(take(name).content)
    assert kept.shape == made.shape == (1944, 2592, 3)
    off = np.abs(likeness(kept) - likeness(made))
    # Where it was laid out with another font, single letters of the sheet may fall elsewhere.
    assert off.mean() < 0.3
    assert np.quantile(off, 0.99) < 2


@pytest.mark.parametrize("name", SHOTS)
def test_each_file_says_that_it_is_simulated_and_is_small(name: str):
    content = photograph_of(name)
    assert len(content) < 900_000
    with Image.open(io.BytesIO(content)) as image:
        assert image.format == "JPEG"
        assert image.getexif()[0x010E] == "Simulated photograph"
    corner = pixels_of(content)[-80:, :700].min(axis=-1)
    assert np.median(corner) < 130 < 200 < np.quantile(corner, 0.97)  # light words on the table


@pytest.mark.parametrize("name", TOLD)
def test_reading_gives_the_stated_truth_within_the_stated_uncertainty(
    read: dict[str, PhotoRead], name: str
):
    """By the 95 % ellipsoid of three channels, of each card by itself and of their difference."""
    (pair,) = pairs_of(read[name], truths(name))
    assert pair.squares < CHI_SQUARE_95
    assert pair.window_squares(0) < CHI_SQUARE_95
    assert pair.window_squares(1) < CHI_SQUARE_95


def test_what_is_true_lies_on_the_side_of_the_limit_that_is_told(read: dict[str, PhotoRead]):
    """CIEDE2000 by scikit-image, of the scenario's own figures and of what was read."""
    for name, low, high in (("deep-fir-blends", 0.0, 0.4), ("deep-fir-shows", 1.5, 2.2)):
        true = truths(name)
        assert low <= deltaE_ciede2000(true["master"], true["card"]) <= high
        (pair,) = pairs_of(read[name], true)
        assert low <= deltaE_ciede2000(*pair.read) <= high
        assert pair.verdict() == ("blends" if high < LIMIT else "shows")


@pytest.mark.parametrize("name", TOLD)
def test_the_labels_in_the_photograph_are_those_of_its_cards(read: dict[str, PhotoRead], name: str):
    found = {code.window: read_card_code(code.text) for code in read[name].codes}
    assert found == {window: code_of(card) for window, card in cards_in(name).items()}


def test_the_one_with_glare_is_refused_and_says_which_window(desk: PhotoDesk):
    with pytest.raises(PhotoRefused) as refused:
        desk.read(photograph_of(REFUSED))
    assert "master" in str(refused.value) and "reflection" in str(refused.value)


@pytest.mark.parametrize(
    ("name", "code", "says"),
    [
        ("deep-fir-blends", 0, "Blends: "),
        ("deep-fir-shows", 0, "Shows: "),
        (REFUSED, 2, "was not measured."),
    ],
)
def test_measure_tells_what_the_story_tells(name: str, code: int, says: str):
    result = CliRunner().invoke(cli, ["measure", str(FOLDER / f"{name}.jpg")], obj=command_ports())
    assert result.exit_code == code, result.output
    assert says in result.output


def frame_of(demo: Told, name: str) -> Frame:
    sha = sha256(photograph_of(name)).hexdigest()
    (frame,) = [frame for frame in demo.van.all(Frame) if frame.photo_sha256 == sha]
    return frame


@pytest.mark.parametrize("name", TOLD)
def test_the_record_holds_the_readings_of_the_very_bytes(
    demo: Told, read: dict[str, PhotoRead], name: str
):
    assert demo.store.photos.get(frame_of(demo, name).photo_sha256) == photograph_of(name)
    frame = frame_of(demo, name)
    readings = [demo.van.get(Reading, id) for id in frame.reading_ids]
    assert dict(zip(frame.windows, (r.card_id for r in readings), strict=True)) == {
        window: card_id(card) for window, card in cards_in(name).items()
    }
    for window, reading in zip(frame.windows, readings, strict=True):
        card = cards_in(name)[window]
        assert (reading.method, reading.stage) == (Method.PHOTOGRAPH, Stage.BAKED)
        assert (reading.illuminant, reading.observer) == ("D65", 2)
        assert reading.zone_id == zone_id(card, "cleared")
        found = read[name].window(window)
        assert found is not None
        np.testing.assert_allclose(reading.angles[0].repeats, [found.lab], atol=1e-6)
        assert frame.photo_sha256 in {
            photo.sha256 for photo in demo.van.by(Photo, "card_id", reading.card_id)
        }


@pytest.mark.parametrize(
    ("name", "batch", "word"),
    [("deep-fir-blends", 9, Word.BLENDS), ("deep-fir-shows", 12, Word.SHOWS)],
)
def test_the_verdict_at_the_photograph_rests_on_it(demo: Told, name: str, batch: int, word: Word):
    frame = frame_of(demo, name)
    first = demo.van.by(Verdict, "batch_id", id_of("van", "batch", batch))[0]
    assert (first.word, first.look) == (word, 1)
    assert set(first.reading_ids) == set(frame.reading_ids)
    assert "By photograph" in first.sentence
    (told_by,) = json.loads(first.evidence)["photographs"]["frames"]
    assert told_by["frame_id"] == frame.root


def test_the_refused_one_is_in_no_record(demo: Told):
    sha = sha256(photograph_of(REFUSED)).hexdigest()
    assert not demo.store.photos.has(sha)
    assert len(demo.van.all(Frame)) == len(TOLD)

"""Nobody may take the demo for real: it says that it is invented wherever it is met."""

from __future__ import annotations

import io
from hashlib import sha256
from pathlib import Path

import pytest
from PIL import Image

from demo_cards.drawing import SIZE
from demo_cards.load import people
from demo_cards.readings_files import FOLDER
from demo_cards.script import SCENARIO, told
from service.domain.records.cards import Photo
from service.domain.records.job import Finish, Job, Policy
from service.domain.records.measuring import Frame, Reading
from service.domain.records.shop import Instrument, Person, Product, Shop
from service.domain.records.spraying import Batch, Component
from service.domain.terms import Role
from service.storage.sessions import password_hash_of
from service.use_cases.passwords import check_password, fits
from tests.demo_cards.conftest import Told


def test_the_shop_is_marked_a_demo_and_named_invented(demo: Told):
    (shop,) = demo.store.shop().all(Shop)
    assert shop.is_demo and "invented" in shop.name


def test_jobs_finishes_products_instruments_and_pots_say_invented(demo: Told):
    shop = demo.store.shop()
    said = [one.name for one in (*shop.all(Instrument), *shop.all(Product))]
    said += [product.sheet.lower() for product in shop.all(Product)]
    for file in (demo.van, demo.repair):
        said += [job.title for job in file.all(Job)]
        said += [job.note.lower() for job in file.all(Job)]
        said += [finish.colour_name for finish in file.all(Finish)]
        said += [batch.formula for batch in file.all(Batch) if batch.formula]
        said += [component.product for component in file.all(Component)]
    assert len(said) > 80
    assert [text for text in said if "invented" not in text] == []


def test_every_reading_and_every_own_limit_says_invented(demo: Told):
    for file in (demo.van, demo.repair):
        for reading in file.all(Reading):
            frame = file.find(Frame, reading.frame_id)
            if frame is None:
                assert "Invented" in reading.source
                continue
            shown = [p for p in file.all(Photo) if p.sha256 == frame.photo_sha256]
            assert reading.card_id in {photo.card_id for photo in shown}
            assert all("SIMULATED" in p.caption and "invented" in p.caption for p in shown)
    own = [policy.limit_origin for policy in demo.van.all(Policy) if policy.limit_gap != 0.8]
    assert own and all("Invented" in origin for origin in own)


def test_pictures_say_that_they_were_drawn_and_lie_in_the_photo_store(demo: Told):
    photos = [p for p in demo.van.all(Photo) if "SIMULATED PHOTOGRAPH" not in p.caption]
    assert len(photos) == 2
    for photo in photos:
        assert "Drawn" in photo.caption and "no photograph" in photo.caption
        content = demo.store.photos.get(photo.sha256)
        assert sha256(content).hexdigest() == photo.sha256
        picture = Image.open(io.BytesIO(content))
        assert picture.size == SIZE == (photo.width, photo.height)
        assert Image.MIME[picture.format or ""] == photo.media_type


@pytest.mark.parametrize(
    "path", sorted((*SCENARIO.glob("*.json"), *FOLDER.glob("*.csv"))), ids=lambda path: path.name
)
def test_each_data_file_says_invented(path: Path):
    assert "nvented" in path.read_text(encoding="utf-8")


def test_the_people_can_sign_in_and_hold_the_three_roles(demo: Told):
    shop = demo.store.shop()
    by_name = {person.name: person for person in shop.all(Person)}
    assert {role for person in by_name.values() for role in person.roles} == set(Role)
    for person in people():
        check_password(person.password, known=[person.name, told("cast")["shop"]])
        kept = password_hash_of(demo.store, by_name[person.name].root)
        assert fits(kept, person.password)
        assert not fits(kept, person.password + "x")

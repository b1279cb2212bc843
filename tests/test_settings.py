"""Settings: from options, else from the environment, else as they are."""

from pathlib import Path

import pytest

from service.domain.refused import Invalid
from service.settings import machine_zone, settings_from


def test_an_option_comes_before_the_environment_and_that_before_the_default():
    environment = {"KEEPCARD_DATA_DIR": "/srv/cards", "KEEPCARD_PORT": "9001", "OTHER": "x"}
    settings = settings_from({"port": 9002, "host": None}, environment)
    assert settings.data_dir == Path("/srv/cards")
    assert settings.port == 9002
    assert settings.host == "127.0.0.1"


def test_an_empty_variable_counts_as_none():
    settings = settings_from({"data_dir": "/srv"}, {"KEEPCARD_DATABASE_URL": ""})
    assert settings.database_url is None


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "Give --data DIR"),
        ({"data_dir": "/srv", "port": "ninety"}, "'ninety'. Give a whole number"),
        ({"data_dir": "/srv", "port": 70_000}, "70000"),
        ({"data_dir": "/srv", "zone": "Europe/Atlantis"}, "'Europe/Atlantis' is unknown"),
        ({"data_dir": "/srv", "zone": "../../etc/passwd"}, "is unknown"),
    ],
)
def test_what_cannot_be_taken_is_refused_in_words(given, words):
    with pytest.raises(Invalid, match=words.replace("(", r"\(")):
        settings_from(given, {})


@pytest.mark.parametrize(
    ("host", "address"),
    [
        ("127.0.0.1", "http://127.0.0.1:80"),
        ("0.0.0.0", "http://127.0.0.1:80"),
        ("::1", "http://[::1]:80"),
        ("shop.example", "http://shop.example:80"),
    ],
)
def test_the_address_is_one_a_person_can_open(host, address):
    assert settings_from({"data_dir": ".", "host": host, "port": 80}, {}).address == address


def test_the_machines_zone_is_a_name_or_utc(monkeypatch):
    monkeypatch.setenv("TZ", "Europe/Lisbon")
    assert machine_zone() == "Europe/Lisbon"
    monkeypatch.setenv("TZ", "nonsense")
    assert machine_zone() == "UTC"


@pytest.mark.parametrize(
    ("given", "address"),
    [
        ({"https": "yes"}, "https://127.0.0.1:8470"),
        ({"https": "no"}, "http://127.0.0.1:8470"),
        ({"https": True, "names": "bench.local, 192.168.1.20"}, "https://bench.local:8470"),
        ({"certificate": "c.pem", "certificate_key": "k.pem"}, "https://127.0.0.1:8470"),
        ({"https": "1", "names": "fe80::1"}, "https://[fe80::1]:8470"),
    ],
)
def test_the_address_says_how_it_is_served_and_by_which_name(given, address):
    assert settings_from({"data_dir": "/srv", **given}, {}).address == address


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"certificate": "c.pem"}, "A certificate needs its key"),
        ({"certificate_key": "k.pem"}, "A certificate needs its key"),
        ({"https": "yes", "certificate": "c.pem", "certificate_key": "k.pem"}, "Leave out --https"),
        ({"https": "maybe"}, "Write yes or no"),
    ],
)
def test_half_a_certificate_is_refused_in_words(given, words):
    with pytest.raises(Invalid, match=words):
        settings_from({"data_dir": "/srv", **given}, {})

"""What printing depends on: papers by their word, and an address that labels can carry."""

import pytest

from service.domain.printing import check_paper, check_public_address
from service.domain.refused import Invalid
from service.settings import settings_from


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_papers_are_known_by_their_word(paper):
    assert check_paper(paper) == paper


def test_another_paper_is_refused_with_those_there_are():
    with pytest.raises(Invalid, match="no paper 'a5'. Choose a4 or letter"):
        check_paper("a5")


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("https://cards.example", "https://cards.example"),
        (" https://cards.example/ ", "https://cards.example"),
        ("http://192.168.1.20:8470", "http://192.168.1.20:8470"),
        ("https://[fd00::1]:8470", "https://[fd00::1]:8470"),
    ],
)
def test_an_address_is_a_scheme_a_host_and_perhaps_a_port(given, kept):
    assert check_public_address(given) == kept


@pytest.mark.parametrize(
    "given",
    [
        "cards.example",
        "ftp://cards.example",
        "https://",
        "https://cards.example/shop",
        "https://cards.example?x=1",
        "https://who@cards.example",
        "https://cards.example:port",
        "javascript:alert(1)",
        "https://cards example",
        "https://cards.example\nX: y",
    ],
)
def test_what_capitals_would_change_or_is_no_address_is_refused(given):
    with pytest.raises(Invalid, match="is not an address that labels can carry"):
        check_public_address(given)


def test_both_come_from_the_environment():
    settings = settings_from(
        {"data_dir": "."},
        {"KEEPCARD_PUBLIC_ADDRESS": "https://cards.example", "KEEPCARD_PAPER": "letter"},
    )
    assert (settings.public_address, settings.paper) == ("https://cards.example", "letter")
    with pytest.raises(Invalid, match="Choose a4 or letter"):
        settings_from({"data_dir": ".", "paper": "a3"}, {})

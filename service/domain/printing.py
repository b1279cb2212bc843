"""What printing depends on in a shop: the paper in its printer, and the address labels carry."""

from __future__ import annotations

import re

from service.domain.refused import Invalid

PAPER_NAMES = {"a4": "A4", "letter": "Letter"}
"""Papers the program prints on, by the word they are asked for with."""

_ADDRESS = re.compile(r"https?://(\[[0-9a-f:]+\]|[a-z0-9.-]+)(:[0-9]{1,5})?", re.IGNORECASE)


def check_paper(paper: str) -> str:
    """A paper by its word; refuses another."""
    if paper not in PAPER_NAMES:
        raise Invalid("paper", f"There is no paper {paper[:20]!r}. Choose a4 or letter.")
    return paper


def check_public_address(address: str) -> str:
    """The address under which phones open the shop: a scheme, a host and perhaps a port.

    Labels carry it in capitals, and only these parts mean the same in capitals.
    """
    plain = address.strip().removesuffix("/")
    if not _ADDRESS.fullmatch(plain):
        raise Invalid(
            "public_address",
            f"{address[:80]!r} is not an address that labels can carry. "
            "Write it like https://cards.example, without a path.",
        )
    return plain

"""How the words of the diary become commands; each word is registered under its own name."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from demo_cards.script import Script, Step
from service.use_cases.command import Command

Teller = Callable[[Script, Step], Iterator[Command]]

WORDS: dict[str, Teller] = {}
"""What a step may ask for; filled as the modules of words are read."""


def word(name: str) -> Callable[[Teller], Teller]:
    """Register what a step of that name becomes."""

    def register(teller: Teller) -> Teller:
        WORDS[name] = teller
        return teller

    return register

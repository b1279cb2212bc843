"""What the name of a sample says: a card's code, and beside it a stage, a zone or a repeat number.

Instruments keep little more of a sample than its name, so people write into it what they need to
know. What can be read in one way only is taken; everything else is refused with what to write.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from service.domain.card_code import LENGTH, read_card_code
from service.domain.refused import Invalid
from service.domain.terms import Stage

_DASHES = str.maketrans(dict.fromkeys("‐‑‒–—―−", "-"))
_LINK = re.compile(r"https?://\S*?/c/", re.IGNORECASE)  # as the code on a label reads
# Tried at every place, for two codes in one name may overlap.
_CODE = re.compile(
    rf"(?<![0-9A-Za-z])(?=((?:[0-9A-Za-z][-_ ]?){{{LENGTH - 1}}}[0-9A-Za-z])(?![0-9A-Za-z]))"
)
_WORDS = re.compile(r"[^\W_]+")
_REPEAT = re.compile(r"(?:r|m|rep|repeat|reading|no|nr)?0*(\d{1,3})")
_REPEAT_WORDS = ("repeat", "rep", "reading", "measurement", "no", "nr")
_STAGES = {
    ("wet",): Stage.WET,
    ("base",): Stage.BASE_DRY,
    ("base", "dry"): Stage.BASE_DRY,
    ("dry", "base"): Stage.BASE_DRY,
    ("clear",): Stage.CLEARED,
    ("cleared",): Stage.CLEARED,
    ("baked",): Stage.BAKED,
    ("polished",): Stage.POLISHED,
}

Words = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Named:
    """A name taken apart: codes in it that can be codes at all, and the words beside them."""

    codes: tuple[str, ...]
    words: Words


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands beside a code, read; ``zone`` is the place in the list of zones' names."""

    stage: Stage | None = None
    zone: int | None = None
    repeat: int | None = None


def taken_apart(name: str) -> Named:
    """A sample's name as codes and words.

    A text that is a code and nothing else is read as codes are anywhere, hyphens or none.
    """
    text = _LINK.sub("", name.translate(_DASHES)).strip()
    try:
        return Named((read_card_code(text),), ())
    except Invalid:
        pass
    found: dict[str, str] = {}
    for match in _CODE.finditer(text):
        try:
            found.setdefault(read_card_code(match[1].replace("_", " ")), match[1])
        except Invalid:
            continue
    for typed in found.values():
        text = text.replace(typed, " ", 1)
    return Named(tuple(found), _words(text))


def read_beside(words: Words, zones: Sequence[str]) -> Beside:
    """What the words beside a code mean on a card with zones of these names.

    Raises
    ------
    Invalid
        When they can be read in no way, or in more than one.
    """
    words = words[1:] if words[:1] in (("card",), ("sample",)) else words
    readings: dict[Beside, None] = {}
    for rest, repeat in _without_repeat(words):
        for left, stage in _without_stage(rest):
            if not left:
                readings[Beside(stage, None, repeat)] = None
        for place, zone in enumerate(zones):
            named = _words(zone)
            if named == rest:
                # A zone called "polished" was read as it lies there, whichever is meant.
                readings[Beside(_STAGES.get(rest), place, repeat)] = None
            for left, stage in _without_stage(rest):
                if stage is not None and left == named:
                    readings[Beside(stage, place, repeat)] = None
    whole = [found for found in readings if found.zone is not None] or list(readings)
    if len(whole) == 1:
        return whole[0]
    beside = " ".join(words)
    if readings:
        raise Invalid("name", f"'{beside}' beside the code can be read in more than one way.")
    known = ", ".join(("base", "cleared", "baked", "polished", *zones))
    raise Invalid(
        "name", f"'{beside}' beside the code is no stage, zone or repeat number ({known}, 1, 2)."
    )


def read_freely(words: Words) -> tuple[Words, Beside]:
    """The same for a name without a code, whose other words are given back unread."""
    rest, repeat = _without_repeat(words)[-1]
    left, stage = _without_stage(rest)[-1]
    return (left, Beside(stage, None, repeat)) if not left else (rest, Beside(None, None, repeat))


def _words(text: str) -> Words:
    return tuple(_WORDS.findall(text.casefold()))


def _without_repeat(words: Words) -> list[tuple[Words, int | None]]:
    """The words as they stand, and without the number they may end in."""
    found: list[tuple[Words, int | None]] = [(words, None)]
    number = _REPEAT.fullmatch(words[-1]) if words else None
    if number is not None:
        rest = words[:-1]
        if rest and rest[-1] in _REPEAT_WORDS and words[-1].isdigit():
            rest = rest[:-1]
        found.append((rest, int(number[1])))
    return found


def _without_stage(words: Words) -> list[tuple[Words, Stage | None]]:
    """The words as they stand, and without the stage they may begin or end with."""
    found: list[tuple[Words, Stage | None]] = [(words, None)]
    for size in (1, 2):
        if len(words) >= size:
            for stage_words, left in ((words[:size], words[size:]), (words[-size:], words[:-size])):
                stage = _STAGES.get(stage_words)
                if stage is not None and (left, stage) not in found:
                    found.append((left, stage))
    return found

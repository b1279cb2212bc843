"""Which letters the typesetter's own fonts have; papers say so where a name needs others.

Papers are set in these fonts alone, so that every machine prints the same. What they lack is
drawn as a crossed box, which a reader must not take for the name.
"""

from __future__ import annotations

import unicodedata
from bisect import bisect_right
from collections.abc import Iterable

# Characters of Unicode that one of the embedded fonts draws (typst 0.15; a test asks it again).
_DRAWN = """
21-7e a1-34e 350-4ff 510-513 51a-51d 531-60c 615 61b 61f 621-63a 640-655 65a 660-66d 674
679-67b 67e-680 683-684 686-687 691 698 6a4 6a9 6af 6be 6cc 6f0-6f9 900-97f e3f e81-e84
e87-e88 e8a e8d e94-e97 e99-e9f ea1-ea7 eaa-eab ead-eb9 ebb-ebc ec8-ecd 10d0-10ff 13a0-13fd
17c1-17c3 1ab0-1ace 1d00-1db3 1db5-1ffe 2010-2027 2030-2040 2042 2044-2052 2054-205e
2070-211e 2120 2122 2124 2126-2151 2153-2184 2189 2190-23ff 2422-2423 2460-2606 2609-262f
2638-268b 2690-269c 26a0-26a7 26aa-26af 26b2 2701-2704 2706-2709 270c-2714 2717-2726
272a-274b 274d 274f-2752 2756 2758-275e 2761-277f 2794 2798-27af 27b1-27ff 2801-2bff
2c60-2cff 2e02-2e05 2e08-2e0a 2e17-2e18 2e1f 2e22-2e25 2e2e 3012 3016-3017 301a-301b
302e-3030 3036 306e a46a-a46b a640-a641 a648-a649 a656-a657 a708-a716 a71b-a727 a72d a730
a735 a765 a789-a78e a790-a791 a793 a7aa a7f8-a7f9 ab52 ab66 ab70-abbf fb00-fb4f fb52-fb81
fb8a-fb95 fb9e-fb9f fbaa-fbad fbe8-fbe9 fbfc-fbff fe20-fe2f fe66 fe70-fefc fffd 10140-1018e
102e0-102fb 1d106-1d107 1d400-1d7ff 1ee00-1eef1 1f12f 1f6d1 1f780-1f7eb 1f800-1f8b1
"""

_RANGES = [
    (int(first, 16), int(last or first, 16))
    for first, _, last in (part.partition("-") for part in _DRAWN.split())
]
_STARTS = [first for first, _ in _RANGES]

NOTE = (
    "A crossed box stands for a letter that the fonts of this paper lack. "
    "The record on screen shows it as it was typed."
)


def is_drawn(character: str) -> bool:
    """Whether a font has the character; blanks and what is never seen count as drawn."""
    if unicodedata.category(character) in ("Cc", "Cf", "Zs", "Zl", "Zp"):
        return True
    at = bisect_right(_STARTS, ord(character)) - 1
    return at >= 0 and ord(character) <= _RANGES[at][1]


def lacks_letters(texts: Iterable[str]) -> bool:
    """Whether some character of the texts can only be drawn as a crossed box."""
    return any(not text.isascii() and not all(map(is_drawn, text)) for text in texts)


def settable(text: str) -> str:
    """A text as it may be set: blanks for breaks and controls, places to part in long words.

    What turns the direction of writing by force is left out, for it could put one thing's name
    in another's place on paper.
    """
    if text.isascii() and text.isprintable() and len(text) <= _LONGEST_WORD:
        return text
    plain = "".join(
        " " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c
        for c in text
        if c not in _TURNING and not 0xD800 <= ord(c) <= 0xDFFF
    )
    return " ".join(_parted(word) for word in plain.split(" "))


_LONGEST_WORD = 16
_PART = 8
_MAY_BREAK = "\u200b"  # zero width space
_TURNING = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c"


def _parted(word: str) -> str:
    if len(word) <= _LONGEST_WORD:
        return word
    parts: list[str] = []
    start = 0
    for at in range(1, len(word) + 1):
        inside = at < len(word) and unicodedata.combining(word[at])
        if at - start >= _PART and not inside:
            parts.append(word[start:at])
            start = at
    return _MAY_BREAK.join([*parts, word[start:]] if start < len(word) else parts)

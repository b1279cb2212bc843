"""Which letters papers can set: asked of the typesetter again, and what is said of the others."""

from __future__ import annotations

import json
import re

import pytest
import typst

from service.paper.letters import is_drawn, lacks_letters, settable

SOME = "Aß€ΩЖאب漢か한กख😀→■☃ẞ\ua4d0"


def boxed(characters: str) -> set[str]:
    """The characters the typesetter draws as it draws one that Unicode has not given out."""
    source = (
        b"#let d = json(bytes(sys.inputs.d))\n#set page(width: auto, height: auto, margin: 0pt)\n"
        b'#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"))\n'
        b"#for (i, c) in d.enumerate() { place(dy: i * 20pt, c) }\n#v(1pt)"
    )
    svg = typst.compile(
        source,
        format="svg",
        font_paths=typst.Fonts(include_system_fonts=False),
        ignore_system_fonts=True,
        sys_inputs={"d": json.dumps(["\u0378", *characters])},
    ).decode()
    drawn = re.findall(r'<g transform="matrix[^"]*">((?:<use[^>]*/>)+)</g>', svg)
    assert len(drawn) == len(characters) + 1
    (lacking,) = re.findall(r'#(g\w+)"', drawn[0])
    return {c for c, use in zip(characters, drawn[1:], strict=True) if lacking in use}


def test_the_table_agrees_with_what_the_typesetter_draws():
    assert boxed(SOME) == {c for c in SOME if not is_drawn(c)}
    assert {"漢", "か", "한", "😀"} <= boxed(SOME)


def test_every_letter_of_european_names_is_drawn():
    # Latin-1 Supplement, Latin Extended-A, Greek and Cyrillic blocks of Unicode.
    letters = "".join(
        chr(c) for c in (*range(0xA1, 0x180), *range(0x391, 0x3CA), *range(0x410, 0x450))
    )
    letters = "".join(c for c in letters if c.isalpha())
    assert not lacks_letters([letters])
    assert boxed(letters) == set()


def test_what_is_never_seen_needs_no_letter():
    assert not lacks_letters(["plain", "a\u00a0b\u202f%\u200b", "tab\tline\n"])
    assert lacks_letters(["plain", "漢字"])


@pytest.mark.parametrize(
    ("typed", "set_as"),
    [
        ("Booth 2", "Booth 2"),
        ("a\nb\tc\x00d\u2028e", "a b c d e"),
        ("x" * 20, "xxxxxxxx\u200bxxxxxxxx\u200bxxxx"),
        ("up \u202egnorw\u202c down", "up gnorw down"),
        ("lone \ud800 half", "lone  half"),
        ("", ""),
    ],
)
def test_texts_are_set_without_breaks_controls_and_forced_directions(typed, set_as):
    assert settable(typed) == set_as


def test_a_long_word_never_parts_before_a_combining_mark():
    word = "e\u0301" * 20
    assert "\u200b\u0301" not in settable(word)
    assert settable(word).replace("\u200b", "") == word

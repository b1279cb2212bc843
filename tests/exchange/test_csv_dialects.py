"""Any readings, written in any dialect, are read back the same; nothing else escapes a refusal."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from service.exchange.reading_files import read_readings
from service.exchange.readings import ReadingsRefused

hundredths = st.integers(-9_999, 9_999).map(lambda n: n / 100)
colours = st.tuples(st.integers(0, 10_000).map(lambda n: n / 100), hundredths, hundredths)
names = st.text(st.characters(categories=("L", "N"), codec="utf-8"), min_size=1, max_size=12) | (
    st.sampled_from(['5" card', "a,b", "c;d", "e\tf", "two words", "#9", "'=1+1", "=2", "-3", "|"])
)
samples = st.lists(
    st.tuples(names, st.lists(colours, min_size=1, max_size=3)),
    min_size=1,
    max_size=5,
    unique_by=lambda sample: " ".join(sample[0].split()),
)


@st.composite
def dialects(draw):
    return {
        "delimiter": draw(st.sampled_from(",;\t|")),
        "decimal": draw(st.sampled_from(".,")),
        "end": draw(st.sampled_from(["\n", "\r\n", "\r"])),
        "last_end": draw(st.booleans()),
        "encoding": draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le"])),
        "quote_all": draw(st.booleans()),
        "blank_lines": draw(st.booleans()),
        "numbered": draw(st.booleans()),
        "order": draw(st.permutations(["name", "L*", "a*", "b*"])),
    }


def written(rows: list[dict[str, str]], dialect) -> bytes:
    """A writer of our own, so that the reader is not tested with its own other half."""

    def cell(text: str) -> str:
        special = set(text) & {dialect["delimiter"], '"'} or text.startswith("#")
        return '"' + text.replace('"', '""') + '"' if special or dialect["quote_all"] else text

    headings = dialect["order"] + (["repeat"] if dialect["numbered"] else [])
    lines = [dialect["delimiter"].join(map(cell, headings))]
    for row in rows:
        lines.append(dialect["delimiter"].join(cell(row[heading]) for heading in headings))
        lines += [""] if dialect["blank_lines"] else []
    text = dialect["end"].join(lines) + (dialect["end"] if dialect["last_end"] else "")
    return text.encode(dialect["encoding"])


@settings(deadline=None)  # a busy machine is no failure
@given(samples, dialects())
def test_what_was_written_is_what_is_read(given_samples, dialect):
    rows = [
        {"name": name, "repeat": str(number)}
        | {
            axis: f"{value:.2f}".replace(".", dialect["decimal"])
            for axis, value in zip(("L*", "a*", "b*"), lab, strict=True)
        }
        for name, labs in given_samples
        for number, lab in enumerate(labs, 1)
    ]
    file = read_readings(written(rows, dialect))
    found = [(sample.name, list(sample.labs_by_angle()[None])) for sample in file.samples]
    # Inner white space becomes one space, and a guard's apostrophe before a sign is taken away.
    assert found == [
        (" ".join(name.split()).replace("'=", "="), labs) for name, labs in given_samples
    ]


@settings(deadline=None)  # a busy machine is no failure
@given(st.binary(max_size=300))
def test_no_bytes_make_the_reader_fail_otherwise_than_by_a_refusal(data):
    try:
        read_readings(data)
    except ReadingsRefused as refused:
        assert str(refused).endswith((".", "L,a,b"))


@settings(deadline=None)  # a busy machine is no failure
@given(st.text(st.sampled_from('Lab*,;"\n\r#1590.-%° nm:=dD/'), max_size=200))
def test_no_table_like_text_makes_the_reader_fail_otherwise_than_by_a_refusal(text):
    for header in ("", "L,a,b\n", "name;L;a;b\n", "name,400,410,420\n"):
        try:
            file = read_readings((header + text).encode())
        except ReadingsRefused:
            continue
        assert file.samples

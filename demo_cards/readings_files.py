"""Writes demo_cards/readings: files as the software of instruments writes them.

    python -m demo_cards.readings_files

Each file is of cards of the demo, named by their codes, and in a dialect of its own. What is in
them is invented: made from the demo's stated true colours, as all its readings are.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from demo_cards.diary_looking import angles_read
from demo_cards.names import code_of
from demo_cards.script import told
from service.domain.card_code import grouped
from service.domain.terms import Stage

FOLDER = Path(__file__).parent / "readings"
SAID = "# Invented: made by the demo from stated true colours, no instrument was near"


def files() -> dict[str, bytes]:
    """Every file by its name."""
    return {
        "deep-fir-again.csv": _deep_fir().encode("utf-8-sig"),
        "frost-lake-corner.csv": _frost_lake_wide().replace("\n", "\r\n").encode(),
        "frost-lake-bonnet.csv": _frost_lake_long().encode(),
    }


def _deep_fir() -> str:
    """Two dark cards at one angle, eight times each: one a row, decimal commas, byte order mark."""
    lines = [
        SAID,
        "Card;Reading;L*(D65/10°);a*(D65/10°);b*(D65/10°);Geometry;Stage;Temp C;Instrument",
    ]
    instrument = _instrument(1)
    for card in ("9", "10"):
        for number, labs in _readings("Deep Fir", card, Stage.BAKED, 8):
            numbers = ";".join(_comma(value) for value in labs[None])
            lines.append(
                f"{grouped(code_of(card))};{number};{numbers};45:0;baked;22,8;{instrument}"
            )
    return "\n".join(lines) + "\n"


def _frost_lake_wide() -> str:
    """The two cards of the corner at three angles, one row a reading: decimal commas, CR LF."""
    headings = [f"{part} {angle}°" for angle in (15, 45, 110) for part in ("L*", "a*", "b*")]
    lines = [
        SAID,
        f"Name;Repeat;{';'.join(headings)};Illuminant;Observer;Geometry;Stage;Temperature C;"
        "Instrument",
    ]
    instrument = _instrument(0)
    for card in ("4", "7"):
        for number, labs in _readings("Frost Lake", card, Stage.POLISHED, 3):
            numbers = ";".join(_comma(v) for angle in (15, 45, 110) for v in labs[angle])
            name = grouped(code_of(card))
            lines.append(f"{name};{number};{numbers};D65;10;multi-angle;polished;22,5;{instrument}")
    return "\n".join(lines) + "\n"


def _frost_lake_long() -> str:
    """The bonnet's card at three angles, one row an angle: points, conditions stated on top."""
    lines = [
        SAID,
        "# illuminant: D65",
        "# observer: 10",
        "# geometry: multi-angle",
        "# stage: polished",
        f"# instrument: {_instrument(0)}",
        "name,repeat,angle,L,a,b,temperature_c",
    ]
    for number, labs in _readings("Frost Lake", "6", Stage.POLISHED, 4):
        for angle, lab in labs.items():
            numbers = ",".join(f"{value:.2f}" for value in lab)
            lines.append(f"{code_of('6')},{number},{angle},{numbers},22.6")
    return "\n".join(lines) + "\n"


Labs = dict[int | None, tuple[float, float, float]]


def _readings(finish: str, card: str, stage: Stage, repeats: int) -> Iterator[tuple[int, Labs]]:
    """Number and colours by angle of each repeat."""
    kinds = {one["name"]: one["kind"] for one in told("van")["finishes"]}
    name = f"{card} {stage} in a file"
    angles = angles_read(kinds[finish] != "solid", finish, stage, card, repeats, name)
    for number in range(repeats):
        yield number + 1, {one.angle: one.repeats[number] for one in angles}


def _instrument(place: int) -> str:
    """The name an instrument is registered under."""
    return str(told("cast")["instruments"][place]["name"])


def _comma(value: float) -> str:
    return f"{value:.2f}".replace(".", ",")


def main() -> None:
    """Write every file."""
    FOLDER.mkdir(exist_ok=True)
    for name, content in files().items():
        (FOLDER / name).write_bytes(content)


if __name__ == "__main__":
    main()

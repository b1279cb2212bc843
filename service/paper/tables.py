"""Tables that several papers have: joints with their words, readings with their conditions."""

from __future__ import annotations

from collections.abc import Iterable

from service.domain.terms import EyeWord, Method
from service.paper.blocks import Block, Cell, cell, table, word_cell
from service.paper.written import JOINTS, STAGES, clock, code, first_capital, number, temperature
from service.use_cases.job_paper import JoinedSides
from service.use_cases.paper_readings import ReadOff

EYES = {
    EyeWord.NO_DIFFERENCE: "No difference",
    EyeWord.JUST_SEEN: "Just seen",
    EyeWord.CLEARLY_SEEN: "Clearly seen",
}


def joints_table(joints: Iterable[JoinedSides]) -> Block:
    """Joints with what was said of each."""
    return table(
        [("Joint", 4, False), ("Kind", 2, False), ("What was measured", 6, False)],
        [
            (
                one.name,
                JOINTS[one.kind],
                word_cell(one.said, "Accepted as it is." if one.accepted else ""),
            )
            for one in joints
        ],
    )


def readings_table(readings: Iterable[ReadOff], zone: str, *, named: bool) -> Block:
    """Readings, an angle a row, with their conditions; ``named``: with what was read."""
    rows: list[tuple[Cell, ...]] = []
    for one in readings:
        reading = one.reading
        how = one.instrument or (
            "from a photograph" if reading.method is Method.PHOTOGRAPH else "no instrument named"
        )
        parts = [one.conditions, how]
        if reading.surface_temperature_c is not None:
            parts.append(f"at {temperature(reading.surface_temperature_c)}")
        else:
            parts.append("temperature not measured")
        if reading.past_calibration:
            parts.append("the instrument was past its calibration")
        if one.zone:
            parts.append(f"zone {one.zone}")
        if one.flop_index is not None:
            parts.append(f"flop index {number(one.flop_index, 1)}")
        if one.approved:
            parts.append("approved for the master")
        of = ""
        if named:
            of = code(one.of) + ", " if reading.card_id is not None else f"{one.of}, "
        title = f"{of}{STAGES[reading.stage].lower()}, {clock(reading.observed_at, zone)}"
        name = cell(
            first_capital(title), note=f"{', '.join(parts)}. {one.by}", rows=len(one.angles)
        )
        for place, read in enumerate(one.angles):
            doubt = read.standard_uncertainty
            rows.append(
                (
                    *((name,) if place == 0 else ()),
                    "" if read.angle is None else f"{read.angle}°",
                    *(number(value) for value in read.mean),
                    str(read.repeats),
                    "–" if doubt is None else number(doubt, 3),
                )
            )
    return table(
        [
            ("Reading", 7, False),
            ("Angle", 0, True),
            ("L*", 0, True),
            ("a*", 0, True),
            ("b*", 0, True),
            ("Repeats", 0, True),
            ("u", 0, True),
        ],
        rows,
    )


U_NOTE = (
    "L*, a*, b* are means of the repeats, each taken after lifting the instrument; "
    "u is the standard uncertainty of the mean, per channel, and – where one reading alone "
    "says nothing of its own noise."
)

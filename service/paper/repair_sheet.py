"""The sheet of a repair, to be held beside the car: what to do, why, and room to write."""

from __future__ import annotations

from collections.abc import Iterable

from service.paper.blocks import (
    HARDENER,
    SOLVENT,
    Block,
    boxed,
    cell,
    drawn_card,
    facts,
    heading,
    keep,
    mixed,
    paper_pdf,
    points,
    quiet,
    said,
    sub,
    table,
    words,
)
from service.paper.tables import EYES, U_NOTE, readings_table
from service.paper.written import (
    FINISHES,
    angle,
    clock,
    code,
    delta_e,
    signed,
)
from service.use_cases.papers import colour_of
from service.use_cases.queries import NearCard
from service.use_cases.repair_paper import Held, RepairPaper

_NOTES_MM = 45.0


def repair_pdf(paper: RepairPaper) -> bytes:
    """The sheet as PDF."""
    mark = paper.advised.said.word.value if paper.advised is not None else ""
    return paper_pdf(
        paper.head,
        "Repair sheet",
        paper.recommendation.sentence,
        _lede(paper),
        _blocks(paper),
        mark,
    )


def _lede(paper: RepairPaper) -> str:
    read = ""
    if paper.read is not None:
        at = clock(paper.read.reading.observed_at, paper.head.zone)
        read = f", read on the {paper.panel} {at} by {paper.read.by}"
    return (
        f"{paper.repair.damage}. {paper.head.title}, {paper.finish.name} "
        f"of {paper.stored_job.work_order}{read}."
    )


def _blocks(paper: RepairPaper) -> Iterable[Block]:
    advice = paper.recommendation
    yield heading("Why")
    yield points(advice.because)
    if advice.limits:
        yield sub("What this does not know")
        yield points(advice.limits)
    yield from _stored(paper)
    if paper.read is not None:
        yield heading("Held against the car" if paper.trials else "No trial card was read yet")
        for held in paper.trials:
            yield keep([sub(f"Batch {held.batch_number}, card {code(held.code)}"), *_held(held)])
        if not paper.trials:
            yield words(
                "Mix a small pot, spray a card with all the coats of the car, bake it and read it."
            )
    if paper.near:
        yield heading("The stored cards nearest to the car")
        yield _near(paper.near)
        yield quiet(
            "ΔE00 at one angle of their newest readings: enough to find a card, not to trust it."
        )
    if paper.stored_mix is not None:
        yield heading("What was mixed then")
        yield from mixed(paper.stored_mix, paper.head.zone)
    if paper.has_hardener:
        yield HARDENER
    yield SOLVENT
    if paper.read is not None:
        yield heading("How the car was read")
        yield readings_table([paper.read], paper.head.zone, named=True)
        yield quiet(U_NOTE)
    yield boxed("Notes: gun, pressure, flash, what was seen and under which light", _NOTES_MM)


def _stored(paper: RepairPaper) -> Iterable[Block]:
    held = paper.stored
    if held is None:
        yield words(
            "No card of the stored finish was read, so nothing says how the car drifted."
            if paper.read is not None
            else "Read the car near the damage, three times, lifting the instrument each time."
        )
        return
    yield heading("How the car drifted from its stored card")
    yield drawn_card(
        held.code,
        f"Slot {held.slot}" if held.slot else "No slot noted",
        held.finish,
        colour_of(paper.finish),
        paper.opens,
        [
            facts(
                [
                    ("Where", _place(held)),
                    ("Finish", f"{FINISHES[paper.finish.kind]}, batch {held.batch_number}"),
                    ("Held because", paper.stored_why),
                ]
            ),
            said(held.said, 8.0),
        ],
    )
    yield from _held(held, told=True)


def _place(held: Held) -> str:
    if held.place == "out":
        return f"out with {held.holder}"
    if held.place == "missing":
        return "missing"
    return f"in slot {held.slot}" if held.slot else "in the rack, no slot noted"


def _held(held: Held, *, told: bool = False) -> Iterable[Block]:
    if not told:
        yield said(held.said)
    if held.ways:
        yield table(
            [
                ("Angle", 3, False),
                ("ΔL*", 2, True),
                ("Δa*", 2, True),
                ("Δb*", 2, True),
                ("ΔE00", 2, True),
                ("The car, less the card", 6, False),
            ],
            [
                (
                    angle(way.angle),
                    *(signed(value) for value in way.difference),
                    cell(delta_e(way.delta_e_2000), strong=True),
                    way.words or "no direction stands out",
                )
                for way in held.ways
            ],
        )
    if held.reasons:
        yield points((reason.text, reason.remedy) for reason in held.reasons)
    for check in held.eyes:
        note = f" {check.note}" if check.note else ""
        yield quiet(f"An eye at the {check.look}, {check.light}: {EYES[check.word].lower()}.{note}")


def _near(near: Iterable[NearCard]) -> Block:
    rows = []
    for one in near:
        line = one.line
        colour = " ".join(filter(None, (line.colour_code, line.colour_name)))
        place = {"in": f"slot {line.slot}" if line.slot else "in the rack", "out": "out"}
        parts = [part for part in (line.finish_name, colour) if part]
        rows.append(
            (
                cell(
                    code(line.code), mono=True, note=place.get(line.whereabouts, line.whereabouts)
                ),
                cell(
                    ", ".join(parts),
                    note=f"batch {line.batch_number}, {line.work_order}",
                ),
                "" if line.angle is None else f"{line.angle}°",
                cell(delta_e(one.delta_e_2000), strong=True),
            )
        )
    return table(
        [("Card", 4, False), ("Finish", 6, False), ("Angle", 0, True), ("ΔE00", 0, True)], rows
    )

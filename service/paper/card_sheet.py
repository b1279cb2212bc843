"""The sheet of a card, to hang beside it or to send with a panel."""

from __future__ import annotations

from collections.abc import Iterable

from service.domain.drift import Drift
from service.domain.terms import (
    CardKind,
    HidingMark,
    Hung,
    MovementKind,
    ZoneState,
)
from service.paper.blocks import (
    HARDENER,
    Block,
    Cell,
    cell,
    drawn_card,
    facts,
    heading,
    mixed,
    paper_pdf,
    points,
    quiet,
    said,
    table,
    words,
)
from service.paper.tables import EYES, U_NOTE, joints_table, readings_table
from service.paper.written import (
    NOT_RECORDED,
    STAGES,
    angle,
    clock,
    code,
    day,
    delta_e,
    first_capital,
    minutes,
    number,
    pressure,
    quantity,
    signed,
    temperature,
)
from service.use_cases.card_paper import CardPaper, CoatsAlike
from service.use_cases.papers import colour_of

_ZONES = {
    ZoneState.BARE_BASE: "bare base",
    ZoneState.CLEARED: "cleared as sprayed",
    ZoneState.CUT_AND_POLISHED: "cut and polished",
    ZoneState.LET_DOWN_STEP: "let-down step",
}
_HIDING = {
    HidingMark.NONE: "none on the card",
    HidingMark.COVERED: "covered",
    HidingMark.SHOWS_THROUGH: "shows through",
}
_MOVED = {
    MovementKind.PULLED: "Taken out",
    MovementKind.RETURNED: "Brought back",
    MovementKind.MISSING: "Marked missing",
}
_KINDS = {CardKind.TRIAL: "Trial card", CardKind.RETENTION: "Retention card"}


def card_pdf(paper: CardPaper) -> bytes:
    """The sheet as PDF."""
    head = paper.head
    lede = (
        f"{_KINDS[paper.card.kind]} of batch {paper.batch.number}, {head.title}. "
        f"Sprayed {clock(paper.card.observed_at, head.zone)} by {paper.painter}."
    )
    mark = paper.said.word.value if paper.said is not None else ""
    return paper_pdf(head, "Card sheet", _title(paper), lede, _blocks(paper), mark)


def _title(paper: CardPaper) -> str:
    batch, finish = paper.batch.number, paper.finish.name
    if paper.is_master:
        return f"The master of {finish}"
    if paper.said is None:
        return f"Batch {batch} of {finish} is not judged yet"
    return {
        "blends": f"Batch {batch} of {finish} blends with the master",
        "shows": f"Batch {batch} of {finish} would show against the master",
        "cannot_tell": f"Nobody can tell yet whether batch {batch} of {finish} blends",
        "not_comparable": f"Batch {batch} of {finish} cannot be compared with the master",
    }[paper.said.word]


def _blocks(paper: CardPaper) -> Iterable[Block]:
    slot = f"Slot {paper.slot}" if paper.slot else "No slot noted"
    yield drawn_card(
        paper.card.code,
        slot,
        paper.finish.name,
        colour_of(paper.finish),
        paper.opens,
        list(_beside(paper)),
    )
    if paper.angles:
        yield heading("Beside the master, angle by angle")
        yield _angles(paper)
        if paper.flop:
            yield words(f"The card is {paper.flop}.")
    yield from _lights(paper)
    yield heading("What was mixed")
    for mix in paper.mixes:
        yield from mixed(mix, paper.head.zone)
    if any(mix.has_hardener for mix in paper.mixes):
        yield HARDENER
    yield heading("How it was sprayed")
    yield from _sprayed(paper)
    if paper.joints:
        yield heading("The joints it stands for, worst first")
        yield joints_table(paper.joints)
    yield from _readings(paper)
    yield from _looked_and_moved(paper)


def _beside(paper: CardPaper) -> Iterable[Block]:
    if paper.said is not None:
        yield said(paper.said, 8.0)
        if not paper.angles:
            yield words(paper.said.sentence)
        if paper.said.next_step:
            yield words(f"Next: {paper.said.next_step}")
        if paper.said_of:
            yield quiet(f"Judged by another card of the batch, {code(paper.said_of)}.")
    elif paper.is_master:
        yield words(f"Every batch of {paper.finish.name} is judged against it.")
    elif not paper.readings:
        yield words("It was not read yet. Read it three times, lifting the instrument each time.")
    elif not paper.master_code:
        yield words(f"{paper.finish.name} has no master yet.")
    place = {
        "in": f"in slot {paper.slot}" if paper.slot else "in the rack, no slot noted",
        "out": f"out with {paper.holder}",
        "missing": "missing: what was measured stays, as physical proof it is gone",
    }[paper.place]
    rows = [
        ("Where", first_capital(place)),
        ("Master", code(paper.master_code) if paper.master_code else "none approved"),
        ("Hung", "upright" if paper.card.hung is Hung.UPRIGHT else "lying flat"),
        ("Substrate", paper.card.substrate or NOT_RECORDED),
        ("Ground", paper.card.ground_shade or paper.finish.ground_shade or NOT_RECORDED),
        ("Hiding mark", _HIDING[paper.card.hiding_mark]),
    ]
    if paper.card.note:
        rows.append(("Note", paper.card.note))
    yield facts(rows)


def _angles(paper: CardPaper) -> Block:
    return table(
        [
            ("Angle", 4, False),
            ("ΔL*", 2, True),
            ("Δa*", 2, True),
            ("Δb*", 2, True),
            ("ΔE00", 2, True),
        ],
        [
            (
                angle(one.angle) + (", decides" if one.decides and len(paper.angles) > 1 else ""),
                *(signed(value) for value in one.difference),
                cell(delta_e(one.delta_e_2000), strong=True),
            )
            for one in paper.angles
        ],
    )


def _lights(paper: CardPaper) -> Iterable[Block]:
    lights = paper.lights
    if lights is None or not lights.words:
        return
    yield heading(f"Batch {paper.batch.number} {lights.answer}")
    yield words(f"{first_capital(lights.words).rstrip('.')}.")
    rest = " ".join(filter(None, (lights.sureness, lights.next_step)))
    if rest:
        yield quiet(rest)


def _sprayed(paper: CardPaper) -> Iterable[Block]:
    zone = paper.head.zone
    if paper.coats:
        yield table(
            [
                ("Coats", 3, False),
                ("Gun and set-up", 4, False),
                ("Booth", 3, False),
                ("By", 3, False),
            ],
            [_coat(one, zone) for one in paper.coats],
        )
    else:
        yield words("Nobody logged the coats it got.")
    rows = [
        (
            "Baked",
            f"{minutes(bake.minutes)} at {temperature(bake.temperature_c)}, "
            f"{bake.temperature_of}, until {clock(bake.observed_at, zone)}",
        )
        for bake in paper.bakes
    ] or [("Baked", "no bake is logged")]
    for one in paper.finished:
        grits = ", ".join(f"P{grit}" for grit in one.grits) or "no grit noted"
        where = f", zone {one.zone}" if one.zone else ""
        name = "Cut" if one.kind == "cut" else "Polished"
        rows.append((name, f"{grits}{where}, {clock(one.at, zone)}"))
    for made in paper.zones:
        step = f", {made.mid_coats} mid-coats" if made.mid_coats is not None else ""
        clear = ", cleared" if made.cleared and made.mid_coats is not None else ""
        rows.append((f"Zone {made.name}", f"{_ZONES[made.state]}{step}{clear}"))
    yield facts(rows)


def _coat(one: CoatsAlike, zone: str) -> tuple[Cell, ...]:
    how, last = one.coats[0], one.coats[-1]
    numbers = f"{how.number}" if last is how else f"{how.number} to {last.number}"
    hides = {True: "hiding", False: "not hiding yet", None: ""}[last.hides]
    tip = f"tip {quantity(how.tip_mm, 'mm')}" if how.tip_mm is not None else "tip not recorded"
    far = f", from {quantity(how.distance_mm, 'mm', 0)}" if how.distance_mm is not None else ""
    air = [
        *([temperature(how.booth_temperature_c)] if how.booth_temperature_c is not None else []),
        *(
            [f"{quantity(how.booth_humidity_percent, '%', 0)} humidity"]
            if how.booth_humidity_percent is not None
            else []
        ),
    ]
    times = ", ".join(clock(coat.observed_at, zone)[11:] for coat in one.coats)
    return (
        cell(
            f"{first_capital(how.role)} {numbers}, batch {one.batch_number}",
            note=", ".join(filter(None, (hides, f"flash {minutes(how.flash_minutes)}"))),
        ),
        cell(how.gun or "gun not recorded", note=f"{tip}, {pressure(how.pressure_bar)}{far}"),
        cell(how.booth or NOT_RECORDED, note=", ".join(air)),
        cell(one.painter, note=f"{day(how.observed_at, zone)}, {times}"),
    )


def _readings(paper: CardPaper) -> Iterable[Block]:
    times = {0: "It was never read", 1: "Read once", 2: "Read twice"}
    count = len(paper.readings)
    yield heading(times.get(count, f"Read {count} times"))
    if paper.readings:
        yield readings_table(paper.readings, paper.head.zone, named=False)
        yield quiet(U_NOTE)
    if paper.drifts:
        yield heading("How it moved since it was first read")
        yield table(
            [
                ("Readings", 6, False),
                ("ΔL*", 2, True),
                ("Δa*", 2, True),
                ("Δb*", 2, True),
                ("ΔE00", 2, True),
            ],
            [_drift(one, paper.head.zone) for one in paper.drifts],
        )


def _drift(one: Drift, zone: str) -> tuple[Cell, ...]:
    at = f" at {one.angle}°" if one.angle is not None else ""
    doubt = one.standard_uncertainty
    return (
        cell(
            f"{STAGES[one.newest.stage]}{at}",
            note=f"{day(one.newest.observed_at, zone)} beside {day(one.first.observed_at, zone)}"
            + (f", {one.words}" if one.words else ""),
        ),
        *(signed(value) for value in one.difference),
        cell(
            delta_e(one.delta_e_2000),
            strong=True,
            note=f"u {number(doubt)}" if doubt is not None else "",
        ),
    )


def _looked_and_moved(paper: CardPaper) -> Iterable[Block]:
    zone = paper.head.zone
    if paper.eyes:
        yield heading("What eyes saw")
        yield points(
            (
                f"{EYES[eye.word]} at the {eye.look}",
                f"against {eye.against}, {eye.light}. {eye.by}, {clock(eye.at, zone)}. {eye.note}",
            )
            for eye in paper.eyes
        )
    yield heading("Where it has been")
    if not paper.moves:
        yield words("It never left its place.")
        return
    yield points(
        (
            f"{_MOVED[move.kind]} {clock(move.at, zone)}",
            f"by {move.by}"
            + (f", into slot {move.slot}" if move.slot else "")
            + (f": {move.why}" if move.why else "")
            + ".",
        )
        for move in paper.moves
    )

"""The report of a job: an answer first, then everything it rests on."""

from __future__ import annotations

from collections.abc import Iterable

from service.paper.blocks import (
    Block,
    Cell,
    blanks,
    cell,
    facts,
    findings,
    heading,
    paper_pdf,
    quiet,
    sub,
    table,
    word_cell,
    words,
)
from service.paper.tables import U_NOTE, joints_table, readings_table
from service.paper.written import (
    FINISHES,
    GAPS,
    JOINTS,
    clock,
    code,
    day,
    first_capital,
    instant,
    number,
    short,
)
from service.use_cases.job_paper import BatchRow, HeldTo, JobPaper
from service.use_cases.papers import PaperHead, colour_of


def job_pdf(paper: JobPaper) -> bytes:
    """The report as PDF."""
    mark = paper.headline_word.value if paper.headline_word is not None else ""
    return paper_pdf(paper.head, "Job report", paper.headline, _lede(paper), _blocks(paper), mark)


def _lede(paper: JobPaper) -> str:
    zone = paper.head.zone
    parts = [f"{paper.head.title}, work order {paper.head.work_order}."]
    parts.append(f"Opened {day(paper.opened_at, zone)}.")
    if paper.repairs:
        parts.append(f"A repair: {paper.repairs}.")
    if paper.released_at is not None:
        parts.append(f"Released {clock(paper.released_at, zone)} by {paper.released_by}.")
        if paper.release_note:
            parts.append(paper.release_note)
    else:
        parts.append("Not released.")
    return " ".join(parts)


def _blocks(paper: JobPaper) -> Iterable[Block]:
    yield from _found(paper)
    yield from _joints(paper)
    yield heading(
        "The batches, in the order they were sprayed" if paper.batches else "No batch is mixed yet"
    )
    if paper.batches:
        yield table(
            [
                ("Batch", 5, False),
                ("Sprayed", 4, False),
                ("Card", 3, False),
                ("Against the master", 5, False),
            ],
            [_batch(row, paper.head.zone) for row in paper.batches],
        )
    yield from _held_to(paper)
    yield from _accepted(paper)
    yield from _readings(paper)
    yield from _heads(paper.head)
    yield blanks("Name", "Date", "Signature")


def _found(paper: JobPaper) -> Iterable[Block]:
    pressing = [f for f in paper.findings if f.stands_against_release]
    notes = [f for f in paper.findings if not f.stands_against_release]
    if pressing:
        yield heading("What is not in order, the worst first")
        yield findings(pressing)
    else:
        open_still = "Nothing stands against releasing it."
        yield words("Nothing was left open." if paper.released_at else open_still)
    if notes:
        yield sub("To note")
        yield findings(notes)


def _joints(paper: JobPaper) -> Iterable[Block]:
    count = len(paper.joints)
    title = {0: "No joint was judged", 1: "The one joint that was judged"}
    yield heading(title.get(count, f"The {count} joints that were judged, worst first"))
    if paper.joints:
        yield joints_table(paper.joints)
        yield quiet(
            "ΔE00 is CIEDE2000 with all k = 1, of the second place against the first, between "
            "the cards that stand for the two sides; its 95 % range stands in brackets."
        )
    if paper.waiting:
        yield sub("Not judged")
        yield table(
            [("Joint", 5, False), ("Kind", 2, False), ("Why", 4, False)],
            [(one.name, JOINTS[one.kind], GAPS.get(one.gap, one.gap)) for one in paper.waiting],
        )
    if paper.one_stack:
        more = "joint has" if paper.one_stack == 1 else "joints have"
        yield quiet(f"{paper.one_stack} {more} the same coats on both sides: nothing to judge.")


def _batch(row: BatchRow, zone: str) -> tuple[Cell, ...]:
    verdict: Cell
    if row.said is not None:
        verdict = word_cell(row.said, "Accepted as it is." if row.accepted else "")
    elif not row.role.gives_colour:
        verdict = "clear, gives no colour"
    elif row.is_master:
        verdict = cell("The master's own", strong=True)
    else:
        verdict = first_capital(GAPS.get(row.gap, row.gap))
    lots = f"lots {row.lots}" if row.lots else "no lot noted"
    return (
        cell(
            f"{row.number}, {row.role}",
            strong=True,
            note=f"{row.product}; {lots}" if row.product else lots,
        ),
        cell(clock(row.sprayed_at, zone), note=f"{row.painter}; {row.places or 'on no panel yet'}"),
        cell(
            code(row.card_code), mono=True, note=f"slot {row.slot}" if row.slot else "no slot noted"
        )
        if row.card_code
        else "no card",
        verdict,
    )


def _held_to(paper: JobPaper) -> Iterable[Block]:
    yield heading("What each finish is held to")
    for held in paper.held_to:
        yield sub(f"{held.finish.name}, {FINISHES[held.finish.kind]}")
        yield facts(_policy(held, paper.head.zone))


def _policy(held: HeldTo, zone: str) -> Iterable[tuple[str, str]]:
    finish, policy = held.finish, held.policy
    colour = colour_of(finish)
    if colour:
        yield "Colour", colour
    ground = " ".join(filter(None, (finish.ground_coat, finish.ground_shade)))
    if ground:
        yield "Ground", ground
    if finish.clear:
        yield "Clear", finish.clear
    if held.master_code:
        yield (
            "Master",
            f"{code(held.master_code)}, approved {clock(held.approved_at, zone)} "
            f"by {held.approved_by}",
        )
    else:
        yield "Master", "none approved"
    if policy is None:
        yield "Limits", "none set"
        return
    limits = ", ".join(
        f"{name} {number(getattr(policy, f'limit_{field}'))}"
        for field, name in (
            ("master", "against the master"),
            ("butt", "butt joint"),
            ("gap", "panel gap"),
            ("fade", "fade"),
            ("within", "within a panel"),
        )
    )
    yield "Limits", first_capital(limits)
    if policy.angle_limits:
        apart = ", ".join(f"{at}° {number(limit)}" for at, limit in policy.angle_limits.items())
        yield "At an angle", f"against the master {apart}"
    yield "Where from", policy.limit_origin
    angles = ", ".join(f"{at}°" for at in policy.required_angles)
    yield "Angles", f"{angles}, each by itself; the worst decides" if angles else "one geometry"
    yield (
        "Risk",
        f"{short(policy.risk * 100, 1)}\u202f% of a wrong word, over {policy.planned_looks} looks",
    )
    yield "Set", f"{clock(policy.observed_at, zone)} by {held.set_by}"


def _accepted(paper: JobPaper) -> Iterable[Block]:
    if not paper.acceptances:
        yield heading("Nothing was accepted as it is")
        return
    yield heading("What was accepted as it is, and why")
    yield table(
        [("What", 4, False), ("Why", 6, False), ("Who", 4, False)],
        [
            (
                cell(
                    one.what,
                    note="" if one.in_force else "of an earlier verdict, no longer in force",
                ),
                one.why,
                cell(one.by, note=clock(one.at, paper.head.zone)),
            )
            for one in paper.acceptances
        ],
    )


def _readings(paper: JobPaper) -> Iterable[Block]:
    yield heading("The readings these words rest on" if paper.readings else "Nothing was read yet")
    if paper.readings:
        yield readings_table(paper.readings, paper.head.zone, named=True)
        yield quiet(U_NOTE)
    if paper.stored_readings:
        yield quiet(
            f"{paper.stored_readings} more stand in the record of another job, or were dropped "
            "since."
        )


def _heads(head: PaperHead) -> Iterable[Block]:
    if not head.heads:
        return
    yield heading("Where the journal stood")
    yield words(
        f"On {instant(head.printed_at, head.zone)} the newest entries were these. Each hash is "
        "made of all entries before it, so whoever changes an earlier one cannot keep it: "
        "the journal must still show these hashes at these places."
    )
    yield table(
        [("Journal", 0, False), ("Entry", 0, True), ("Hash (SHA-256)", 1, False)],
        [(one.of, str(one.position), cell(_in_groups(one.hash), mono=True)) for one in head.heads],
    )


def _in_groups(text: str) -> str:
    return " ".join(text[start : start + 8] for start in range(0, len(text), 8))

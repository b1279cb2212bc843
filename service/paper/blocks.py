"""The blocks a paper is made of, as ``document.typ`` takes them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from service.domain.findings import Finding, Weight
from service.paper.letters import NOTE
from service.paper.quick_code import quick_code
from service.paper.typesetting import typeset
from service.paper.written import WORDS, clock, code, figure, instant
from service.use_cases.label_stock import PAPERS
from service.use_cases.papers import Mix, PaperHead, Said

Block = dict[str, Any]
Cell = str | dict[str, Any]

_QUICK_ROOM_MM = 24.0


def heading(text: str) -> Block:
    """A section's heading, kept with what follows."""
    return {"k": "heading", "t": text}


def sub(text: str) -> Block:
    """A smaller heading."""
    return {"k": "sub", "t": text}


def words(text: str, *, strong: bool = False) -> Block:
    """A paragraph."""
    return {"k": "words", "t": text, "strong": strong}


def quiet(text: str) -> Block:
    """A paragraph in small type."""
    return {"k": "quiet", "t": text}


def said(verdict: Said, mm: float = 5.0) -> Block:
    """A seam mark with its word and its number."""
    return {
        "k": "verdict",
        "word": verdict.word.value,
        "t": WORDS[verdict.word],
        "figure": f" {figure(verdict)}",
        "mm": mm,
    }


def points(items: Iterable[str | tuple[str, str]]) -> Block:
    """A list; of a pair, the first is set strong."""
    return {
        "k": "list",
        "items": [i if isinstance(i, str) else {"t": i[0], "more": i[1]} for i in items],
    }


def findings(found: Iterable[Finding]) -> Block:
    """What is not in order, each with the mark of its word and what to do."""
    return {
        "k": "findings",
        "items": [
            {"mark": _MARKS.get(one.weight, ""), "t": one.sentence, "more": one.remedy}
            for one in found
        ],
    }


_MARKS = {
    Weight.SHOWS: "shows",
    Weight.NOT_COMPARABLE: "not_comparable",
    Weight.CANNOT_TELL: "cannot_tell",
}


def keep(blocks: Iterable[Block]) -> Block:
    """Blocks that stay on one page; for a few lines, since what is longer than a page is cut."""
    return {"k": "keep", "blocks": list(blocks)}


def facts(rows: Iterable[tuple[str, str]]) -> Block:
    """Names and values, one under the other."""
    return {"k": "facts", "rows": [list(row) for row in rows]}


def table(columns: Sequence[tuple[str, float, bool]], rows: Iterable[Sequence[Cell]]) -> Block:
    """A table; of each column heading, share of the width (0: its content), whether numbers.

    The headings come again on each page.
    """
    return {
        "k": "table",
        "columns": [{"t": text, "wide": wide, "number": number} for text, wide, number in columns],
        "rows": [list(row) for row in rows],
    }


def cell(
    text: str,
    *,
    note: str = "",
    mark: str = "",
    strong: bool = False,
    mono: bool = False,
    rows: int = 1,
) -> Cell:
    """A cell with a smaller line below, a seam mark before, in another type, or over some rows.

    The rows that it reaches over have no cell of their own in its column.
    """
    made: dict[str, Any] = {
        "t": text,
        "note": note,
        "strong": strong,
        "mono": mono,
        "rows": rows,
    }
    return {**made, "mark": mark} if mark else made


def word_cell(verdict: Said, note: str = "") -> Cell:
    """A seam mark with its word and its number, in a table."""
    below = figure(verdict)
    return cell(
        WORDS[verdict.word],
        note=f"{below}. {note}" if note else below,
        mark=verdict.word.value,
        strong=True,
    )


def boxed(text: str, mm: float) -> Block:
    """An empty box to write in."""
    return {"k": "box", "t": text, "mm": mm}


def blanks(*names: str) -> Block:
    """Lines to sign on."""
    return {"k": "blanks", "names": list(names)}


_FOLLOW = "Follow the safety data sheet, local codes and licensed practice."
HARDENER: Block = {
    "k": "caution",
    "t": "Caution: a mix with hardener holds isocyanates.",
    "more": "They harm before you smell them, while spraying and while sanding fresh paint. "
    + _FOLLOW,
}
SOLVENT: Block = {
    "k": "caution",
    "t": "Caution: solvents burn, and their vapour travels.",
    "more": "Keep phones and tablets that are not made for it out of the spraying area. " + _FOLLOW,
}
OVEN: Block = {
    "k": "caution",
    "t": "Caution: an oven and the panels in it stay hot.",
    "more": "What has been sprayed gives off vapour as it warms. " + _FOLLOW,
}


def drawn_card(
    card_code: str, slot: str, finish: str, note: str, opens: str, beside: Sequence[Block]
) -> Block:
    """The drawing of a card with the code that opens its page, and what stands beside them."""
    quick = quick_code(opens) if opens else None
    return {
        "k": "top",
        "code": code(card_code),
        "slot": slot,
        "finish": finish,
        "note": note,
        "svg": quick.svg if quick else "",
        "side_mm": quick.side_mm(_QUICK_ROOM_MM) if quick else 0,
        "blocks": list(beside),
    }


def mixed(mix: Mix, zone: str) -> list[Block]:
    """A pot with everything that was poured into it."""
    batch = mix.batch
    blocks = [sub(f"Batch {batch.number}, {batch.role}, mixed {clock(batch.observed_at, zone)}")]
    if mix.poured:
        blocks.append(
            table(
                [("Product", 5, False), ("Part", 2, False), ("Lot", 3, False), ("Amount", 2, True)],
                [
                    (
                        one.product,
                        str(one.role),
                        one.lot or "no lot noted",
                        f"{one.amount:g}\u202f{one.unit}"
                        if one.amount is not None
                        else "not noted",
                    )
                    for one in mix.poured
                ],
            )
        )
    else:
        blocks.append(words("Nobody logged what was poured."))
    said_of_it = [f"Formula {batch.formula}."] if batch.formula else []
    if batch.boxed_tins:
        said_of_it.append(f"{batch.boxed_tins} tins were poured together before mixing.")
    if batch.note:
        said_of_it.append(batch.note)
    if said_of_it:
        blocks.append(quiet(" ".join(said_of_it)))
    return blocks


def paper_pdf(
    head: PaperHead, kind: str, title: str, lede: str, blocks: Iterable[Block], mark: str = ""
) -> bytes:
    """The pages of a paper."""
    width, height = PAPERS[head.paper]
    values = {
        "width_mm": width,
        "height_mm": height,
        "shop": head.shop,
        "kind": kind,
        "work_order": head.work_order,
        "title": title,
        "lede": lede,
        "mark": mark,
        "demo": head.is_demo,
        "printed": f"Printed {instant(head.printed_at, head.zone)}, times of {head.zone}",
        "letters_note": NOTE,
        "blocks": list(blocks),
    }
    return typeset("document", values)

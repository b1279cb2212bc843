"""The command that judges a card's readings against a master's, both from files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from service.cli.arguments import NumberType
from service.cli.frame import CHECK_FAILED, Refusal, print_json
from service.cli.like_with_like import Against, Side, left_open, only_cannot_tell, stops
from service.cli.sides import read_side

if TYPE_CHECKING:
    from colour.decision import Judgement

_SPOKEN = {"blends": "Blends", "shows": "Shows", "cannot_tell": "Cannot tell"}


@click.command(
    epilog="Example: keepcard judge --master master.csv --card card.csv --limit 0.8 "
    "--standard-uncertainty 0.1 --json"
)
@click.option(
    "--master",
    "master_file",
    metavar="FILE",
    type=click.Path(),
    required=True,
    help="Repeat readings of the master, one a row under L,a,b.",
)
@click.option(
    "--card",
    "card_file",
    metavar="FILE",
    type=click.Path(),
    required=True,
    help="Repeat readings of the card, likewise.",
)
@click.option("--limit", type=NumberType(0.01, 50), required=True, help="ΔE00 that begins to show.")
@click.option(
    "--risk",
    type=NumberType(1e-6, 0.49),
    default=0.05,
    show_default=True,
    help="Largest chance of a wrong answer this judgement may take.",
)
@click.option(
    "--standard-uncertainty",
    type=NumberType(1e-4, 20),
    help="Of one reading, per channel, where it is known; else the scatter is all there is.",
)
@click.option("--angle", type=int, help="Aspecular degrees, where the files hold several angles.")
@click.option("--check", is_flag=True, help="Exit with 1 unless the card blends.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
@click.pass_context
def judge(
    ctx: click.Context,
    master_file: str,
    card_file: str,
    limit: float,
    risk: float,
    standard_uncertainty: float | None,
    angle: int | None,
    check: bool,
    as_json: bool,
) -> None:
    """Say whether a card blends with its master: blends, shows, or cannot tell.

    The repeats of each file are averaged as L*, a*, b* and give one difference; the answer
    holds its risk against the least favourable truth at the limit.
    """
    master, card = read_side(master_file, angle), read_side(card_file, angle)
    if against := stops(master, card):
        raise Refusal("Not comparable. " + " ".join(one.text for one in against))
    from colour import decision

    judgement = decision.judge(
        master.labs, card.labs, limit=limit, risk=risk, standard_uncertainty=standard_uncertainty
    )
    answer = _answer(judgement, master, card)
    if as_json:
        print_json(answer)
    else:
        click.echo(_as_text(answer, judgement))
    if check and answer["verdict"] != "blends":
        ctx.exit(CHECK_FAILED)


def _answer(judgement: Judgement, master: Side, card: Side) -> dict[str, Any]:
    from colour.words import words

    unlike = only_cannot_tell(master, card)
    reach = judgement.interval
    answer: dict[str, Any] = {
        "delta_e_2000": judgement.delta_e_2000,
        "standard_uncertainty": judgement.standard_uncertainty,
        "verdict": judgement.verdict.value,
        "risk": judgement.risk,
        "limit": judgement.limit,
        "p_blends": judgement.p_blends,
        "p_shows": judgement.p_shows,
        "power_at_zero": judgement.power_at_zero,
        "words": words(master.mean(), card.mean()),
        "next_step": judgement.next_step,
        "range_95": [reach.low, reach.high] if reach else None,
        "different_colour": judgement.different_colour,
        "explanation": judgement.explanation,
        "warnings": _warnings(judgement, master, card),
    }
    # A different colour is one however the paint was treated; anything finer needs like paint.
    if unlike and not judgement.different_colour:
        answer["verdict"] = "cannot_tell"
        answer["explanation"] = "The two were not treated alike."
        answer["next_step"] = " ".join(one.text for one in unlike)
    elif unlike:
        answer["warnings"] += [_warning(one) for one in unlike]
    return answer


def _warnings(judgement: Judgement, master: Side, card: Side) -> list[dict[str, str]]:
    found = [Against(code, text) for side in (master, card) for code, text in side.warnings]
    if open_ := left_open(master, card):
        listed = ", ".join(open_)
        found.append(
            Against(
                "conditions_not_compared",
                f"Not compared, because a file does not state it: {listed}. State it above the "
                "header of each, as '# illuminant: D65'.",
            )
        )
    found += [Against("about_the_noise", note) for note in judgement.notes]
    return [_warning(one) for one in found]


def _warning(one: Against) -> dict[str, str]:
    return {"code": one.code, "message": one.text}


def _as_text(answer: dict[str, Any], judgement: Judgement) -> str:
    """The answer first, then what to do, then the evidence."""
    if judgement.different_colour:
        figure = "a different colour, ΔE*ab over 5"
    else:
        figure = f"ΔE00 {answer['delta_e_2000']:.2f}"
        if answer["range_95"]:
            low, high = answer["range_95"]
            figure += f" (95 % range {low:.2f} to {high:.2f})"
    lines = [
        f"{_SPOKEN[answer['verdict']]}: {figure}, limit {answer['limit']:g}; {answer['words']}."
    ]
    if answer["explanation"] and not judgement.different_colour:
        lines.append(answer["explanation"])
    if answer["next_step"]:
        lines.append(f"Next: {answer['next_step']}")
    if answer["p_blends"] is not None:
        lines += [
            "",
            f"Were the true difference at the limit, the chance of one as small as this: "
            f"{_chance(answer['p_blends'])}; as large: {_chance(answer['p_shows'])} "
            f"(risk {answer['risk']:.4g}).",
            f"Were there none, the chance that this measurement says so: "
            f"{_chance(answer['power_at_zero'])}.",
        ]
    if answer["warnings"]:
        lines += ["", *(f"- {warning['message']}" for warning in answer["warnings"])]
    return "\n".join(lines)


def _chance(value: float) -> str:
    """In percent, with no more digits than it deserves; never a bare 0 or 100."""
    percent = value * 100
    if percent < 0.1:
        return "under 0.1 %"
    if percent > 99.9:
        return "over 99.9 %"
    return f"{percent:.1f} %" if percent < 10 or percent > 90 else f"{percent:.0f} %"

"""``keepcard measure``: what a photograph of cards on a sheet or chart says, judged and logged."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import NAMESPACE_URL, uuid5

import click

from service.cli.arguments import NumberType
from service.cli.frame import CANNOT_BE_MET, Refusal, ports, print_json, read_file
from service.cli.opening import data_options_if_any, opened
from service.cli.writing import as_option, write_photograph

if TYPE_CHECKING:
    from colour.photo.outcome import PhotoRead
    from colour.photo.target import Target
    from service.cli.ports import RecordStore
    from service.use_cases.photographs import NewPhotograph

SPOKEN = {"blends": "Blends", "shows": "Shows", "cannot_tell": "Cannot tell"}
Pairs = tuple[tuple[str, str], ...]


class WindowType(click.ParamType[tuple[str, str]]):
    """A window and the code of the card that lay in it: master=7K3Q-X9WD-4."""

    name = "WINDOW=CODE"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, str]:
        if isinstance(value, tuple):
            return value
        window, found, code = str(value).partition("=")
        if not found or not window.strip() or not code.strip():
            self.fail(f"'{value}' names no card. Write it as master=7K3Q-X9WD-4.", param, ctx)
        return window.strip(), code.strip()


@click.command(
    epilog="Example: keepcard measure cards.jpg --json. To log it: keepcard measure cards.jpg "
    "--data DIR --as NAME --window master=7K3Q-X9WD-4 --window card=2M8C-4T1R-0 --stage baked"
)
@click.argument("photo")
@click.option(
    "--target",
    "target_file",
    metavar="FILE",
    help="Target file (JSON) of what lies in the frame; else the sheet is known by its codes.",
)
@click.option(
    "--corners",
    metavar='"x,y x,y x,y x,y"',
    help="Pixels of the target's top left, top right, bottom right and bottom left in the upright "
    "photograph; else its markers are looked for.",
)
@click.option(
    "--limit", type=NumberType(0.01, 20), default=0.8, show_default=True, help="ΔE00 that shows."
)
@click.option(
    "--risk",
    type=NumberType(1e-6, 0.49),
    default=0.05,
    show_default=True,
    help="Largest chance of a wrong answer this judgement may take.",
)
@data_options_if_any
@as_option
@click.option(
    "--window",
    "windows",
    type=WindowType(),
    multiple=True,
    help="The card that lay in a window; once for each. The photograph is then logged.",
)
@click.option("--stage", type=click.Choice(["base_dry", "cleared", "baked", "polished"]))
@click.option("--sheet", metavar="NAME", help="A sheet or chart registered in the shop's book.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
@click.pass_context
def measure(
    ctx: click.Context,
    photo: str,
    target_file: str | None,
    corners: str | None,
    limit: float,
    risk: float,
    data: Path | None,
    database: str | None,
    shop: str | None,
    person: str | None,
    windows: Pairs,
    stage: str | None,
    sheet: str | None,
    as_json: bool,
) -> None:
    """Read PHOTO: the colour in each window of its sheet, and how card and master differ.

    Windows `card` and `master` give a difference with its own uncertainty, judged as blends,
    shows or cannot tell. A photograph that cannot be trusted is refused with every reason.
    With --window the cards' readings are logged in the record of --data and judged there.
    """
    from service.use_cases.photo_reading import (
        PhotographRefused,
        corners_from,
        judge_windows,
        read_as_json,
        read_photograph,
    )

    if windows or sheet:
        _needs(data, target_file, windows, stage)
    content = read_file(photo)
    given = _target(target_file) if target_file else None
    points = corners_from(corners) if corners else None
    with ports().photo_desk() as desk:
        try:
            sheet_id, book = _book(data, database, shop, sheet)
            read = read_photograph(
                book, desk, content, target=given, photo_target_id=sheet_id, corners=points
            )
            answer = read_as_json(read, judge_windows(read, limit=limit, risk=risk))
            logged: Mapping[str, Any] = {}
            if windows and data is not None:
                with opened(data, database, shop) as store:
                    said = _said(store, content, windows, str(stage), sheet_id, points)
                logged = write_photograph(said, content, desk, data, database, shop, person)
                with opened(data, database, shop) as store:
                    answer["verdicts"] = _verdicts(store, said)
                answer["receipt"] = logged.get("receipt")
        except PhotographRefused as refused:
            if as_json:
                print_json({"refused": refused.as_json()})
            else:
                click.echo(_refused_as_text(photo, refused), err=True)
            ctx.exit(CANNOT_BE_MET)
    if as_json:
        print_json(answer)
    else:
        click.echo("\n".join(_as_text(read, answer)))


def _needs(data: Path | None, target: str | None, windows: Pairs, stage: str | None) -> None:
    """Refuse what cannot be logged, before anything is read."""
    if data is None:
        raise Refusal("Name the folder of the record by --data.")
    if windows and target:
        raise Refusal(
            "A photograph is logged by the sheet's own codes, or by a registered chart. "
            "Register the target in the shop's book, then name it by --sheet."
        )
    if windows and stage is None:
        raise Refusal("Say how far the cards were finished: --stage baked, for instance.")


def _book(
    data: Path | None, database: str | None, shop: str | None, sheet: str | None
) -> tuple[str | None, Any]:
    """The registered sheet that is named, and the shop's book; an empty one without a record."""
    from service.domain.record_file import RecordFile
    from service.domain.records.shop import PhotoTarget

    if data is None:
        return None, RecordFile("")
    with opened(data, database, shop) as store:
        book = store.shop()
    if sheet is None:
        return None, book
    sheets = book.all(PhotoTarget)
    for one in sheets:
        if one.name.casefold() == sheet.strip().casefold():
            return one.root, book
    listed = ", ".join(one.name for one in sheets) or "none"
    raise Refusal(f"No sheet is registered as {sheet}. Registered are: {listed}.")


def _target(path: str) -> Target:
    from colour.photo.target import BadTarget, Target

    try:
        return Target.from_json(json.loads(read_file(path)))
    except (json.JSONDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise Refusal(
            f"'{path}' is not JSON ({error}). Start from keepcard photo-target --json."
        ) from None
    except BadTarget as error:
        raise Refusal(f"'{path}' cannot be used: {error}") from None


def _said(
    store: RecordStore,
    content: bytes,
    windows: Pairs,
    stage: str,
    sheet_id: str | None,
    corners: Sequence[tuple[float, float]] | None,
) -> NewPhotograph:
    """What the windows are said to hold, for the job that holds the cards."""
    from hashlib import sha256

    from service.domain.card_code import grouped, read_card_code
    from service.domain.terms import Stage
    from service.use_cases.photographs import Lying, NewPhotograph, job_of_cards

    places = []
    for window, typed in windows:
        code = read_card_code(typed)
        place = store.card_by_code(code)
        if place is None:
            raise Refusal(f"No card here has the code {grouped(code)}. Log the card first.")
        places.append((window, *place))
    sha = sha256(content).hexdigest()
    # The same photograph, said to hold the same cards, is the same entry.
    key = f"keepcard measure {sha} {places} {stage} {sheet_id} {corners}"
    return NewPhotograph(
        id=str(uuid5(NAMESPACE_URL, key)),
        job_id=job_of_cards(store, [job_id for _, job_id, _ in places]),
        photo_sha256=sha,
        lying=tuple(
            Lying(window=window, card_id=card_id, stage=Stage(stage))
            for window, _, card_id in places
        ),
        photo_target_id=sheet_id,
        corners=tuple(corners) if corners else None,
    )


def _verdicts(store: RecordStore, said: NewPhotograph) -> list[str]:
    """What is said now of each batch whose card was in the frame."""
    from service.domain.lookups import verdict_on_batch
    from service.domain.records.cards import Card

    file = store.job(said.job_id)
    cards = [file.find(Card, lying.card_id) for lying in said.lying]
    found = {card.batch_id: verdict_on_batch(file, card.batch_id) for card in cards if card}
    return [verdict.sentence for verdict in found.values() if verdict is not None]


def _refused_as_text(photo: str, refused: Any) -> str:
    return "\n".join(
        [f"{photo} was not measured.", *(f"- {one['message']}" for one in refused.as_json())]
    )


def _as_text(read: PhotoRead, answer: Mapping[str, Any]) -> Iterable[str]:
    """The answer first, then the windows, what it rests on, and what to be wary of."""
    yield _difference(answer["difference"])
    if answer["difference"] and answer["difference"]["next_step"]:
        yield f"Next: {answer['difference']['next_step']}"
    for sentence in answer.get("verdicts", ()):
        yield f"Logged. {sentence}"
    if "verdicts" in answer and not answer["verdicts"]:
        yield "Logged."
    yield ""
    yield (
        f"By {read.target}: {read.values} values, for {read.illuminant} and the "
        f"{read.observer}° observer."
    )
    longest = max(len(window.name) for window in read.windows) if read.windows else 0
    for window in read.windows:
        spread = [window.covariance[i][i] ** 0.5 for i in range(3)]
        lab = "  ".join(
            f"{value:7.2f} ± {u:.2f}" for value, u in zip(window.lab, spread, strict=True)
        )
        yield f"  {window.name:{longest}}  L*a*b* {lab}  ({window.pixels} pixels)"
    fit = read.fit
    yield (
        f"The sheet's own patches are met to ΔE00 {fit.mean_delta_e_2000:.2f} on average, "
        f"{fit.max_delta_e_2000:.2f} at most; each by the others alone to "
        f"{fit.left_out_mean_delta_e_2000:.2f} ({fit.model})."
    )
    yield "After ± the standard uncertainty of each window by itself; the difference has less."
    if read.warnings:
        yield ""
        yield from (f"- {warning.message}" for warning in read.warnings)


def _difference(found: Mapping[str, Any] | None) -> str:
    if found is None:
        return "No difference: the target has no windows called master and card, or one is empty."
    word = SPOKEN[found["verdict"]]
    if found["different_colour"]:
        return f"{word}: a different colour, ΔE*ab over 5; {found['words']}."
    low, high = found["range_95"] or (None, None)
    reach = "" if low is None else f" (95 % range {low:.2f} to {high:.2f})"
    said = (
        f"{word}: ΔE00 {found['delta_e_2000']:.2f}{reach}, limit {found['limit']:g}; "
        f"{found['words']}."
    )
    return f"{said} {found['explanation']}" if found["explanation"] else said

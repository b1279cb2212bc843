"""What the page of a photograph shows: the picture with what was found in it, and every window."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from service.domain.card_code import grouped
from service.domain.comparability import required_angles
from service.domain.lookups import master_in_force, policy_in_force, the_job
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Finish, Repair
from service.domain.records.measuring import Frame as MadeTogether
from service.domain.records.measuring import Lab
from service.domain.records.spraying import Batch
from service.domain.refused import Refused
from service.domain.terms import Stage, Word
from service.use_cases.photo_reading import (
    CARD_WINDOW,
    MASTER_WINDOW,
    PhotographRefused,
    cards_offered,
    judge_windows,
    judgement_as_json,
)
from service.web.context import Frame, PageContext
from service.web.forms import Form
from service.web.pages.bench_defaults import stage_reached
from service.web.pages.bench_forms import Filled, Option
from service.web.pages.bench_reading import STAGES
from service.web.pages.bench_swatches import SwatchShown
from service.web.pages.rack_swatches import swatch_of_lab

if TYPE_CHECKING:
    from colour.photo.outcome import PhotoRead, Point, WindowRead

WIDTH_SHOWN = 1400
NO_CARD = "none"
CORNERS = ("Top left", "Top right", "Bottom right", "Bottom left")
CODES_OF_CORNERS = ("no_target", "wrong_target", "cut_off", "several_targets")


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineShown:
    """A shape over the picture, as the points of an SVG polygon, with its name at ``x``, ``y``."""

    points: str
    name: str
    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerShown:
    """One corner of the target; the fields of its place start with these."""

    name: str
    x: str
    y: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureShown:
    """The photograph as it is served, in the pixels of the upright original."""

    src: str
    width: int
    height: int
    outlines: tuple[OutlineShown, ...]
    letter_size: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowShown:
    """What was read in a window, and the card it is offered to; ``why`` says by what."""

    name: str
    key: str
    lab: Lab
    uncertainty: Lab
    pixels: int
    share_used: float
    texture: float
    swatch: SwatchShown | None
    why: str
    card: str
    stage: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DifferenceShown:
    """How the card's window lies beside the master's."""

    word: Word
    difference: float
    bounds: tuple[float, float] | None
    limit: float
    directions: str
    different: bool
    standard_uncertainty: float | None
    explanation: str
    next_step: str
    swatches: tuple[SwatchShown, SwatchShown] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReasonShown:
    """Why the photograph cannot be trusted, with what to do."""

    code: str
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotographPage:
    """A photograph: read, or refused; ``action`` is where its form and its own address are."""

    frame: Frame
    form: Filled
    job_title: str
    job_href: str
    action: str
    again_href: str
    picture: PictureShown | None
    reasons: tuple[ReasonShown, ...]
    read: PhotoRead | None
    windows: tuple[WindowShown, ...]
    difference: DifferenceShown | None
    no_flop: bool
    cards: tuple[Option, ...]
    stages: tuple[Option, ...]
    sheets: tuple[Option, ...]
    sheet: str
    corners: tuple[CornerShown, ...]
    asks_corners: bool
    card: str
    swap: str
    sha256: str
    corners_href: str
    logged_at: datetime | None  # when readings of this photograph went on record, if they did


def photograph_page(
    here: PageContext,
    file: RecordFile,
    frame: Frame,
    form: Form,
    *,
    content: bytes,
    read: PhotoRead | None,
    refused: Refused | None,
    asked: Mapping[str, str],
    sheets: tuple[Option, ...],
    action: str,
) -> PhotographPage:
    """The whole page, for a photograph that was read or refused."""
    job = the_job(file)
    known = _cards(here, file)
    finish = _finish(file, asked["card"])
    reasons = _reasons(refused)
    return PhotographPage(
        frame=frame,
        form=Filled(form=form),
        job_title=f"{job.title}, {job.work_order}",
        job_href=here.link("job", job_id=file.chain),
        action=action,
        again_href=here.link(
            "photograph_new", job_id=file.chain, card=asked["card"], swap=asked["swap"]
        ),
        picture=_picture(here, asked["sha256"], content, read),
        reasons=reasons,
        read=read,
        windows=tuple(_windows(here, file, read, known, asked)) if read else (),
        difference=_difference(file, finish, read) if read and finish else None,
        no_flop=finish is not None
        and bool(required_angles(finish, policy_in_force(file, finish.root))),
        cards=(Option(NO_CARD, "No card of this job"), *known.values()),
        stages=tuple(option for option in STAGES if option.value != Stage.WET),
        sheets=sheets,
        sheet=asked["sheet"],
        corners=_corners(asked["corners"], read),
        asks_corners=any(reason.code in CODES_OF_CORNERS for reason in reasons),
        card=asked["card"],
        swap=asked["swap"],
        sha256=asked["sha256"],
        corners_href=here.link("photograph", job_id=file.chain, sha256=asked["sha256"]),
        logged_at=max(
            (one.observed_at for one in file.by(MadeTogether, "photo_sha256", asked["sha256"])),
            default=None,
        ),
    )


def _reasons(refused: Refused | None) -> tuple[ReasonShown, ...]:
    if refused is None:
        return ()
    if isinstance(refused, PhotographRefused):
        return tuple(ReasonShown(code=r.code, message=r.message) for r in refused.reasons)
    return (ReasonShown(code="", message=str(refused)),)


def _cards(here: PageContext, file: RecordFile) -> dict[str, Option]:
    """The cards that may lie on the sheet: the job's, its masters first, and a stored master."""
    found: dict[str, Option] = {}
    repairs = file.all(Repair)
    stored = here.store.job(repairs[-1].stored_job_id) if repairs else None
    masters = set()
    for one in (file, stored):
        if one is None:
            continue
        for finish in one.all(Finish):
            master = master_in_force(one, finish.root)
            masters |= {master.card_id} if master else set()
    newest = sorted(file.all(Card), key=lambda card: card.observed_at, reverse=True)
    cards = sorted(newest, key=lambda card: card.root not in masters)
    for card in cards:
        found |= _options(file, card, "the master" if card.root in masters else "")
    if stored is not None:
        for card in stored.all(Card):
            if card.root in masters:
                found |= _options(stored, card, "the stored master")
    return found


def _options(file: RecordFile, card: Card, what: str) -> dict[str, Option]:
    """A card, and each of its zones where it has some; by the value of the choice."""
    batch = file.get(Batch, card.batch_id)
    name = f"{grouped(card.code)}, batch {batch.number}"
    text = f"{name}, {what}" if what else name
    zones = file.by(Zone, "card_id", card.root)
    made = {card.root: Option(card.root, text)}
    made |= {
        f"{card.root}/{zone.root}": Option(f"{card.root}/{zone.root}", f"{text}: {zone.name}")
        for zone in zones
    }
    return made


def _finish(file: RecordFile, code: str) -> Finish | None:
    """The finish whose limit the difference is held against: the card's, else the job's first."""
    cards = file.by(Card, "code", code)
    if cards:
        return file.get(Finish, cards[0].finish_id)
    finishes = file.all(Finish)
    return finishes[0] if finishes else None


def _picture(
    here: PageContext, sha256: str, content: bytes, read: PhotoRead | None
) -> PictureShown | None:
    from colour.photo.outcome import PhotoRefused

    if read is not None:
        width, height = read.size
    else:
        try:
            described = here.services.desk.describe(content)
        except PhotoRefused:
            return None
        width, height = described.width, described.height
    return PictureShown(
        src=here.link("photo", sha256=sha256, width=max(16, min(width, WIDTH_SHOWN))),
        width=width,
        height=height,
        outlines=tuple(_outlines(read)) if read else (),
        letter_size=round(max(width, height) / 32, 1),
    )


def _outlines(read: PhotoRead) -> Iterable[OutlineShown]:
    yield _outline(read.outline, "")
    for window in read.windows:
        yield _outline(window.outline, window.name)


def _outline(points: Sequence[Point], name: str) -> OutlineShown:
    return OutlineShown(
        points=" ".join(f"{x:.1f},{y:.1f}" for x, y in points),
        name=name,
        x=round(sum(x for x, _ in points) / max(1, len(points)), 1),
        y=round(sum(y for _, y in points) / max(1, len(points)), 1),
    )


def _windows(
    here: PageContext,
    file: RecordFile,
    read: PhotoRead,
    known: Mapping[str, Option],
    asked: Mapping[str, str],
) -> Iterable[WindowShown]:
    guesses = _guesses(file, asked)
    labels = {one.window: one.card_id for one in cards_offered(here.place_of_code, read)}
    start = next(iter(file.by(Card, "code", asked["card"])), None)
    for place, window in enumerate(read.windows):
        card_id, why = NO_CARD, ""
        if labels.get(window.name) in known:
            card_id, why = labels[window.name], "by the label in it"
        elif window.name in guesses and not set(labels.values()) & set(guesses.values()):
            card_id, why = guesses[window.name], "by the window’s name; check it"
        card = file.find(Card, card_id) or start
        stage = stage_reached(file, card, None) if card else Stage.BAKED
        yield WindowShown(
            name=window.name,
            key=f"lying.{place}.",
            lab=window.lab,
            uncertainty=_spread(window),
            pixels=window.pixels,
            share_used=window.share_used,
            texture=window.texture,
            swatch=_swatch(read, window.lab),
            why=why,
            card=card_id,
            stage=stage.value,
        )


def _guesses(file: RecordFile, asked: Mapping[str, str]) -> dict[str, str]:
    """Which card the windows' own names stand for, where one came from a card's page."""
    card = next(iter(file.by(Card, "code", asked["card"])), None)
    if card is None:
        return {}
    places = (CARD_WINDOW, MASTER_WINDOW) if not asked["swap"] else (MASTER_WINDOW, CARD_WINDOW)
    found = {places[0]: card.root}
    master = master_in_force(file, card.finish_id)
    if master is not None and master.card_id != card.root:
        found[places[1]] = master.card_id
    return found


def _spread(window: WindowRead) -> Lab:
    l, a, b = (window.covariance[i][i] ** 0.5 for i in range(3))  # noqa: E741
    return (l, a, b)


def _swatch(read: PhotoRead, lab: Lab) -> SwatchShown | None:
    observer = read.observer.strip().rstrip("°")
    if observer not in ("2", "10"):
        return None
    return swatch_of_lab(lab, read.illuminant, int(observer))


def _difference(file: RecordFile, finish: Finish, read: PhotoRead) -> DifferenceShown | None:
    policy = policy_in_force(file, finish.root)
    judgement = judge_windows(read, limit=policy.limit(None), risk=policy.risk)
    found = judgement_as_json(read, judgement)
    master, card = read.window(MASTER_WINDOW), read.window(CARD_WINDOW)
    if found is None or master is None or card is None:
        return None
    word = Word(found["verdict"])
    pair = _swatch(read, master.lab), _swatch(read, card.lab)
    return DifferenceShown(
        word=word,
        difference=found["delta_e_2000"],
        bounds=tuple(found["range_95"]) if found["range_95"] else None,
        limit=found["limit"],
        directions="" if word is Word.BLENDS else found["words"],
        different=found["different_colour"],
        standard_uncertainty=found["standard_uncertainty"],
        explanation=found["explanation"] or "",
        next_step=found["next_step"] or "",
        swatches=(pair[0], pair[1]) if pair[0] is not None and pair[1] is not None else None,
    )


def _corners(corners: str, read: PhotoRead | None) -> tuple[CornerShown, ...]:
    """The fields of the four corners, with what was given or found in them."""
    pairs = [pair.partition(",") for pair in corners.split()]
    if not pairs and read is not None:
        pairs = [(f"{x:.0f}", ",", f"{y:.0f}") for x, y in read.outline]
    given = [*((x, y) for x, _, y in pairs), *[("", "")] * 4][:4]
    return tuple(
        CornerShown(name=name, x=x, y=y) for name, (x, y) in zip(CORNERS, given, strict=True)
    )

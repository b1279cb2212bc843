"""An eye check: what a person saw at face, middle and flop, under a light they name."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.card_code import grouped
from service.domain.lines import CardLine
from service.domain.lookups import master_in_force
from service.domain.record_file import RecordFile
from service.domain.records.base import check_uuid
from service.domain.records.cards import Card
from service.domain.records.job import Finish, Panel
from service.domain.records.measuring import EyeCheck
from service.domain.refused import Invalid, Refused
from service.domain.terms import EyeWord, Look
from service.use_cases.command import part_id
from service.use_cases.measuring import LogEyeCheck
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Option

router = APIRouter()
page_rules(
    {
        ("GET", "/c/{code}/eye-checks/new"): LogEyeCheck,
        ("POST", "/c/{code}/eye-checks/new"): LogEyeCheck,
    }
)

LIGHTS = ("daylight booth, D65", "north window, overcast", "sun", "inspection lamp", "tungsten, A")
WORDS = (
    Option(EyeWord.NO_DIFFERENCE, "No difference"),
    Option(EyeWord.JUST_SEEN, "Just seen"),
    Option(EyeWord.CLEARLY_SEEN, "Clearly seen"),
)
LOOKS = {
    Look.FACE: "Face, seen straight on",
    Look.MIDDLE: "Middle, about 45°",
    Look.FLOP: "Flop, seen along the surface",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAsked:
    """From where it was looked at; ``name`` is the field of the form."""

    name: str
    legend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EyeCheckPage:
    """The form of an eye check."""

    frame: Frame
    form: Filled
    line: CardLine
    looks: tuple[LookAsked, ...]
    words: tuple[Option, ...]
    lights: tuple[str, ...]
    against: tuple[Option, ...]


@router.get("/c/{code}/eye-checks/new", name="eye_check_new")
def eye_check_new(here: Here, code: str) -> Response:
    """The form; the measured verdict is kept off it, so that it does not lead the eye."""
    line = here.card(code)
    return here.render("card_eye.html", _page(here, line, here.frame("rack"), Form()))


@router.post("/c/{code}/eye-checks/new", name="eye_check_new")
def eye_check_new_now(here: Here, form: SentForm, code: str) -> Response:
    """Put on record what was seen, one entry for each look."""
    line = here.card(code)
    try:
        for command in commands(form, line):
            here.perform(command)
    except Refused as refusal:
        return here.refused(
            form, refusal, "card_eye.html", lambda frame: _page(here, line, frame, form), "rack"
        )
    return here.see_other("card", code=line.code, saved="eye")


def commands(form: Form, line: CardLine) -> list[LogEyeCheck]:
    """One command for each look that was answered, all checked before any is sent."""
    answered = [look for look in Look if form.value(f"look.{look}")]
    if not answered:
        raise Invalid("look.face", "Nothing was answered. Say what you saw, at one look at least.")
    kind, _, id = form.needed("against").partition(":")
    against = {"against_panel_id" if kind == "panel" else "against_card_id": id}
    form.needed("light")
    check_uuid("id", form.needed("id"))
    return [
        form.command(
            LogEyeCheck,
            id=part_id(form.needed("id"), f"look {look}"),
            job_id=line.job_id,
            card_id=line.id,
            look=look,
            word=_word(form, look),
            **{"against_card_id": None, "against_panel_id": None, **against},
        )
        for look in answered
    ]


def _word(form: Form, look: Look) -> EyeWord:
    text = form.value(f"look.{look}")
    try:
        return EyeWord(text)
    except ValueError:
        known = ", ".join(option.text for option in WORDS)
        raise Invalid(f"look.{look}", f"{text!r} is unknown. Pick one of: {known}.") from None


def _page(here: PageContext, line: CardLine, frame: Frame, form: Form) -> EyeCheckPage:
    file = here.store.job(line.job_id)
    finish = file.get(Finish, line.finish_id)
    looks = list(Look) if finish.kind.has_flop else [Look.FACE]
    checks = file.all(EyeCheck)
    last = checks[-1].light if checks else ""
    against = tuple(_against(file, line))
    start = {"against": against[0].value} if against else {}
    return EyeCheckPage(
        frame=frame,
        form=Filled(form=form, start=start),
        line=line,
        looks=tuple(LookAsked(name=f"look.{look}", legend=LOOKS[look]) for look in looks),
        words=WORDS,
        lights=tuple(dict.fromkeys(light for light in (last, *LIGHTS) if light)),
        against=against,
    )


def _against(file: RecordFile, line: CardLine) -> Iterable[Option]:
    """What a card is likely held against: the master, the panels, the other cards."""
    master = master_in_force(file, line.finish_id)
    cards = file.by(Card, "finish_id", line.finish_id)
    for card in cards:
        if master is not None and card.root == master.card_id and card.root != line.id:
            yield Option(f"card:{card.root}", f"The master, {grouped(card.code)}")
    for panel in file.by(Panel, "finish_id", line.finish_id):
        yield Option(f"panel:{panel.root}", panel.name)
    for card in cards:
        if card.root != line.id and (master is None or card.root != master.card_id):
            yield Option(f"card:{card.root}", f"Card {grouped(card.code)}")

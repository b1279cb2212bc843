"""Taking a card out, bringing it back, and saying that it is gone."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.refused import Invalid, Refused
from service.use_cases.cards import PullCard, ReportMissing, ReturnCard
from service.use_cases.command import Command
from service.web.access import page_rules
from service.web.context import Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.card import card_page

router = APIRouter()
page_rules(
    {
        ("POST", "/c/{code}/pull"): PullCard,
        ("POST", "/c/{code}/return"): ReturnCard,
        ("POST", "/c/{code}/missing"): ReportMissing,
    }
)


@router.post("/c/{code}/pull", name="card_pull")
def pull(here: Here, form: SentForm, code: str) -> Response:
    """Sign the card out to whoever asks."""
    return _moved(here, form, code, "pull", PullCard, why=_said(form, "pull.why"))


@router.post("/c/{code}/return", name="card_return")
def give_back(here: Here, form: SentForm, code: str) -> Response:
    """Sign the card in, with a look at its state."""
    state, slot = _said(form, "return.state"), form.value("return.slot")
    return _moved(here, form, code, "return", ReturnCard, state=state, slot=slot)


@router.post("/c/{code}/missing", name="card_missing")
def missing(here: Here, form: SentForm, code: str) -> Response:
    """Mark the card missing."""
    return _moved(here, form, code, "missing", ReportMissing, why=form.value("missing.why"))


def _moved(
    here: PageContext, form: Form, code: str, of: str, kind: type[Command], **fixed: Any
) -> Response:
    line = here.card(code)
    try:
        here.perform(form.command(kind, job_id=line.job_id, card_id=line.id, **fixed))
    except Refused as refusal:
        return here.refused(
            form,
            _at_field(refusal, of),
            "card.html",
            lambda frame: card_page(here, line, frame, form=form, of=of),
            "rack",
        )
    return here.see_other("card", code=line.code, saved=of)


def _at_field(refusal: Refused, of: str) -> Refused:
    """A refusal at the field of the form it came from; the page has one form for each move."""
    if isinstance(refusal, Invalid) and refusal.field in ("why", "state", "slot"):
        return Invalid(f"{of}.{refusal.field}", str(refusal))
    return refusal


def _said(form: Form, name: str) -> str:
    """What was picked, and what was added to it in words."""
    said = (form.value(name), form.value(f"{name}_more"))
    return ": ".join(text for text in said if text)

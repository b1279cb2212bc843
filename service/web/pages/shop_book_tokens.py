"""Tokens for programs: given out once, shown once, revoked when they are no longer trusted."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.records.shop import Person
from service.domain.refused import AlreadyThere, Refused
from service.domain.terms import Role
from service.use_cases.shop import GiveToken
from service.use_cases.sign_in import hash_of_token, new_token
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Option, options_of

router = APIRouter()
page_rules({("GET", "/shop/tokens/new"): GiveToken, ("POST", "/shop/tokens/new"): GiveToken})


@dataclass(frozen=True, slots=True, kw_only=True)
class TokenNewPage:
    """Whose token, in which role; ``token`` holds it the one time it is shown."""

    frame: Frame
    form: Filled
    people: tuple[Option, ...]
    roles: tuple[Option, ...]
    token: str
    label: str
    person: str
    role: str


class AlreadyGiven(AlreadyThere):
    """The form came twice; the token of the first time cannot be shown again."""

    def __init__(self) -> None:
        super().__init__(
            "This token was given out already, and a token is shown only once. If it was not "
            "noted, revoke it in the shop's book and give out another."
        )


@router.get("/shop/tokens/new", name="token_new")
def token_new(here: Here) -> Response:
    """The form."""
    return here.render("shop_book_token.html", _page(here, here.frame("audit"), Form()))


@router.post("/shop/tokens/new", name="token_new")
def token_new_now(here: Here, form: SentForm) -> Response:
    """Give out a token and show it; the answer is not kept anywhere on the way."""
    token = new_token()
    hash = hash_of_token(token)
    try:
        here.perform(form.command(GiveToken, token_hash=hash))
        # Sent again, the form is carried out once, and the new token is none.
        if here.shop.keys.token_by_hash(hash) is None:
            raise AlreadyGiven
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "shop_book_token.html",
            lambda frame: _page(here, frame, form),
            "audit",
        )
    answer = here.render("shop_book_token.html", _page(here, here.frame("audit"), form, token))
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _page(here: PageContext, frame: Frame, form: Form, token: str = "") -> TokenNewPage:
    people = here.store.shop().all(Person)
    person = next((one.name for one in people if one.root == form.value("person_id")), "")
    return TokenNewPage(
        frame=frame,
        form=Filled(form=form),
        people=tuple(
            Option(one.root, f"{one.name} ({', '.join(role.value for role in one.roles)})")
            for one in people
        ),
        roles=options_of(Role),
        token=token,
        label=form.value("label"),
        person=person,
        role=form.value("role"),
    )

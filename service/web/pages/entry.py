"""Coming in: the first set-up of a shop, signing in and out, and one's own page."""

from __future__ import annotations

import secrets
import threading
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from service.domain.refused import Invalid, Refused
from service.domain.terms import Role
from service.use_cases import passwords
from service.use_cases.shop import SetPassword
from service.use_cases.sign_in import IDLE, LONGEST, confirm_password, sign_in
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.security import (
    clear_session,
    client_address,
    in_password_thread,
    known_visitors,
    session_token,
    set_session,
)

router = APIRouter()
_one_set_up = threading.Lock()


@dataclass(frozen=True, slots=True, kw_only=True)
class SignInPage:
    """Name and password; ``next`` is where the person wanted to go."""

    frame: Frame
    form: Form
    next: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUpPage:
    """The names of the shop and its first manager, and a password."""

    frame: Frame
    form: Form
    token: str
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonPage:
    """Who is signed in, in which roles, and a new password."""

    frame: Frame
    form: Form
    name: str
    roles: tuple[Role, ...]
    rule: str
    changed: bool = False


@router.get("/", name="front")
def front(here: Here) -> Response:
    """To the entrance a person's work lies behind."""
    for role, entrance in ((Role.PAINTER, "bench"), (Role.REFINISHER, "rack")):
        if role in here.roles:
            return here.see_other(entrance)
    return here.see_other("audit")


@router.get("/sign-in", name="sign_in")
def sign_in_page(here: Here, next: str = "/") -> Response:
    """The page to sign in on."""
    if here.services.shop is None:
        # Says where the set-up link is to be found.
        here.services.the_shop()
    page = SignInPage(frame=here.frame(), form=Form(), next=_inside(next))
    return here.render("sign_in.html", page)


@router.post("/sign-in", name="sign_in")
async def sign_in_now(here: Here, form: SentForm) -> Response:
    """Begin a session; an earlier one of this browser ends."""
    return await in_password_thread(_sign_in, here, form)


def _sign_in(here: PageContext, form: Form) -> Response:
    shop = here.shop
    next = _inside(form.value("next"))
    try:
        signed_in = sign_in(
            shop.store.shop(),
            shop.keys,
            shop.sessions,
            shop.attempts,
            name=form.value("name"),
            password=form.exact("password"),
            address=client_address(here.request),
        )
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "sign_in.html",
            lambda frame: SignInPage(frame=frame, form=form, next=next),
        )
    _end_session(here)
    answer = RedirectResponse(next, 303)
    set_session(here.request, answer, signed_in.token)
    return answer


@router.post("/sign-out", name="sign_out")
def sign_out(here: Here) -> Response:
    """End this session; what the browser still keeps of our pages goes too."""
    _end_session(here)
    answer = RedirectResponse("/sign-in", 303)
    clear_session(here.request, answer)
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


@router.get("/person", name="person")
def person(here: Here) -> Response:
    """One's own page."""
    return here.render("person.html", _person_page(here, here.frame(), Form()))


@router.post("/person/password", name="person_password")
async def new_password(here: Here, form: SentForm) -> Response:
    """A new password of one's own; every other session of the person ends."""
    return await in_password_thread(_new_password, here, form)


def _new_password(here: PageContext, form: Form) -> Response:
    shop = here.shop
    try:
        confirm_password(
            shop.keys,
            shop.attempts,
            here.person,
            form.exact("current_password"),
            client_address(here.request),
        )
        password = form.exact("password")
        passwords.check_password(password, known=(here.person.name, here.services.shop_name))
        hash = passwords.hash_password(password)
        here.perform(SetPassword(id=form.id, person_id=here.person.root, password_hash=hash))
    except Refused as refusal:
        return here.refused(
            form, refusal, "person.html", lambda frame: _person_page(here, frame, form)
        )
    shop.sessions.revoke_all(here.person.root)
    known_visitors(here.request).forget()
    answer = here.render("person.html", _person_page(here, here.frame(), Form(), changed=True))
    if here.acting_as is None:
        token = shop.sessions.start(here.person.root, idle=IDLE, longest=LONGEST)
        set_session(here.request, answer, token)
    return answer


@router.get("/set-up/{token}", name="set_up")
def set_up_page(here: Here, token: str) -> Response:
    """The page that makes a shop; its link is printed when there is none yet."""
    _check_link(here, token)
    page = SetUpPage(frame=here.frame(), form=Form(), token=token, rule=passwords.RULE)
    return here.render("set_up.html", page)


@router.post("/set-up/{token}", name="set_up")
async def set_up_now(here: Here, form: SentForm, token: str) -> Response:
    """Make the shop and its first manager; the link works once."""
    _check_link(here, token)
    return await in_password_thread(_set_up, here, form, token)


def _set_up(here: PageContext, form: Form, token: str) -> Response:
    services = here.services
    try:
        shop_name, name = form.needed("shop"), form.needed("name")
        password = form.exact("password")
        passwords.check_password(password, known=(name, shop_name))
        hash = passwords.hash_password(password)
        with _one_set_up:
            _check_link(here, token)
            assert services.set_up is not None, "a link was given out"
            services.shop = services.set_up(shop_name, name, hash)
            services.set_up_token = None
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "set_up.html",
            lambda frame: SetUpPage(frame=frame, form=form, token=token, rule=passwords.RULE),
        )
    services.read_shop()
    return here.see_other("sign_in")


class NoSuchLink(Invalid):
    """A set-up link that was used, or never given out."""

    def __init__(self) -> None:
        super().__init__(
            "token",
            "This set-up link does not work, or no longer. If the shop is set up, sign in; else "
            "start the service again and open the link it prints.",
        )


def _check_link(here: PageContext, token: str) -> None:
    wanted = here.services.set_up_token
    if wanted is None or not secrets.compare_digest(wanted.encode(), token.encode()):
        raise NoSuchLink


def _end_session(here: PageContext) -> None:
    token = session_token(here.request)
    if token:
        here.shop.sessions.end(token)
    known_visitors(here.request).forget()


def _person_page(here: PageContext, frame: Frame, form: Form, changed: bool = False) -> PersonPage:
    return PersonPage(
        frame=frame,
        form=form,
        name=here.person.name,
        roles=here.person.roles,
        rule=passwords.RULE,
        changed=changed,
    )


def _inside(next: str) -> str:
    """A path of this service; anything that would lead elsewhere becomes the front page."""
    inside = next.startswith("/") and not next.startswith(("//", "/\\")) and next.isprintable()
    return next if inside and "\\" not in next else "/"

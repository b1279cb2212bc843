"""People of the shop: adding one, and setting a password for one who lost theirs."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.records.shop import Person
from service.domain.refused import Invalid, Refused
from service.domain.terms import Role
from service.use_cases import passwords
from service.use_cases.shop import AddPerson, SetPassword
from service.web.access import Rule, page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Option
from service.web.security import in_password_thread, known_visitors

router = APIRouter()
_PASSWORD = "/shop/people/{person_id}/password"
_MANAGES = Rule(frozenset({Role.MANAGER}), "set somebody else's password")
page_rules(
    {
        ("GET", "/shop/people/new"): AddPerson,
        ("POST", "/shop/people/new"): AddPerson,
        ("GET", _PASSWORD): _MANAGES,
        ("POST", _PASSWORD): _MANAGES,
    }
)

ROLES = (
    Option(Role.PAINTER, "Painter", "mixes, sprays, logs cards and readings"),
    Option(Role.REFINISHER, "Refinisher", "finds cards, approves masters, repairs"),
    Option(Role.MANAGER, "Manager", "sets limits, accepts, releases, keeps this book"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonNewPage:
    """Name, roles and a first password."""

    frame: Frame
    form: Filled
    roles: tuple[Option, ...]
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PasswordPage:
    """A new password for somebody."""

    frame: Frame
    form: Filled
    person: Person
    rule: str


@router.get("/shop/people/new", name="person_new")
def person_new(here: Here) -> Response:
    """The form."""
    return here.render("shop_book_person.html", _new_page(here.frame("audit"), Form()))


@router.post("/shop/people/new", name="person_new")
async def person_new_now(here: Here, form: SentForm) -> Response:
    """Add a person; hashing a password takes a thread of its own."""
    return await in_password_thread(_add, here, form)


def _add(here: PageContext, form: Form) -> Response:
    try:
        # The other fields are looked at first: hashing is dear and says nothing of them.
        if not form.values("roles"):
            raise Invalid("roles", "The person has no role yet. Tick at least one.")
        form.command(AddPerson, password_hash=None)
        hash = _hash(here, form, form.value("name"))
        here.perform(form.command(AddPerson, password_hash=hash))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "shop_book_person.html",
            lambda frame: _new_page(frame, form),
            "audit",
        )
    return here.see_other("shop_book", saved="person")


@router.get(_PASSWORD, name="person_password_set")
def person_password(here: Here, person_id: str) -> Response:
    """The form."""
    person = here.store.shop().get(Person, person_id)
    return here.render("shop_book_password.html", _password(here.frame("audit"), Form(), person))


@router.post(_PASSWORD, name="person_password_set")
async def person_password_now(here: Here, form: SentForm, person_id: str) -> Response:
    """Set the password and end every session of the person."""
    return await in_password_thread(_set, here, form, person_id)


def _set(here: PageContext, form: Form, person_id: str) -> Response:
    person = here.store.shop().get(Person, person_id)
    try:
        hash = _hash(here, form, person.name)
        here.perform(SetPassword(id=form.id, person_id=person.root, password_hash=hash))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "shop_book_password.html",
            lambda frame: _password(frame, form, person),
            "audit",
        )
    here.shop.sessions.revoke_all(person.root)
    known_visitors(here.request).forget()
    return here.see_other("shop_book", saved="password")


def _hash(here: PageContext, form: Form, name: str) -> str:
    password = form.exact("password")
    passwords.check_password(password, known=(name, here.services.shop_name))
    return passwords.hash_password(password)


def _new_page(frame: Frame, form: Form) -> PersonNewPage:
    return PersonNewPage(frame=frame, form=Filled(form=form), roles=ROLES, rule=passwords.RULE)


def _password(frame: Frame, form: Form, person: Person) -> PasswordPage:
    return PasswordPage(frame=frame, form=Filled(form=form), person=person, rule=passwords.RULE)

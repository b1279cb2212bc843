"""What a page module works with: the visitor, the record, forms and rendering.

A family of pages is a module of ``service/web/pages`` with a ``router`` and, beside it, one call
of ``page_rules`` that says who may use each route; ``pages.MODULES`` names the module. A route
is a plain ``def``::

    router = APIRouter()
    page_rules({("GET", "/rack"): ANYBODY_HERE, ("POST", "/cards/{code}/pull"): PullCard})

    @router.get("/rack")
    def rack(here: Here) -> Response:
        return here.render("rack.html", RackPage(frame=here.frame("rack"), ...))

    @router.post("/cards/{code}/pull")
    def pull(here: Here, form: SentForm, code: str) -> Response:
        line = here.card(code)
        try:
            here.perform(form.command(PullCard, job_id=line.job_id, card_id=line.id))
        except Refused as refusal:
            return here.refused(form, refusal, "card.html", lambda frame: card_page(frame, form))
        return here.see_other("card", code=code)

A refused form keeps what was typed, because the page is rendered from the same ``Form``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Protocol

from fastapi import Depends
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse

from service.domain.card_code import read_card_code
from service.domain.lines import CardLine
from service.domain.records.shop import Person
from service.domain.refused import Refused, Unknown
from service.domain.terms import Role
from service.use_cases.command import Command, perform
from service.use_cases.ports import Receipt
from service.use_cases.queries import Queries
from service.use_cases.sign_in import NotSignedIn, Visitor
from service.web.forms import Form, read_form
from service.web.refusals import headers_of, status_of
from service.web.security import known_visitors
from service.web.services import Services, ShopServices, WebStore, services_of

if TYPE_CHECKING:
    from jinja2 import Environment

    from service.web.templating import Links


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What the frame of every page shows; see base.html."""

    shop: str
    person: str
    entrance: str = ""
    bench: bool = False
    demo: bool = False
    refused: bool = False
    language: str = "en"
    zone: str = "UTC"


class Page(Protocol):
    """Any page dataclass: it carries its frame."""

    @property
    def frame(self) -> Frame: ...


class PageContext:
    """One request to a page."""

    def __init__(self, request: Request) -> None:
        self.request = request
        self.services: Services = services_of(request)
        self.visitor: Visitor | None = getattr(request.state, "visitor", None)

    @property
    def shop(self) -> ShopServices:
        """The shop's store, queries, photos and sessions."""
        return self.services.the_shop()

    @property
    def store(self) -> WebStore:
        """The shop's record."""
        return self.shop.store

    @property
    def queries(self) -> Queries:
        """Searches over many jobs."""
        return self.shop.queries

    @property
    def person(self) -> Person:
        """Who is signed in."""
        return self._visitor().person

    @property
    def acting_as(self) -> Role | None:
        """The one role a token narrows its person to; None for a person's session."""
        return self._visitor().acting_as

    @property
    def roles(self) -> frozenset[Role]:
        """The roles held in this request."""
        return self._visitor().roles

    @property
    def zone(self) -> str:
        """The shop's time zone, for the filters that show times."""
        return self.services.settings.shown_zone

    def may(self, kind: type[Command]) -> bool:
        """Whether the visitor may send this command, to show its button or leave it out."""
        from service.use_cases.all_verbs import VERBS

        return bool(VERBS[kind].roles & self.roles)

    def card(self, code: str) -> CardLine:
        """The card under a code, typed in any way; ``Unknown`` when there is none."""
        line = self.queries.card_by_code(read_card_code(code))
        if line is None:
            raise Unknown("card", code)
        return line

    def place_of_code(self, code: str) -> tuple[str, str] | None:
        """Job's and card's id of a code, None when no card has it."""
        line = self.queries.card_by_code(code)
        return None if line is None else (line.job_id, line.id)

    def perform(self, command: Command) -> Receipt:
        """Carry out a command as the visitor."""
        receipt = perform(self.store, self.person.root, command, self.acting_as)
        if receipt.chain == self.store.shop_id:
            known_visitors(self.request).forget()
        return receipt

    def frame(self, entrance: str = "", *, bench: bool = False, refused: bool = False) -> Frame:
        """The frame of a page that lies behind an entrance (bench, rack, audit or none)."""
        return Frame(
            shop=self.services.shop_name or "Keepcard",
            person=self.visitor.person.name if self.visitor else "",
            entrance=entrance,
            bench=bench,
            demo=self.services.is_demo,
            refused=refused,
            zone=self.zone,
        )

    def render(self, template: str, page: Page, status: int = 200) -> HTMLResponse:
        """The page as HTML; the template gets ``page`` and nothing else."""
        environment: Environment = self.request.app.state.templates
        return HTMLResponse(environment.get_template(template).render(page=page), status)

    def refused(
        self,
        form: Form,
        refusal: Refused,
        template: str,
        page: Callable[[Frame], Page],
        entrance: str = "",
        *,
        bench: bool = False,
    ) -> HTMLResponse:
        """The page of a form again, with what is wrong and what was typed."""
        form.refuse(refusal)
        frame = self.frame(entrance, bench=bench, refused=True)
        answer = self.render(template, page(frame), status_of(refusal))
        answer.headers.update(headers_of(refusal))
        return answer

    def link(self, name: str, **parts: Any) -> str:
        """The address of a route by its name."""
        links: Links = self.request.app.state.links
        return links(name, **parts)

    def see_other(self, name: str, **parts: Any) -> RedirectResponse:
        """After a form was taken: to the page that shows what it did."""
        return RedirectResponse(self.link(name, **parts), 303)

    def _visitor(self) -> Visitor:
        if self.visitor is None:
            raise NotSignedIn
        return self.visitor


async def page_context(request: Request) -> PageContext:
    """The context of a request; the access check has run before."""
    # async only so that it is made on the event loop: a def dependency costs a thread.
    return PageContext(request)


Here = Annotated[PageContext, Depends(page_context)]
"""The parameter that gives a page route its context."""

SentForm = Annotated[Form, Depends(read_form)]
"""The parameter that gives a page route the form that was sent."""

"""A shop with a real store behind the pages of the bench, and a browser without script."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from starlette.testclient import TestClient

from service.app import create_app
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.terms import ComponentRole, FinishKind, JointKind, Specular
from service.settings import Settings
from service.storage.database import Database, open_database
from service.use_cases import job, shop, spraying
from service.use_cases.sign_in import IDLE, LONGEST
from service.web.security import COOKIE
from tests.shop_hand import ShopHand

INLINE = {"a", "span", "strong", "time"}
VOID = {"input", "link", "meta", "br", "hr", "img", "path", "rect", "circle"}


@dataclass
class Element:
    """An element of a page: what it is, what it holds."""

    tag: str
    attributes: dict[str, str]
    parent: Element | None = None
    children: list[Element | str] = field(default_factory=list)

    @property
    def text(self) -> str:
        """Everything in it that can be read, in one line."""
        return " ".join("".join(self._pieces()).split())

    def _pieces(self) -> list[str]:
        found: list[str] = []
        for child in self.children:
            if isinstance(child, str):
                found.append(child)
            else:
                around = "" if child.tag in INLINE and not child.is_block else " "
                found += [around, *child._pieces(), around]
        return found

    @property
    def is_block(self) -> bool:
        """Whether the style sheets put it on a line of its own."""
        return self.attributes.get("class", "").endswith(("-hint", "-note"))

    def all(self, tag: str, **attributes: str) -> list[Element]:
        """The elements of that tag under it; class_="x" asks for one class among others."""
        found: list[Element] = []
        for child in self.children:
            if isinstance(child, str):
                continue
            if child.tag == tag and child.has(**attributes):
                found.append(child)
            found += child.all(tag, **attributes)
        return found

    def one(self, tag: str, **attributes: str) -> Element:
        """The only element of that kind."""
        found = self.all(tag, **attributes)
        assert len(found) == 1, f"{len(found)} of <{tag}> {attributes}"
        return found[0]

    def has(self, **attributes: str) -> bool:
        for name, value in attributes.items():
            given = self.attributes.get(name.rstrip("_"), "")
            if value not in (given, *given.split()):
                return False
        return True


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.root = self.at = Element("document", {})

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs}, self.at)
        self.at.children.append(element)
        if tag not in VOID:
            self.at = element

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.at.children.append(Element(tag, {n: v or "" for n, v in attrs}, self.at))

    def handle_endtag(self, tag: str) -> None:
        at: Element | None = self.at
        while at is not None and at.tag != tag:
            at = at.parent
        if at is not None and at.parent is not None:
            self.at = at.parent

    def handle_data(self, data: str) -> None:
        self.at.children.append(data)


class Sheet:
    """A page as a browser without script has it."""

    def __init__(self, browser: Browser, address: str, status: int, html: str) -> None:
        reader = _Reader()
        reader.feed(html)
        self.browser, self.address, self.status = browser, address, status
        self.document, self.html = reader.root, html

    @property
    def heading(self) -> str:
        """The one heading that answers."""
        return self.document.one("h1").text

    @property
    def main(self) -> Element:
        """What the page is about."""
        return self.document.one("main")

    @property
    def errors(self) -> list[str]:
        """What the summary of a refused form says."""
        return [item.text for box in self.main.all("div", id="errors") for item in box.all("li")]

    def link(self, text: str) -> str:
        """The address a link of that text leads to."""
        found = [a for a in self.main.all("a") if a.text == text]
        assert found, f"no link {text!r} among {[a.text for a in self.main.all('a')]}"
        return found[0].attributes["href"]

    def follow(self, text: str) -> Sheet:
        """The page behind a link of that text."""
        return self.browser.open(self.link(text))

    def label_of(self, name: str, value: str | None = None) -> str:
        """The label of a field, by its name (and value, for one of several boxes)."""
        for element in self._fields():
            if element.attributes.get("name") == name and value in (
                None,
                element.attributes.get("value"),
            ):
                labels = self.main.all("label", for_=element.attributes.get("id", "-"))
                around: Element | None = element
                while around is not None and around.tag != "label":
                    around = around.parent
                found = [*labels, *([around] if around else [])]
                return found[0].text if found else element.attributes.get("aria-label", "")
        raise AssertionError(f"no field {name!r}")

    def choices(self, name: str) -> dict[str, str]:
        """The values of a set of tiles, boxes or a select, by their text."""
        found: dict[str, str] = {}
        for element in self._fields():
            if element.attributes.get("name") != name:
                continue
            if element.tag == "select":
                found |= {o.text: o.attributes["value"] for o in element.all("option")}
            else:
                value = element.attributes["value"]
                found[self.label_of(name, value)] = value
        return found

    def fields(self) -> dict[str, list[str]]:
        """What the form of the page would send as it stands."""
        sent: dict[str, list[str]] = {}
        for element in self._fields():
            name = element.attributes.get("name")
            if not name:
                continue
            kind = element.attributes.get("type", "text")
            if element.tag == "select":
                options = element.all("option")
                chosen = [o for o in options if "selected" in o.attributes] or options[:1]
                values = [o.attributes["value"] for o in chosen]
            elif element.tag == "textarea":
                values = [element.text]
            elif kind in ("radio", "checkbox"):
                ticked = "checked" in element.attributes
                values = [element.attributes["value"]] if ticked else []
            else:
                values = [element.attributes.get("value", "")]
            sent.setdefault(name, []).extend(values)
        return {name: values for name, values in sent.items() if values}

    def send(self, **changes: Any) -> Sheet:
        """Send the form with some fields changed; ``__`` in a name stands for a point."""
        form = [f for f in self.main.all("form") if f.attributes.get("method") == "post"][0]
        sent = self.fields()
        for name, value in changes.items():
            plain = name.replace("__", ".")
            if value is None:
                sent.pop(plain, None)
            else:
                sent[plain] = [str(v) for v in value] if isinstance(value, list) else [str(value)]
        return self.browser.post(form.attributes["action"], sent)

    def _fields(self) -> list[Element]:
        forms = [f for f in self.main.all("form") if f.attributes.get("method") == "post"]
        assert forms, "the page has no form"
        return [e for tag in ("input", "select", "textarea") for e in forms[0].all(tag)]


class Browser:
    """Somebody at the bench, signed in."""

    def __init__(self, client: TestClient) -> None:
        self.client = client

    def open(self, address: str) -> Sheet:
        """Open a page."""
        answer = self.client.get(address)
        return self._sheet(answer)

    def post(self, address: str, sent: dict[str, list[str]]) -> Sheet:
        """Send a form and follow where it leads."""
        return self._sheet(self.client.post(address, data=sent))

    def _sheet(self, answer: Any) -> Sheet:
        parts = urlsplit(str(answer.url))
        address = f"{parts.path}?{parts.query}" if parts.query else parts.path
        return Sheet(self, address, answer.status_code, answer.text)


class BenchShop:
    """A shop on disk with a manager and a painter, and the service over it."""

    def __init__(self, folder: Path) -> None:
        database = open_database(folder)
        store = database.create_shop("Northside Refinish", manager="First Manager")
        self.hand = ShopHand(store)
        self.manager, self.painter = self.hand.manager, self.hand.painter
        database.close()
        self.app = create_app(Settings(data_dir=folder, zone="Europe/Lisbon"))
        self.database: Database = self.app.state.database
        self.store = self.hand.store = self.app.state.services.shop.store

    def close(self) -> None:
        self.database.close()

    def browser(self, person: str | None = None) -> Browser:
        """A browser in which a person (the painter if none is named) is signed in."""
        sessions = self.app.state.services.shop.sessions
        token = sessions.start(person or self.painter, idle=IDLE, longest=LONGEST)
        client = TestClient(self.app, headers={"Sec-Fetch-Site": "same-origin"})
        client.cookies.set(COOKIE, token)
        return Browser(client)

    def product(self, **fields: Any) -> str:
        given: dict[str, Any] = {
            "name": "Deep basecoat",
            "role": ComponentRole.BASE,
            "sheet": "Sheet 12 of its maker",
            "mix_ratio": ((ComponentRole.BASE, 2.0), (ComponentRole.REDUCER, 1.0)),
            "pot_life_minutes": 240.0,
            "flash_minutes": 10.0,
        }
        return self.hand.do(shop.RegisterProduct, **{**given, **fields})

    def instrument(self, **fields: Any) -> str:
        given: dict[str, Any] = {
            "name": "Bench sphere",
            "geometry": "d:8",
            "specular": Specular.INCLUDED,
            "standard_uncertainty": 0.05,
        }
        return self.hand.do(shop.RegisterInstrument, **{**given, **fields})

    def job(self, kind: FinishKind = FinishKind.SOLID, **finish: Any) -> str:
        """A job with two panels and the gap between them."""
        hand = self.hand
        finish.setdefault("coats_to_hide", 3)
        hand.open(kind, **finish)
        self.wing, self.door = hand.panel("Left wing", y=0.0), hand.panel("Left door", y=1.0)
        self.gap = hand.on_job(
            job.AddJoint, kind=JointKind.GAP, panel_a=self.wing, panel_b=self.door
        )
        return hand.job_id

    def batch_with_card(self, panel: str = "", lab: Lab | None = None, **fields: Any) -> Sprayed:
        """A pot, its coats on a panel, its card, and a reading of it where a colour is given."""
        hand = self.hand
        batch = hand.batch(components=COMPONENTS, **fields)
        if panel:
            hand.spray(batch, panel_ids=(panel,))
        card = hand.card(batch, slot=f"A-{len(hand.file.all(Card)) + 1}")
        hand.bake(card)
        reading = hand.read(card, lab) if lab is not None else ""
        return Sprayed(batch, card, hand.file.get(Card, card).code, reading)

    @property
    def file(self) -> RecordFile:
        """The file of the job at hand."""
        return self.hand.file

    def at(self, path: str = "") -> str:
        """An address under the job at hand."""
        return f"/jobs/{self.hand.job_id}{path}"


@dataclass(frozen=True, slots=True)
class Sprayed:
    """A batch with its card."""

    batch: str
    card: str
    code: str
    reading: str


Lab = tuple[float, float, float]
COMPONENTS = (
    spraying.Poured(product="Deep basecoat", role=ComponentRole.BASE, lot="B-77", amount=400.0),
    spraying.Poured(product="Thin reducer", role=ComponentRole.REDUCER, lot="R-3", amount=200.0),
)
DARK_RED = (32.0, 38.0, 20.0)

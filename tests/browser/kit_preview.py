"""Render every macro of the face kit into four static pages, to be looked at and checked.

    python -m tests.browser.kit_preview [DIRECTORY]     default: tests/output/kit

The pages are invented from end to end.  They are written as files and can be served under the
strict content-security policy the service itself sends, which is how the browser tests use them.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from types import SimpleNamespace
from typing import Any

from jinja2 import ChoiceLoader, Environment, FileSystemLoader, StrictUndefined

from service.web import charts, filters, vehicle_map

HERE = Path(__file__).parent
WEB = HERE.parents[1] / "service" / "web"
PAGES = ("bench", "rack", "audit", "large")
POLICY = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'"

ZONE = "Europe/Lisbon"
START = datetime(2025, 3, 3, 8, 15, tzinfo=UTC)
MASTER = (46.20, -2.10, -8.40)  # a blue-grey metallic of our own invention


def thing(**attributes: Any) -> SimpleNamespace:
    """A page object as the templates see it."""
    return SimpleNamespace(**attributes)


def environment() -> Environment:
    """The templates as the service loads them, and the preview's own beside them."""
    result = Environment(
        loader=ChoiceLoader(
            [FileSystemLoader(WEB / "templates"), FileSystemLoader(HERE / "kit_preview_pages")]
        ),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    filters.install(result, link=link)
    return result


def link(name: str, **parts: str) -> str:
    if name == "static":
        return f"static/{parts['path']}"
    return f"{name}.html" if name in PAGES else f"#{name}"


def frame(entrance: str, *, bench: bool = False, refused: bool = False) -> SimpleNamespace:
    return thing(
        language="en",
        shop="Northside Refinish",
        person="Ira Quell",
        entrance=entrance,
        bench=bench,
        demo=True,
        refused=refused,
    )


def verdict(word: str, difference: float | None = None, **more: Any) -> SimpleNamespace:
    given = {"bounds": None, "limit": 0.80, "directions": "", "different": False} | more
    return thing(word=word, difference=difference, **given)


BLENDS = verdict("blends", 0.34, bounds=(0.17, 0.58), directions="lighter")
SHOWS = verdict("shows", 1.42, bounds=(1.21, 1.66), directions="bluer and darker")
UNSURE = verdict("cannot_tell", 0.74, bounds=(0.41, 1.12), directions="greener")
WRONG_TIN = verdict("shows", 19.4, different=True, directions="redder and darker")
UNLIKE = verdict("not_comparable", None, limit=None)

# Front to rear down the page, left side to right across it.
PANELS = (
    ("bumper", "Front bumper", 1, 0, "batch 4"),
    ("wing_l", "Left wing", 0, 1, "batch 2"),
    ("bonnet", "Bonnet", 1, 1, "batch 2"),
    ("wing_r", "Right wing", 2, 1, "batch 2"),
    ("door_fl", "Left front door", 0, 2, "batches 2, 3"),
    ("roof", "Roof", 1, 2.5, "batch 1"),
    ("door_fr", "Right front door", 2, 2, "batch 3"),
    ("door_rl", "Left rear door", 0, 3, "batch 3"),
    ("door_rr", "Right rear door", 2, 3, "batch 3"),
    ("quarter_l", "Left quarter", 0, 4, "batch 3"),
    ("lid", "Boot lid", 1, 4, "batch 5"),
    ("quarter_r", "Right quarter", 2, 4, "batch 3"),
    ("rear", "Rear bumper", 1, 5, ""),
)
JOINTS = (
    ("wing_l", "door_fl", "gap", SHOWS),
    ("bumper", "wing_l", "gap", WRONG_TIN),
    ("door_fl", "door_fl", "within", SHOWS),
    ("bonnet", "bumper", "gap", UNSURE),
    ("lid", "quarter_l", "gap", UNLIKE),
    ("lid", "quarter_r", "gap", UNSURE),
    ("wing_l", "bonnet", "gap", BLENDS),
    ("bonnet", "wing_r", "gap", BLENDS),
    ("wing_r", "door_fr", "gap", BLENDS),
    ("door_fl", "door_rl", "gap", BLENDS),
    ("door_fr", "door_rr", "gap", BLENDS),
    ("door_rl", "quarter_l", "gap", BLENDS),
    ("door_rr", "quarter_r", "gap", BLENDS),
    ("roof", "quarter_l", "butt", UNSURE),
    ("roof", "quarter_r", "butt", SHOWS),
    ("quarter_r", "quarter_r", "fade", BLENDS),
    ("rear", "lid", "gap", UNLIKE),
)


def joint_label(decided: SimpleNamespace) -> str:
    if decided.different:
        return "over 5"
    return "" if decided.difference is None else filters.delta_e(decided.difference)


def vehicle(panels: Any, joints: Any) -> tuple[vehicle_map.VehicleMap, list[SimpleNamespace]]:
    names = {panel[0]: panel[1] for panel in panels}
    listed, drawn = [], []
    for first, second, kind, decided in joints:
        both = f"{names[first]} and {names[second].lower()}"
        name = names[first] if first == second else both
        listed.append(thing(name=name, kind=kind, href=f"#{first}-{second}", **vars(decided)))
        drawn.append(
            vehicle_map.MapJoint(
                first=first,
                second=second,
                kind=kind,
                word=decided.word,
                label=joint_label(decided),
                title=f"{name}: {filters.verdict_word(decided.word)} {joint_label(decided)}",
                href=f"#{first}-{second}",
            )
        )
    placed = [
        vehicle_map.MapPanel(key=key, name=name, x=x, y=y, note=note, href=f"#{key}")
        for key, name, x, y, note in panels
    ]
    return vehicle_map.draw(placed, drawn), listed


DEVIATIONS = (
    (0.05, 0.02, -0.08, "blends"),
    (-0.12, 0.06, 0.05, "blends"),
    (0.22, -0.10, 0.18, "blends"),
    (0.10, 0.15, -0.35, "cannot_tell"),
    (None, None, None, "not_comparable"),
    (-0.85, 0.28, -1.10, "shows"),
    (-0.30, 0.05, -0.22, "blends"),
    (12.0, 8.0, -6.0, "shows"),
    (0.18, -0.42, 0.12, "cannot_tell"),
    (0.02, 0.08, 0.10, "blends"),
)


def chart_cards(deviations: Any) -> list[charts.ChartCard]:
    return [
        charts.ChartCard(
            label=f"Batch {number}",
            href=f"#batch-{number}",
            colour=None
            if light is None
            else (MASTER[0] + light, MASTER[1] + red, MASTER[2] + yellow),
            word=word,
        )
        for number, (light, red, yellow, word) in enumerate(deviations, 1)
    ]


def bench_page() -> SimpleNamespace:
    return thing(
        frame=frame("bench", bench=True, refused=True),
        verdict=SHOWS,
        sampled={"master": "#5f7180", "batch": "#58697c"},
        errors=[
            thing(field="f-lightness", message="L* 340 is too much: enter a value from 0 to 100"),
            thing(field="f-ground", message="Choose the ground shade the card was sprayed on"),
        ],
        grounds=[
            thing(value="white", text="White", hint="step 1"),
            thing(value="light", text="Light grey", hint="step 3"),
            thing(value="mid", text="Mid grey", hint="step 5"),
            thing(value="dark", text="Dark grey", hint="step 7"),
        ],
        stages=[thing(value="dry", text="Base, dry"), thing(value="clear", text="Cleared")],
        readable_at=START + timedelta(hours=3, minutes=25),
        zone=ZONE,
    )


def rack_page() -> SimpleNamespace:
    when = START + timedelta(days=2)
    return thing(
        frame=frame("rack"),
        zone=ZONE,
        sprayed_at=when,
        blacks=[
            thing(colour="#17181a", label="7K3Q-X9WD-4", out=False),
            thing(colour="#191816", label="2M8T-C0RV-H", out=False),
            thing(colour="#141619", label="9B4N-P6JS-1", out=False),
            thing(colour="#050d1c", label="the car, reading 3", out=True),
        ],
        car=verdict("cannot_tell", 0.74, bounds=(0.41, 1.12), directions="greener"),
        unlike=[
            thing(
                reason="The card is uncleared, the master is cleared.",
                remedy="Clear the card, bake and cool it, then read it again.",
            ),
            thing(
                reason="The reading is D50/2°, the master D65/10°.",
                remedy="Set the instrument to D65 and 10° and read the card again.",
            ),
        ],
        facts=[
            thing(term="Baked", text=filters.temperature_both(60) + ", 30 min, metal temperature"),
            thing(term="Coats", text="2 base, 2 clear", note="as on the left front door"),
            thing(term="Gun", text="1.3 mm tip, " + filters.quantity(2.0, "bar")),
            thing(term="Colour", text=filters.lab_triple(MASTER)),
        ],
        evidence=[
            thing(term="Formula", text="ΔE00 with kL : kC : kH = 1 : 1 : 1"),
            thing(
                term="Limit",
                text="0.80",
                note="half of the observers in a dental study saw this difference; set your own",
            ),
            thing(term="Risk of a wrong answer", text=filters.percent(0.05)),
            thing(term="Look", text="1 of 3, 1.7 % of the risk spent"),
        ],
        readings=[
            thing(name="1", lab=(46.31, -2.02, -8.61), dropped=""),
            thing(name="2", lab=(46.28, -2.05, -8.55), dropped=""),
            thing(name="3", lab=(48.90, -1.20, -7.10), dropped="dust under the port"),
        ],
        journal=[
            thing(
                at=when + timedelta(hours=5),
                person="Ira Quell",
                sentence="corrected the tip of the gun on coat 2.",
                reason="Typed from memory; the gun says 1.3.",
                was="1.4 mm",
                now="1.3 mm",
            ),
            thing(
                at=when,
                person="Bo Tamsin",
                sentence="logged the card with three readings.",
                late=True,
            ),
        ],
    )


def audit_page() -> SimpleNamespace:
    drawing, listed = vehicle(PANELS, JOINTS)
    cards = chart_cards(DEVIATIONS)
    return thing(
        frame=frame("audit"),
        zone=ZONE,
        findings=[
            thing(
                word="shows",
                href="#joint",
                sentence="Batch 3 on the left front door would show against batch 2 on the "
                "left wing: 1.42, limit 0.80.",
                remedy="Spray the door from batch 2, or blend into the wing.",
            ),
            thing(
                word="cannot_tell",
                href="#joint",
                sentence="The bonnet against the front bumper cannot be told yet: 0.74.",
                remedy="4 more readings settle this in 8 of 10 cases, if the difference is what "
                "it seems.",
            ),
            thing(
                word="",
                href="#batch",
                sentence="Batch 5 has no card.",
                remedy="Spray one before the pot is empty; without it that side stays unknown.",
            ),
        ],
        drawing=drawing,
        joints=listed,
        strip=charts.strip_chart(cards, master=MASTER, bands=charts.bands_alone(MASTER, 0.8)),
        scatter=charts.scatter(cards, master=MASTER, limit=0.8),
        rows=[
            thing(name=card.label, href=card.href, card=card, slot=f"B{index:02d}", at=START)
            for index, card in enumerate(cards, 1)
        ],
    )


def large_page() -> SimpleNamespace:
    """The crowded case: 20 panels, 40 joints, 60 batches, long names."""
    panels = [
        (f"p{x}{y}", f"{side} {part}", x, y, f"batch {x + 4 * y}")
        for y, part in enumerate(("bumper corner", "wing", "door", "rear door", "quarter"))
        for x, side in enumerate(("Left", "Inner left", "Inner right", "Right"))
    ]
    decided = (BLENDS, BLENDS, SHOWS, UNSURE, BLENDS, UNLIKE, WRONG_TIN)
    pairs = [(f"p{x}{y}", f"p{x + 1}{y}") for y in range(5) for x in range(3)]
    pairs += [(f"p{x}{y}", f"p{x}{y + 1}") for y in range(4) for x in range(4)]
    pairs += [(f"p{x}{y}", f"p{x + 1}{y + 1}") for y in range(4) for x in range(0, 3, 2)]
    pairs += [("p00", "p20")]
    kinds = ("butt", "gap", "gap", "fade")
    joints = [
        (*pair, kinds[index % 4], decided[index % len(decided)]) for index, pair in enumerate(pairs)
    ]
    drawing, listed = vehicle(panels, joints)
    many = [DEVIATIONS[index % 7] for index in range(60)]
    return thing(
        frame=frame(""),
        drawing=drawing,
        joints=listed,
        strip=charts.strip_chart(
            chart_cards(many), master=MASTER, bands=charts.bands_alone(MASTER, 0.8)
        ),
    )


def write_pages(directory: Path) -> list[Path]:
    """Write the pages and the static files beside them; returns the pages."""
    jinja = environment()
    directory.mkdir(parents=True, exist_ok=True)
    shutil.copytree(WEB / "static", directory / "static", dirs_exist_ok=True)
    makers = {"bench": bench_page, "rack": rack_page, "audit": audit_page, "large": large_page}
    written = []
    for name in PAGES:
        html = jinja.get_template(f"preview_{name}.html").render(page=makers[name]())
        written.append(directory / f"{name}.html")
        written[-1].write_text(html, encoding="utf-8")
    return written


class _Quiet(SimpleHTTPRequestHandler):
    def end_headers(self) -> None:
        self.send_header("Content-Security-Policy", POLICY)
        super().end_headers()

    def log_message(self, format: str, *args: Any) -> None:
        pass


@contextmanager
def served(directory: Path) -> Iterator[str]:
    """Serve the pages on this machine under the strict policy; yields the address."""
    with ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=str(directory))) as server:
        thread = Thread(target=server.serve_forever, daemon=True)
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}"
        finally:
            server.shutdown()
            thread.join()


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "output" / "kit"
    for page in write_pages(target):
        print(page)

"""A card of a batch, logged as it is sprayed: all but its label as the last one had it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.card_code import grouped, new_card_code, read_card_code
from service.domain.lookups import whereabouts
from service.domain.mixing import pot_life_ends
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Finish, Job
from service.domain.records.spraying import Batch, Coat, Component
from service.domain.refused import Invalid, Refused
from service.domain.terms import (
    CardKind,
    CoatRole,
    ComponentRole,
    FinishKind,
    HidingMark,
    Hung,
    ZoneState,
)
from service.use_cases.cards import CardCoats, CardZone, LogCard
from service.use_cases.queries import CardSearch
from service.use_cases.spraying import GunSetUp
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.batch_coat import used
from service.web.pages.bench_defaults import coat_groups, last_card, newest, next_slot
from service.web.pages.bench_forms import (
    UNITS,
    Filled,
    Gathering,
    Kind,
    Option,
    options_of,
    read_set_up,
    start_of_set_up,
    typed,
)

router = APIRouter()
_PATH = "/jobs/{job_id}/batches/{batch_id}/cards/new"
page_rules({("GET", _PATH): LogCard, ("POST", _PATH): LogCard})

GROUPS = 3
MOST_STEPS = 8
ZONES = {
    ZoneState.BARE_BASE: CardZone(name="Bare base", state=ZoneState.BARE_BASE, cleared=False),
    ZoneState.CLEARED: CardZone(name="Cleared", state=ZoneState.CLEARED, cleared=True),
    ZoneState.CUT_AND_POLISHED: CardZone(
        name="Cut and polished", state=ZoneState.CUT_AND_POLISHED, cleared=True
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CardNewPage:
    """The form of a card; ``like`` is the code of the card it was filled from."""

    frame: Frame
    form: Filled
    job: Job
    job_href: str
    batch: Batch
    finish: Finish
    like: str
    fresh: str
    kinds: tuple[Option, ...]
    hung: tuple[Option, ...]
    marks: tuple[Option, ...]
    zones: tuple[Option, ...]
    steps: tuple[Option, ...]
    batches: tuple[Option, ...]
    roles: tuple[Option, ...]
    groups: range
    missing: tuple[Option, ...]
    guns: tuple[str, ...]
    booths: tuple[str, ...]
    substrates: tuple[str, ...]
    pot_life_over: bool
    has_hardener: bool
    temperatures: tuple[Option, ...] = UNITS[Kind.TEMPERATURE]
    pressures: tuple[Option, ...] = UNITS[Kind.PRESSURE]
    lengths: tuple[Option, ...] = UNITS[Kind.LENGTH]


@router.get(_PATH, name="card_new")
def card_new(here: Here, job_id: str, batch_id: str, code: str = "") -> Response:
    """The form, filled from the last card; ``code`` is that of a label just scanned."""
    file = here.store.job(job_id)
    page = _page(here, file, batch_id, here.frame("bench", bench=True), Form(), code)
    return here.render("batch_card.html", page)


@router.post(_PATH, name="card_new")
def card_new_now(here: Here, form: SentForm, job_id: str, batch_id: str) -> Response:
    """Put the card on record under the code of its label, or under the fresh one."""
    file = here.store.job(job_id)
    try:
        here.perform(_command(form, file, batch_id))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "batch_card.html",
            lambda frame: _page(here, file, batch_id, frame, form),
            "bench",
            bench=True,
        )
    return here.see_other("batch", job_id=job_id, batch_id=batch_id, saved="card")


def _command(form: Form, file: RecordFile, batch_id: str) -> LogCard:
    gathering = Gathering(form)
    given = {
        "job_id": file.chain,
        "batch_id": batch_id,
        "code": gathering.take(lambda: _code(form), ""),
        "coats": gathering.take(lambda: _coats(form, batch_id), ()),
        "zones": gathering.take(lambda: _zones(form), ()),
    }
    command = gathering.take(lambda: form.read(LogCard, "", given), None)
    gathering.done()
    assert command is not None, "nothing was refused"
    return command


def _code(form: Form) -> str:
    code = form.value("code")
    if code:
        return read_card_code(code)
    if form.ticked("take_fresh"):
        return read_card_code(form.value("fresh"))
    raise Invalid(
        "code",
        "The card has no code yet. Type the one on its label, or tick that it gets the new one.",
    )


def _coats(form: Form, batch_id: str) -> tuple[CardCoats, ...]:
    """The coats so far; how it was sprayed is typed once and holds for this batch's own."""
    set_up = read_set_up(form)
    groups: list[CardCoats] = []
    for row in range(GROUPS):
        prefix = f"coats.{row}."
        if not form.value(f"{prefix}coats") or form.value(f"{prefix}coats") == "0":
            continue
        group = form.read(CardCoats, prefix, {"set_up": GunSetUp()})
        if not 1 <= group.coats <= 30:
            raise Invalid(
                f"{prefix}coats", f"{group.coats} coats cannot be. Enter a number from 1 to 30."
            )
        own = group.batch_id == batch_id
        groups.append(
            CardCoats(
                batch_id=group.batch_id,
                coats=group.coats,
                role=group.role,
                set_up=set_up if own else GunSetUp(),
            )
        )
    return tuple(groups)


def _zones(form: Form) -> tuple[CardZone, ...]:
    states = (ZoneState(value) for value in form.values("zone_states") if value in ZONES)
    zones = [ZONES[state] for state in states]
    steps = form.number("steps")
    if steps is None:
        return tuple(zones)
    if steps != int(steps) or not 1 <= steps <= MOST_STEPS:
        raise Invalid(
            "steps", f"A let-down card cannot have {steps:g} steps. Use 1 to {MOST_STEPS}."
        )
    for step in range(int(steps) + 1):
        name = f"{step} mid-coat{'s' * (step != 1)}"
        for cleared in (False, True):
            zones.append(
                CardZone(
                    name=f"{name}, {'cleared' if cleared else 'bare'}",
                    state=ZoneState.LET_DOWN_STEP,
                    cleared=cleared,
                    mid_coats=step,
                )
            )
    return tuple(zones)


def _page(
    here: PageContext,
    file: RecordFile,
    batch_id: str,
    frame: Frame,
    form: Form,
    code: str = "",
) -> CardNewPage:
    batch = file.get(Batch, batch_id)
    finish = file.get(Finish, batch.finish_id)
    model = last_card(file, here.person.root, batch.finish_id)
    coats = file.all(Coat)
    ends = pot_life_ends(batch)
    batches = sorted(
        (b for b in file.all(Batch) if b.role.gives_colour), key=lambda b: b.number, reverse=True
    )
    gone = [card for card in file.all(Card) if whereabouts(file, card).place == "missing"]
    start = _start(here, file, batch, finish, model)
    if code:
        start["code"] = grouped(read_card_code(code))
    return CardNewPage(
        frame=frame,
        form=Filled(form=form, start=start),
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        batch=batch,
        finish=finish,
        like=model.code if model else "",
        fresh=form.value("fresh") or new_card_code(),
        kinds=(
            Option(CardKind.RETENTION, "Retention", "sprayed with the panel, kept in the rack"),
            Option(CardKind.TRIAL, "Trial", "sprayed before the car"),
        ),
        hung=options_of(Hung),
        marks=(
            Option(HidingMark.COVERED, "Covered", "black and white cannot be told apart"),
            Option(HidingMark.SHOWS_THROUGH, "Shows through"),
            Option(HidingMark.NONE, "The card has none"),
        ),
        zones=tuple(Option(state, zone.name) for state, zone in ZONES.items()),
        steps=(
            Option("", "None"),
            *(Option(str(n), f"{n} steps") for n in range(3, MOST_STEPS + 1)),
        )
        if finish.kind is FinishKind.TRI_COAT
        else (),
        batches=tuple(Option(b.root, f"Batch {b.number}", b.role) for b in batches[:40]),
        roles=options_of(CoatRole, leave_out=(CoatRole.CLEAR,)),
        groups=range(GROUPS),
        missing=(
            Option("", "No card"),
            *(Option(card.root, grouped(card.code)) for card in gone),
        )
        if gone
        else (),
        guns=used(c.gun for c in coats),
        booths=used(c.booth for c in coats),
        substrates=used(c.substrate for c in file.all(Card)),
        pot_life_over=ends is not None and ends < datetime.now(UTC),
        has_hardener=any(
            c.role is ComponentRole.HARDENER for c in file.by(Component, "batch_id", batch.root)
        ),
    )


def _start(
    here: PageContext, file: RecordFile, batch: Batch, finish: Finish, model: Card | None
) -> dict[str, str | tuple[str, ...]]:
    start: dict[str, str | tuple[str, ...]] = {
        "kind": CardKind.RETENTION.value,
        "hung": Hung.UPRIGHT.value,
        "ground_shade": finish.ground_shade,
        "coats.0.batch_id": batch.root,
        "coats.0.role": batch.role.value,
    }
    own = newest(file.by(Coat, "batch_id", batch.root), here.person.root)
    if model is None:
        return {**start, **start_of_set_up(own)}
    sprayed = newest(file.by(Coat, "card_id", model.root))
    for name in ("kind", "hung", "hiding_mark", "substrate", "ground_shade"):
        start[name] = typed(getattr(model, name))
    if model.slot:
        start["slot"] = next_slot(model.slot, lambda slot: _is_taken(here, slot))
    groups = sorted(coat_groups(file, model), key=lambda group: group[0] != model.batch_id)
    for row, (batch_id, role, count) in enumerate(groups[:GROUPS]):
        # What came from the last card's own pot comes from this one's now.
        same = batch_id == model.batch_id
        start[f"coats.{row}.batch_id"] = batch.root if same else batch_id
        start[f"coats.{row}.role"] = batch.role.value if same else role.value
        start[f"coats.{row}.coats"] = str(count)
    zones = file.by(Zone, "card_id", model.root)
    start["zone_states"] = tuple(zone.state.value for zone in zones)
    steps = [zone.mid_coats for zone in zones if zone.mid_coats is not None]
    start["steps"] = str(max(steps)) if steps else ""
    return {**start, **start_of_set_up(own or sprayed)}


def _is_taken(here: PageContext, slot: str) -> bool:
    """Whether a card hangs in a slot, or has it kept free."""
    return bool(here.queries.cards(CardSearch(slot=slot), limit=1).lines)

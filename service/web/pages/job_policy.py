"""What a finish is held to: its limits, angles, risk, and how like with like is graded."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.comparability import GRADES, LEAST, Grade
from service.domain.lookups import policy_in_force
from service.domain.record_file import RecordFile
from service.domain.records.job import Finish, Job, Policy
from service.domain.refused import Invalid, Refused
from service.use_cases.job import Limits, SetPolicy
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Gathering, Option, typed, words
from service.web.pages.bench_views import person_name
from service.web.pages.job_policy_angles import (
    LIMIT,
    angle_limits_of,
    angles_asked,
    ready_sets,
    required_of,
    start_of_angles,
)

router = APIRouter()
_PATH = "/jobs/{job_id}/finishes/{finish_id}/limits"
page_rules({("GET", _PATH): SetPolicy, ("POST", _PATH): SetPolicy})

LIMITS = (
    ("limit_master", "Against the master"),
    ("limit_butt", "At a butt joint"),
    ("limit_gap", "At a panel gap"),
    ("limit_fade", "At a fade"),
    ("limit_within", "Within a panel"),
)
GRADE_OPTIONS = (
    Option(Grade.STOPS, "Stops the comparison"),
    Option(Grade.ONLY_CANNOT_TELL, "Only cannot tell"),
    Option(Grade.NOTED, "Noted"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReasonAsked:
    """One reason against a comparison, to be graded; how much it may weigh."""

    code: str
    name: str
    grades: tuple[Option, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyEditPage:
    """The limits in force as a form; what is saved holds from then on."""

    frame: Frame
    form: Filled
    job: Job
    finish: Finish
    job_href: str
    since: Policy
    author: str
    limits: tuple[tuple[str, str], ...]
    angle_sets: tuple[Option, ...]
    angles: tuple[int, ...]
    angles_open: bool
    lights: tuple[Option, ...]
    reasons: tuple[ReasonAsked, ...]
    reasons_wrong: bool


@router.get(_PATH, name="policy_edit")
def policy_edit(here: Here, job_id: str, finish_id: str) -> Response:
    """The form, with what is in force."""
    file = here.store.job(job_id)
    return here.render("job_policy.html", _page(here, file, finish_id, here.frame("audit"), Form()))


@router.post(_PATH, name="policy_edit")
def policy_edit_now(here: Here, form: SentForm, job_id: str, finish_id: str) -> Response:
    """Put new limits in force."""
    file = here.store.job(job_id)
    try:
        here.perform(_command(form, file, finish_id))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "job_policy.html",
            lambda frame: _page(here, file, finish_id, frame, form),
            "audit",
        )
    return here.see_other("job", job_id=job_id)


def _command(form: Form, file: RecordFile, finish_id: str) -> SetPolicy:
    gathering = Gathering(form)
    policy, finish = policy_in_force(file, finish_id), file.get(Finish, finish_id)
    given = {
        "required_angles": gathering.take(lambda: required_of(form, policy, finish), ()),
        "angle_limits": angle_limits_of(form, gathering),
        "lights": gathering.take(lambda: _lights(form), ()),
        "risk": gathering.take(lambda: _risk(form), 0.05),
        "grades": _grades(form),
        "widening": {
            code: figure
            for code in GRADES
            if (figure := gathering.take(partial(_widening, form, code), 0.0))
        },
    }
    limits = gathering.take(lambda: form.read(Limits, "", given), Limits())
    why = gathering.take(lambda: _why(form), "")
    fixed = {"job_id": file.chain, "finish_id": finish_id, "limits": limits, "why": why}
    command = gathering.take(lambda: form.read(SetPolicy, "", fixed), None)
    gathering.done()
    assert command is not None, "nothing was refused"
    return command


def _why(form: Form) -> str:
    if not form.value("why"):
        raise Invalid("why", "A new limit needs a reason. Say where it comes from.")
    return form.value("why")


def _lights(form: Form) -> tuple[str, ...]:
    """The lights that were ticked; none is an answer too."""
    from colour.lights import illuminant_name

    try:
        return tuple(dict.fromkeys(illuminant_name(light) for light in form.values("lights")))
    except ValueError as error:
        raise Invalid("lights", str(error)) from error


def _widening(form: Form, code: str) -> float:
    """By how much a noted reason widens the uncertainty, 0 when nothing was typed."""
    number = form.number(f"widening.{code}") or 0.0
    if not 0 <= number <= 5:
        raise Invalid(f"widening.{code}", f"It cannot widen by {number:g}. Enter 0 to 5.")
    return number


def _risk(form: Form) -> float:
    """The risk as a share; it is typed in per cent."""
    percent = form.number("risk_percent")
    if percent is None or not 0.1 <= percent <= 25:
        shown = "" if percent is None else f", not {percent:g} %"
        raise Invalid("risk_percent", f"The risk lies between 0.1 % and 25 %{shown}. Enter it.")
    return percent / 100


def _grades(form: Form) -> dict[str, str]:
    """The reasons graded otherwise than the shop starts with."""
    chosen = {code: form.value(f"grade.{code}", grade) for code, grade in GRADES.items()}
    return {code: grade for code, grade in chosen.items() if grade and grade != GRADES[code]}


def _page(
    here: PageContext, file: RecordFile, finish_id: str, frame: Frame, form: Form
) -> PolicyEditPage:
    policy = policy_in_force(file, finish_id)
    finish = file.get(Finish, finish_id)
    start: dict[str, str | tuple[str, ...]] = {
        name: typed(getattr(policy, name))
        for name in (
            *(name for name, _ in LIMITS),
            "limit_origin",
            "planned_looks",
            "card_to_panel",
        )
    }
    start["risk_percent"] = typed(policy.risk * 100)
    start["lights"] = policy.lights
    start |= start_of_angles(policy, finish)
    for code, grade in GRADES.items():
        start[f"grade.{code}"] = str(policy.grades.get(code, grade))
        start[f"widening.{code}"] = typed(policy.widening.get(code))
    filled = Filled(form=form, start=start)
    angles = angles_asked(form, policy)
    return PolicyEditPage(
        frame=frame,
        form=filled,
        job=file.get(Job, file.chain),
        finish=finish,
        job_href=here.link("job", job_id=file.chain),
        since=policy,
        author=person_name(here.store.shop(), policy.author_id),
        limits=LIMITS,
        angle_sets=ready_sets(finish),
        angles=angles,
        angles_open=bool(policy.required_angles)
        or any(filled.value(f"{LIMIT}{angle}") for angle in angles)
        or filled.wrong("angle_limits"),
        lights=_light_options(policy),
        reasons=tuple(
            ReasonAsked(code=code, name=words(code), grades=_grade_options(code)) for code in GRADES
        ),
        reasons_wrong=filled.wrong("grades", *(f"widening.{code}" for code in GRADES)),
    )


def _light_options(policy: Policy) -> tuple[Option, ...]:
    """Every light whose weights are known, each with where it is met."""
    from colour.lights import ILLUMINANTS
    from colour.metamerism import place_words

    named = dict.fromkeys((*ILLUMINANTS, *policy.lights))
    return tuple(Option(name, name, place_words(name)) for name in named)


def _grade_options(code: str) -> tuple[Option, ...]:
    """The grades a reason may have; a missing angle is never only noted."""
    least = LEAST.get(code)
    upto = len(GRADE_OPTIONS) if least is None else list(Grade).index(least) + 1
    return GRADE_OPTIONS[:upto]

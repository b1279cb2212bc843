"""The audit: would an open job show a joint, what drifts, what is missing; on one page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.ageing import DUE_MONTHS, months_before
from service.domain.findings import Finding, Weight, findings_of
from service.domain.instrument_findings import InstrumentFinding, instrument_findings
from service.domain.lines import BatchLine, CardLine
from service.domain.lookups import the_job
from service.domain.moment import from_text
from service.domain.record_file import RecordFile
from service.domain.records.job import Finish
from service.domain.terms import Role
from service.use_cases.queries import (
    Audit,
    BatchFilter,
    CardSearch,
    FinishSpread,
    JobSummary,
    WordCounts,
)
from service.web.access import Rule, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.forms import Form
from service.web.pages.audit_drift import (
    Factor,
    MostShown,
    deviations_of,
    factors_of,
    most_that_shows,
)
from service.web.pages.audit_filters import (
    Choices,
    address,
    applied,
    choices,
    narrowed,
    read_filter,
)
from service.web.pages.bench_views import Action, FindingShown, finding_shown, person_name

router = APIRouter()
page_rules({("GET", "/audit"): Rule(frozenset({Role.MANAGER}), "see the audit")})

OPEN_JOBS = 200
JOBS_LOOKED_INTO = 12
FINDINGS_OF_A_JOB = 4
FINISHES = 12
CARDS = 12
BATCHES = 40
LATEST = 200
"""Batches among which products, lots, booths, guns and painters are compared."""

ANSWERS = (
    ("joints_show", Weight.SHOWS, True, "joints_show"),
    ("batches_show", Weight.SHOWS, False, "shows"),
    ("not_comparable", Weight.NOT_COMPARABLE, None, "not_comparable"),
    ("cannot_tell", Weight.CANNOT_TELL, None, "cannot_tell"),
    ("missing", Weight.MISSING, None, "gaps"),
)
"""What the heading can say, worst first: the findings it counts in the files that were looked
into, and the figure of the list for open jobs that were not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """The answer in figures; ``kind`` says which of them it is about."""

    kind: str
    count: int = 0
    jobs: int = 0
    open_jobs: int = 0
    more: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLookedInto:
    """An open job with the worst of what was found on it."""

    name: str
    work_order: str
    href: str
    release_href: str
    findings: tuple[FindingShown, ...]
    left: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """How many stand how; the address narrows the view to them, empty when it cannot."""

    word: str
    count: int
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishListed:
    """A finish with its spread."""

    spread: FinishSpread
    href: str
    only_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardAway:
    """A card that is not in its slot."""

    line: CardLine
    href: str
    holder: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchListed:
    """A batch in spray order."""

    line: BatchLine
    href: str
    verdict_href: str
    job: str
    job_href: str
    finish: str
    painter: str
    sprayed_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditPage:
    """Everything on one page; with a filter, only of the batches that fit."""

    frame: Frame
    form: Form
    choices: Choices
    applied: tuple[Action, ...]
    headline: Headline
    jobs: tuple[JobLookedInto, ...]
    jobs_left: int
    of_batches: tuple[Counted, ...]
    of_joints: tuple[Counted, ...]
    gaps: int
    joint_gaps: int
    accepted: int
    joints_accepted: int
    cards_out: int
    cards_missing: int
    away: tuple[CardAway, ...]
    rack_out_href: str
    rack_missing_href: str
    compared: int
    factors: tuple[Factor, ...]
    most: MostShown | None
    finishes: tuple[FinishListed, ...]
    batches: tuple[BatchListed, ...]
    next_href: str
    first_href: str
    csv_href: str
    shop_book_href: str
    journal_href: str
    due: int
    due_href: str
    instruments: tuple[InstrumentFinding, ...]
    moved_href: str


@router.get("/audit", name="audit")
def audit(here: Here, after: str = "") -> Response:
    """The entrance of the manager; the filters stand in the address."""
    filter, form = read_filter(here.request)
    refused = bool(form.errors)
    page = audit_page(here, filter, form, after, refused)
    return here.render("audit.html", page, 422 if refused else 200)


def audit_page(
    here: PageContext, filter: BatchFilter, form: Form, after: str, refused: bool
) -> AuditPage:
    """Everything the page shows."""
    found = here.queries.audit(filter, finishes=FINISHES)
    whole = filter == BatchFilter()
    open_jobs, more = _open_jobs(here)
    files = _files(here, open_jobs)
    lines = here.queries.batches(filter, after=after or None, limit=BATCHES)
    # The list itself is enough when it is whole: a rare lot costs a search each time.
    alone = lines.after is None and not after
    latest = lines if alone else here.queries.batches(filter, limit=LATEST)
    judged = deviations_of(latest.lines)
    shop = here.store.shop()
    factors = factors_of(
        judged, shop, lambda field, value: narrowed(here, filter, **{field: value})
    )
    return AuditPage(
        frame=here.frame("audit", refused=refused),
        form=form,
        choices=choices(here, filter),
        applied=applied(here, filter),
        headline=_headline(found, open_jobs, files, more) if whole else _of_filter(found),
        jobs=tuple(_looked_into(here, file) for file in files) if whole else (),
        jobs_left=max(0, sum(map(_has_trouble, open_jobs)) - len(files)),
        of_batches=tuple(_counted(here, filter, found.batches)),
        of_joints=tuple(_counted(here, None, found.joints)),
        gaps=found.batches.gap,
        joint_gaps=found.joints.gap,
        accepted=found.batches.accepted,
        joints_accepted=found.joints.accepted,
        cards_out=found.cards_out,
        cards_missing=found.cards_missing,
        away=tuple(_away(here, shop, found)) if whole else (),
        rack_out_href=here.link("rack", whereabouts="out"),
        rack_missing_href=here.link("rack", whereabouts="missing"),
        compared=len(judged),
        factors=factors,
        most=most_that_shows(factors),
        finishes=tuple(_finish(here, filter, spread) for spread in found.finishes),
        batches=tuple(_listed(here, shop, lines.lines)),
        next_href=address(here, filter, after=lines.after) + "#batches" if lines.after else "",
        first_href=address(here, filter) + "#batches" if after else "",
        csv_href=address(here, filter, "audit_csv"),
        shop_book_href=here.link("shop_book"),
        journal_href=here.link("shop_journal"),
        due=here.queries.due_counts(read_before=months_before(datetime.now(UTC), DUE_MONTHS)).all
        if whole
        else 0,
        due_href=here.link("audit_due"),
        instruments=tuple(instrument_findings(here.store.shop(), datetime.now(UTC))),
        moved_href=here.link("audit_moved"),
    )


def _open_jobs(here: PageContext) -> tuple[Sequence[JobSummary], bool]:
    """The open jobs, the most that would show first; whether there are more of them."""
    page = here.queries.jobs(open_only=True, limit=OPEN_JOBS)
    return sorted(page.lines, key=_trouble, reverse=True), page.after is not None


def _trouble(summary: JobSummary) -> tuple[int, int, int, int]:
    unsure = summary.not_comparable + summary.cannot_tell
    return summary.joints_show, summary.shows, unsure, summary.gaps


def _has_trouble(summary: JobSummary) -> bool:
    return any(_trouble(summary))


def _files(here: PageContext, open_jobs: Sequence[JobSummary]) -> list[RecordFile]:
    """The files of the open jobs that want a look most."""
    wanted = [summary for summary in open_jobs if _has_trouble(summary)]
    return [here.store.job(summary.line.id) for summary in wanted[:JOBS_LOOKED_INTO]]


def _headline(
    found: Audit, open_jobs: Sequence[JobSummary], files: Sequence[RecordFile], more: bool
) -> Headline:
    """What the open jobs would show: what a manager accepted is settled and not counted."""
    if not open_jobs:
        anything = any((found.batches.blends, found.batches.shows, found.finishes))
        return Headline(kind="none_open" if anything else "nothing")
    findings = [findings_of(file) for file in files]
    looked_into = {file.chain for file in files}
    rest = [summary for summary in open_jobs if summary.line.id not in looked_into]
    for kind, weight, on_joint, field in ANSWERS:
        counts = [_count(of_job, weight, on_joint) for of_job in findings]
        counts += [getattr(summary, field) for summary in rest]
        if any(counts):
            return Headline(
                kind=kind,
                count=sum(counts),
                jobs=sum(count > 0 for count in counts),
                open_jobs=len(open_jobs),
                more=more,
            )
    return Headline(kind="in_order", open_jobs=len(open_jobs), more=more)


def _count(found: Iterable[Finding], weight: Weight, on_joint: bool | None) -> int:
    return sum(
        one.weight is weight and on_joint in (None, one.joint_id is not None) for one in found
    )


def _of_filter(found: Audit) -> Headline:
    counts = found.batches
    if not any((*(getattr(counts, name) for name in WordCounts.__slots__), found.finishes)):
        return Headline(kind="none_fits")
    return Headline(kind="filtered", count=counts.shows)


def _looked_into(here: PageContext, file: RecordFile) -> JobLookedInto:
    found = [one for one in findings_of(file) if one.stands_against_release]
    job = the_job(file)
    return JobLookedInto(
        name=job.title,
        work_order=job.work_order,
        href=here.link("job", job_id=file.chain),
        release_href=here.link("release_new", job_id=file.chain),
        findings=tuple(finding_shown(here, file, one) for one in found[:FINDINGS_OF_A_JOB]),
        left=max(0, len(found) - FINDINGS_OF_A_JOB),
    )


def _counted(
    here: PageContext, filter: BatchFilter | None, counts: WordCounts
) -> Iterable[Counted]:
    for word in ("shows", "not_comparable", "cannot_tell", "blends"):
        count = getattr(counts, word)
        href = narrowed(here, filter, word=word) + "#batches" if filter and count else ""
        yield Counted(word=word, count=count, href=href)


def _finish(here: PageContext, filter: BatchFilter, spread: FinishSpread) -> FinishListed:
    return FinishListed(
        spread=spread,
        href=here.link("finish", job_id=spread.job_id, finish_id=spread.finish_id),
        only_href=narrowed(here, filter, finish_id=spread.finish_id),
    )


def _away(here: PageContext, shop: RecordFile, found: Audit) -> Iterable[CardAway]:
    """Cards that are missing, then those that are out."""
    for place, count in (("missing", found.cards_missing), ("out", found.cards_out)):
        if not count:
            continue
        for line in here.queries.cards(CardSearch(whereabouts=place), limit=CARDS).lines:
            yield CardAway(
                line=line,
                href=here.link("card", code=line.code),
                holder=person_name(shop, line.holder_id) if line.holder_id else "",
            )


def _listed(
    here: PageContext, shop: RecordFile, lines: Iterable[BatchLine]
) -> Iterable[BatchListed]:
    files: dict[str, RecordFile] = {}
    for line in lines:
        file = files.get(line.job_id)
        if file is None:
            file = files[line.job_id] = here.store.job(line.job_id)
        finish = file.find(Finish, line.finish_id)
        ids = {"job_id": line.job_id}
        yield BatchListed(
            line=line,
            href=here.link("batch", batch_id=line.id, **ids),
            verdict_href=here.link("verdict", verdict_id=line.verdict_id, **ids)
            if line.verdict_id
            else "",
            job=the_job(file).work_order,
            job_href=here.link("job", **ids),
            finish=finish.name if finish is not None else "",
            painter=person_name(shop, line.painter_id),
            sprayed_at=from_text(line.sprayed_at),
        )

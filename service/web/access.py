"""Who may do what over HTTP: the one table of roles and routes, and the check that holds it.

A route that is not in the table is refused to everybody, so a new one is closed until somebody
writes down who may use it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from starlette.requests import Request

from service.domain.refused import NotAllowed, Refused
from service.domain.terms import Role
from service.use_cases.all_verbs import VERBS
from service.use_cases.command import EVERYONE, Command
from service.use_cases.sign_in import Visitor
from service.web.security import visitor_of


@dataclass(frozen=True, slots=True)
class Rule:
    """Who may use a route; ``doing`` finishes the sentence "Only a manager may ..."."""

    roles: frozenset[Role]
    doing: str = "see this"
    public: bool = False


PUBLIC = Rule(frozenset(), public=True)
ANYBODY_HERE = Rule(frozenset(EVERYONE))
MANAGERS = Rule(frozenset({Role.MANAGER}))

Route = tuple[str, str]
"""Method and path, the path as it was registered."""

READS: Mapping[str, Rule] = {
    "/api/jobs": ANYBODY_HERE,
    "/api/jobs/by-work-order/{work_order}": ANYBODY_HERE,
    "/api/jobs/{job_id}": ANYBODY_HERE,
    "/api/jobs/{job_id}/batches/{batch_id}": ANYBODY_HERE,
    "/api/jobs/{job_id}/readings/{reading_id}": ANYBODY_HERE,
    "/api/cards": ANYBODY_HERE,
    "/api/cards/{code}": ANYBODY_HERE,
    "/api/card-codes": ANYBODY_HERE,
    "/api/nearest": ANYBODY_HERE,
    "/api/compare": ANYBODY_HERE,
    "/api/batches": ANYBODY_HERE,
    "/api/due": ANYBODY_HERE,
    "/api/due.csv": ANYBODY_HERE,
    "/api/moved": ANYBODY_HERE,
    "/api/values/{field}": ANYBODY_HERE,
    "/api/instruments": ANYBODY_HERE,
    "/api/check-tiles": ANYBODY_HERE,
    "/api/products": ANYBODY_HERE,
    "/api/photo-targets": ANYBODY_HERE,
    "/api/people": ANYBODY_HERE,
    "/api/me": ANYBODY_HERE,
    "/api/photos/{sha256}": ANYBODY_HERE,
    "/api/audit": MANAGERS,
    "/api/audit.csv": MANAGERS,
    "/api/journal/{chain}": MANAGERS,
}
"""Reading, by path; all with GET."""

OTHERS: Mapping[Route, Rule] = {
    ("GET", "/healthz"): PUBLIC,
    ("GET", "/openapi.json"): PUBLIC,
    ("GET", "/sign-in"): PUBLIC,
    ("POST", "/sign-in"): PUBLIC,
    ("GET", "/set-up/{token}"): PUBLIC,
    ("POST", "/set-up/{token}"): PUBLIC,
    ("POST", "/sign-out"): ANYBODY_HERE,
    ("GET", "/"): ANYBODY_HERE,
    ("GET", "/person"): ANYBODY_HERE,
    ("POST", "/person/password"): ANYBODY_HERE,
    ("PUT", "/api/photos/{sha256}"): ANYBODY_HERE,
    ("POST", "/api/photo-readings"): ANYBODY_HERE,
    ("POST", "/api/readings-files"): ANYBODY_HERE,
}
"""Everything that is neither a verb nor a plain read."""

PAGES: dict[Route, Rule | type[Command]] = {}
"""The pages, filled by ``page_rules``; a form that sends a command may name the command."""


def write_path(kind: type[Command]) -> str:
    """Path of the API route of a verb: log_card is /api/log-card."""
    return f"/api/{VERBS[kind].name.replace('_', '-')}"


def page_rules(rules: Mapping[Route, Rule | type[Command]]) -> None:
    """Add the rules of a family of pages; each page module calls it once, beside its router."""
    PAGES.update(rules)


def rule_of_verb(kind: type[Command]) -> Rule:
    """The rule of a verb: the roles it was registered with."""
    return Rule(VERBS[kind].roles, VERBS[kind].doing)


def access_table() -> dict[Route, Rule]:
    """The whole table."""
    table: dict[Route, Rule] = {("POST", write_path(kind)): rule_of_verb(kind) for kind in VERBS}
    table.update({("GET", path): rule for path, rule in READS.items()})
    table.update(OTHERS)
    for route, rule in PAGES.items():
        table[route] = rule if isinstance(rule, Rule) else rule_of_verb(rule)
    return table


class NotInTable(Refused):
    """A route nobody wrote a rule for."""

    def __init__(self, method: str, path: str) -> None:
        super().__init__(
            f"Nobody may use {method} {path}, because it is not in the table of routes. "
            "This is a fault in the program; report it."
        )


async def check_access(request: Request) -> Visitor | None:
    """Let a request through or refuse it; who it comes from, None on a public route.

    Every route of the application depends on it.
    """
    method = "GET" if request.method == "HEAD" else request.method
    path: str = request.scope["route"].path
    table: Mapping[Route, Rule] = request.app.state.access_table
    rule = table.get((method, path))
    if rule is None:
        raise NotInTable(method, path)
    if rule.public:
        return None
    visitor = await visitor_of(request)
    if not visitor.roles & rule.roles:
        raise NotAllowed(rule.doing, tuple(sorted(rule.roles)))
    request.state.visitor = visitor
    return visitor

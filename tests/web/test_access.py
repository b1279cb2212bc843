"""Who may what: every role at every route, and no route without a rule."""

import re

import pytest
from fastapi.routing import APIRoute
from starlette.routing import Mount, Route

from service.domain.terms import Role
from service.use_cases.all_verbs import VERBS
from service.web.access import PUBLIC, access_table, write_path
from tests.web_shop import SAME_ORIGIN, WebShop, new_id

SHOP = WebShop()
TABLE = access_table()
PROGRAMS = {role: SHOP.program(role) for role in Role}
BROWSERS = {role: SHOP.browser(role) for role in Role}
STRANGER = SHOP.stranger(headers=SAME_ORIGIN)

# Served by Starlette itself, outside the check: the schema of this program, and its style sheets.
UNCHECKED = {("GET", "/openapi.json"), ("GET", "/static")}


def routes_of(routes):
    """Every route of the application, also within the routers it includes."""
    for route in routes:
        inner = getattr(route, "original_router", None)
        if inner is not None:
            yield from routes_of(inner.routes)
        else:
            yield route


def served():
    """Method and path of everything the application serves."""
    for route in routes_of(SHOP.app.routes):
        if isinstance(route, Mount):
            yield "GET", route.path
        else:
            assert isinstance(route, Route), f"{route} is of no known kind"
            yield from ((method, route.path) for method in route.methods - {"HEAD"})


def test_every_route_is_in_the_table():
    for route in served():
        assert route in TABLE or route in UNCHECKED, (
            f"{route} has no rule; name it in service/web/access.py or by page_rules"
        )


def test_the_table_names_no_route_that_is_no_more():
    assert set(TABLE) <= set(served()) | UNCHECKED


def test_only_these_are_open_to_everybody():
    assert {route for route, rule in TABLE.items() if rule is PUBLIC or rule.public} == {
        ("GET", "/healthz"),
        ("GET", "/openapi.json"),
        ("GET", "/sign-in"),
        ("POST", "/sign-in"),
        ("GET", "/set-up/{token}"),
        ("POST", "/set-up/{token}"),
        ("GET", "/trust"),
        ("GET", "/trust/authority.crt"),
    }


def test_a_verb_is_open_to_the_roles_it_was_registered_with():
    for kind, verb in VERBS.items():
        assert TABLE["POST", write_path(kind)].roles == verb.roles


def address(path):
    return re.sub(r"\{[^}]+\}", "x", path)


ROUTES = sorted(TABLE)
CHECKED = [route for route in ROUTES if not TABLE[route].public]
# Signing out would end the session the other cases use; test_security.py tries it.
LASTING = [route for route in CHECKED if route != ("POST", "/sign-out")]


def ids(route):
    return f"{route[0]} {route[1]}"


@pytest.mark.parametrize("route", LASTING, ids=ids)
@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("kind", ["program", "browser"])
def test_each_role_comes_through_where_it_may_and_nowhere_else(route, role, kind):
    method, path = route
    client = (PROGRAMS if kind == "program" else BROWSERS)[role]
    answer = client.request(method, address(path))
    if role in TABLE[route].roles:
        assert answer.status_code not in (401, 403, 500), answer.text
    else:
        assert answer.status_code == 403, answer.text
        assert "Only a" in answer.text


@pytest.mark.parametrize("route", CHECKED, ids=ids)
def test_a_stranger_comes_through_nowhere(route):
    method, path = route
    answer = STRANGER.request(method, address(path))
    if path.startswith("/api/"):
        assert answer.status_code == 401, answer.text
    else:
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/sign-in")


def test_a_route_nobody_wrote_a_rule_for_is_refused_even_to_a_manager():
    shop = WebShop()

    @shop.app.get("/forgotten")
    def forgotten():
        return "never seen"

    assert isinstance(shop.app.routes[-1], APIRoute)
    answer = shop.program(Role.MANAGER).get("/forgotten")
    assert answer.status_code == 403
    assert "not in the table" in answer.text


def test_roles_are_checked_again_where_the_change_is_made():
    """A rule written wrongly in the table does not open the record."""
    shop = WebShop()
    shop.app.state.access_table[("POST", "/api/add-person")] = TABLE["POST", "/api/open-job"]
    answer = shop.program(Role.PAINTER).post(
        "/api/add-person", json={"id": new_id(), "name": "Nell", "roles": ["manager"]}
    )
    assert answer.status_code == 403
    assert "Only a manager may add a person" in answer.json()["detail"]


def test_somebody_who_left_comes_in_no_more():
    shop = WebShop()
    program, browser = shop.program(Role.PAINTER), shop.browser(Role.PAINTER)
    assert program.get("/api/me").status_code == browser.get("/api/me").status_code == 200
    gone = shop.program(Role.MANAGER).post(
        "/api/correct-shop",
        json={
            "id": new_id(),
            "table": "people",
            "record_id": shop.people[Role.PAINTER],
            "why": "left the shop",
            "withdraw": True,
        },
    )
    assert gone.status_code == 201
    assert program.get("/api/me").status_code == browser.get("/api/me").status_code == 401


def test_a_role_taken_away_is_gone_at_once():
    shop = WebShop()
    program = shop.program(Role.PAINTER)
    assert program.get("/api/me").status_code == 200
    changed = shop.program(Role.MANAGER).post(
        "/api/correct-shop",
        json={
            "id": new_id(),
            "table": "people",
            "record_id": shop.people[Role.PAINTER],
            "why": "works at the rack now",
            "changes": {"roles": ["refinisher"]},
        },
    )
    assert changed.status_code == 201
    assert program.get("/api/me").status_code == 401

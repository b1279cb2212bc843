"""Errors: each refusal has a status, each answer the form of RFC 9457, and nothing leaks."""

import importlib
import logging
import pkgutil

import pytest

import service
from service.domain.refused import Refused
from service.domain.terms import Role
from service.use_cases.sign_in import TooManyTries
from service.web.refusals import STATUS, TITLES, headers_of, status_of
from tests.web_shop import new_id


def every_refusal():
    """All subclasses of Refused, after every module of the service was read."""
    for module in pkgutil.walk_packages(service.__path__, "service."):
        if ".migrations" not in module.name:
            importlib.import_module(module.name)
    waiting, found = [Refused], []
    while waiting:
        kinds = [k for k in waiting.pop().__subclasses__() if k.__module__.startswith("service.")]
        found += kinds
        waiting += kinds
    return found


def test_every_refusal_of_the_service_has_a_status():
    kinds = every_refusal()
    assert len(kinds) > 15
    named = {kind.__name__ for kind in kinds}
    for kind in kinds:
        names = [base.__name__ for base in kind.__mro__]
        assert any(name in STATUS for name in names), (
            f"{kind.__module__}.{kind.__name__} has no HTTP status. "
            "Name it, or a base of it, in service/web/refusals.py."
        )
    assert set(STATUS) <= named, "the table names refusals that are no more"
    assert len(named) == len({(k.__module__, k.__name__) for k in kinds}), (
        "two refusals share a name, and the table goes by names"
    )


def test_a_refusal_answers_as_its_nearest_named_base():
    from service.use_cases.closing import StillOpen

    assert status_of(StillOpen(["One."])) == STATUS["OutOfOrder"]


def test_every_status_in_use_has_its_name_of_rfc_9110():
    """RFC 9110, 15.5: the reason phrases that differ from Python 3.11's http.HTTPStatus."""
    assert set(STATUS.values()) <= set(TITLES)
    assert TITLES[422] == "Unprocessable Content"
    assert TITLES[413] == "Content Too Large"


ERRORS = {
    "signed out": ("GET", "/api/jobs", None, 401),
    "not in this role": ("POST", "/api/add-person", {"id": "x"}, 403),
    "unknown path": ("GET", "/api/nothing", None, 404),
    "unknown job": ("GET", f"/api/jobs/{'0' * 36}", None, 404),
    "wrong method": ("DELETE", "/api/jobs", None, 405),
    "wrong body": ("POST", "/api/open-job", {}, 422),
    "wrong query": ("GET", "/api/jobs?limit=x", None, 422),
}


@pytest.mark.parametrize(("method", "path", "body", "status"), ERRORS.values(), ids=ERRORS)
def test_errors_have_the_form_of_rfc_9457(web_shop, method, path, body, status):
    """RFC 9457, 3.1: type, title, status, detail; with about:blank the title is the phrase."""
    client = web_shop.stranger() if status == 401 else web_shop.program(Role.PAINTER)
    answer = client.request(method, path, json=body)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"] == "about:blank"
    assert problem["title"] == TITLES[status]
    assert problem["status"] == status
    assert problem["detail"].endswith(".")


def test_a_401_names_its_scheme(web_shop):
    """RFC 9110, 15.5.2: a 401 must carry WWW-Authenticate."""
    assert web_shop.stranger().get("/api/jobs").headers["www-authenticate"] == "Bearer"


def test_a_405_names_what_is_allowed(manager):
    """RFC 9110, 15.5.6: a 405 must carry Allow."""
    assert manager.delete("/api/jobs").headers["allow"] == "GET"


def test_a_wait_is_told_in_seconds():
    """RFC 9110, 10.2.3: Retry-After."""
    assert headers_of(TooManyTries(2.3)) == {"Retry-After": "3"}


def test_a_fault_shows_a_reference_and_nothing_of_the_inside(web_shop, manager, caplog):
    def broken(job_id):
        raise RuntimeError("secret detail of the inside")

    web_shop.store.job = broken
    with caplog.at_level(logging.ERROR, logger="keepcard"):
        answer = manager.get(f"/api/jobs/{new_id()}")
    assert answer.status_code == 500
    problem = answer.json()
    assert "secret" not in answer.text and "RuntimeError" not in answer.text
    assert problem["reference"] in problem["detail"]
    assert problem["reference"] in caplog.text
    assert "secret detail of the inside" in caplog.text
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_a_fault_on_a_page_is_a_page(web_shop):
    browser = web_shop.browser()

    def broken():
        raise RuntimeError("secret detail of the inside")

    web_shop.sessions.kept.clear()
    web_shop.store.shop = broken
    web_shop.app.state.known_visitors.forget()
    browser.cookies.set("keepcard", "x")
    answer = browser.get("/person")
    assert answer.status_code == 500
    assert "text/html" in answer.headers["content-type"]
    assert "fault in the program" in answer.text
    assert "secret" not in answer.text

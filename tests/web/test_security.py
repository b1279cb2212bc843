"""Cookies, sessions, cross-site requests and headers."""

from datetime import timedelta
from http.cookies import SimpleCookie

import pytest

from service.domain.terms import Role
from service.use_cases import passwords
from service.use_cases.sign_in import IDLE, LONGEST, new_token
from service.web.access import access_table
from tests.web_shop import NAMES, PASSWORD, SAME_ORIGIN, new_id

SIGN_IN = {"name": NAMES[Role.PAINTER], "password": PASSWORD}


def cookie_of(answer):
    (morsel,) = SimpleCookie(answer.headers["set-cookie"]).values()
    return morsel


def test_the_session_cookie_is_out_of_reach_of_scripts_and_other_sites(web_shop):
    """RFC 6265bis, 4.1.2: HttpOnly and SameSite=Lax, for the whole host, no Domain."""
    cookie = cookie_of(web_shop.stranger().post("/sign-in", data=SIGN_IN))
    assert cookie.key == "keepcard"
    assert cookie["httponly"] is True
    assert cookie["samesite"].lower() == "lax"
    assert cookie["path"] == "/"
    assert cookie["domain"] == ""
    assert int(cookie["max-age"]) == LONGEST.total_seconds()


def test_over_https_the_cookie_has_the_prefix_and_what_the_prefix_asks_for(web_shop):
    """RFC 6265bis, 4.1.3.2: __Host- wants Secure, Path=/ and no Domain."""
    client = web_shop.stranger(base_url="https://shop.example")
    answer = client.post("/sign-in", data=SIGN_IN)
    cookie = cookie_of(answer)
    assert cookie.key == "__Host-keepcard"
    assert cookie["secure"] is True
    assert (cookie["path"], cookie["domain"]) == ("/", "")
    assert answer.headers["strict-transport-security"].startswith("max-age=")
    assert client.get("/api/me").status_code == 200


def test_over_https_a_cookie_without_the_prefix_counts_for_nothing(web_shop):
    token = web_shop.sessions.start(web_shop.people[Role.PAINTER], idle=IDLE, longest=LONGEST)
    client = web_shop.stranger(base_url="https://shop.example")
    client.cookies.set("keepcard", token)
    assert client.get("/api/me").status_code == 401


def test_each_sign_in_begins_a_new_session_and_ends_the_one_before(web_shop):
    """OWASP ASVS 5.0, 7.2.4: a new session token at every sign-in."""
    browser = web_shop.browser(Role.PAINTER)
    first = browser.cookies["keepcard"]
    browser.post("/sign-in", data=SIGN_IN)
    second = browser.cookies["keepcard"]
    assert first != second
    stale = web_shop.stranger()
    stale.cookies.set("keepcard", first)
    assert stale.get("/api/me").status_code == 401
    assert browser.get("/api/me").status_code == 200


def test_a_token_somebody_planted_is_not_taken_over(web_shop):
    """OWASP ASVS 5.0, 7.2.4 (session fixation)."""
    browser = web_shop.stranger(headers=SAME_ORIGIN)
    browser.cookies.set("keepcard", "planted", domain="testserver.local", path="/")
    browser.post("/sign-in", data=SIGN_IN)
    planted = web_shop.stranger()
    planted.cookies.set("keepcard", "planted")
    assert planted.get("/api/me").status_code == 401


def test_signing_out_ends_the_session_on_the_server(web_shop):
    """OWASP ASVS 5.0, 7.4.1: after sign-out the token is worth nothing."""
    browser = web_shop.browser(Role.PAINTER)
    token = browser.cookies["keepcard"]
    answer = browser.post("/sign-out")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    thief = web_shop.stranger()
    thief.cookies.set("keepcard", token)
    assert thief.get("/api/me").status_code == 401


def test_a_session_ends_after_half_a_day_unused(web_shop):
    browser = web_shop.browser(Role.PAINTER)
    web_shop.sessions.clock += timedelta(hours=11, minutes=59)
    web_shop.app.state.known_visitors.forget()
    assert browser.get("/api/me").status_code == 200
    web_shop.sessions.clock += timedelta(hours=12, minutes=1)
    web_shop.app.state.known_visitors.forget()
    assert browser.get("/api/me").status_code == 401


def test_a_session_ends_after_a_week_however_much_it_is_used(web_shop):
    browser = web_shop.browser(Role.PAINTER)
    for _ in range(14):
        assert browser.get("/api/me").status_code == 200
        web_shop.sessions.clock += timedelta(hours=11, minutes=59)
        web_shop.app.state.known_visitors.forget()
    web_shop.sessions.clock += timedelta(minutes=20)
    web_shop.app.state.known_visitors.forget()
    assert browser.get("/api/me").status_code == 401


@pytest.mark.parametrize(
    "header",
    [
        *("Basic Zm9vOmJhcg==", "Bearer", "Bearer ", "bearer wrong", "", "x"),
        pytest.param(f"Bearer {new_token()}", id="a token nobody was given"),
    ],
)
def test_a_header_that_is_no_good_token_lets_nobody_in(web_shop, header):
    client = web_shop.browser(Role.MANAGER)  # nor does the cookie beside it help
    answer = client.get("/api/me", headers={"Authorization": header})
    assert answer.status_code == 401


def test_the_scheme_of_a_token_is_read_in_any_case(web_shop):
    """RFC 9110, 11.1: the scheme is case-insensitive."""
    program = web_shop.program(Role.PAINTER)
    token = program.headers["Authorization"].partition(" ")[2]
    assert program.get("/api/me", headers={"Authorization": f"bEARER {token}"}).status_code == 200


# W3C Fetch Metadata Request Headers, 2.3: the values of Sec-Fetch-Site; RFC 6454 for Origin.
REFUSED = {
    "another site": {"Sec-Fetch-Site": "cross-site"},
    "a sister site": {"Sec-Fetch-Site": "same-site"},
    "an unknown value": {"Sec-Fetch-Site": "moon"},
    "another origin": {"Origin": "https://elsewhere.example"},
    "another port": {"Origin": "http://testserver:81"},
    "an opaque origin": {"Origin": "null"},
    "another site, whatever Origin says": {
        "Sec-Fetch-Site": "cross-site",
        "Origin": "http://testserver",
    },
    "neither": {},
}
TAKEN = {
    "this site": {"Sec-Fetch-Site": "same-origin"},
    "the address bar": {"Sec-Fetch-Site": "none"},
    "the same origin": {"Origin": "http://testserver"},
    "the same origin over a proxy's HTTPS": {"Origin": "https://testserver"},
}


def post_with(browser, headers):
    browser.headers.pop("Sec-Fetch-Site")
    body = {"id": new_id(), "work_order": "W-7", "title": "Van"}
    return browser.post("/api/open-job", json=body, headers=headers)


@pytest.mark.parametrize("headers", REFUSED.values(), ids=REFUSED)
def test_a_change_another_site_sends_is_refused(web_shop, headers):
    answer = post_with(web_shop.browser(Role.PAINTER), headers)
    assert answer.status_code == 403
    assert "another site" in answer.json()["detail"]
    assert not web_shop.store.jobs


@pytest.mark.parametrize("headers", TAKEN.values(), ids=TAKEN)
def test_a_change_sent_from_here_is_taken(web_shop, headers):
    assert post_with(web_shop.browser(Role.PAINTER), headers).status_code == 201


def test_a_sign_in_form_of_another_site_is_refused(web_shop):
    answer = web_shop.stranger().post(
        "/sign-in", data=SIGN_IN, headers={"Sec-Fetch-Site": "cross-site"}
    )
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_a_program_with_a_token_needs_no_such_header(web_shop):
    program = web_shop.program(Role.PAINTER)
    body = {"id": new_id(), "work_order": "W-7", "title": "Van"}
    assert program.post("/api/open-job", json=body).status_code == 201


def test_a_link_from_another_site_may_be_followed(web_shop):
    browser = web_shop.browser(Role.PAINTER)
    assert browser.get("/person", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200


def test_every_answer_carries_the_headers(web_shop):
    """OWASP ASVS 5.0, 3.4: policy, nosniff, referrer, opener; no-store by 14.3.2."""
    clients = [web_shop.stranger(), web_shop.browser(Role.MANAGER)]
    paths = {re_free(path) for method, path in access_table() if method == "GET"}
    for client in clients:
        for path in sorted(paths | {"/nothing/here", "/static/keepcard.css"}):
            headers = client.get(path).headers
            policy = headers["content-security-policy"]
            assert "default-src 'self'" in policy or "default-src 'none'" in policy, path
            assert "unsafe" not in policy and "*" not in policy, path
            assert headers["x-content-type-options"] == "nosniff", path
            assert headers["referrer-policy"] == "same-origin", path
            assert headers["cross-origin-opener-policy"] == "same-origin", path
            assert headers["cross-origin-resource-policy"] == "same-origin", path
            if not path.startswith("/static"):
                assert "no-store" in headers["cache-control"], path


def re_free(path):
    return path.replace("{", "").replace("}", "")


def test_the_policy_forbids_frames_plugins_bases_and_foreign_forms(web_shop):
    """CSP Level 3, 6: one directive each."""
    policy = web_shop.stranger().get("/sign-in").headers["content-security-policy"]
    directives = dict(part.strip().partition(" ")[::2] for part in policy.split(";"))
    assert directives == {
        "default-src": "'self'",
        "object-src": "'none'",
        "base-uri": "'none'",
        "frame-ancestors": "'none'",
        "form-action": "'self'",
    }


def test_style_sheets_may_be_kept_by_their_digest_and_nothing_private_is(web_shop):
    client = web_shop.stranger()
    named = client.get("/static/keepcard.css?v=1")
    assert "immutable" in named.headers["cache-control"]
    assert client.get("/static/keepcard.css").headers["cache-control"] == "no-cache"


def test_no_path_leads_out_of_the_static_folder(web_shop):
    client = web_shop.stranger()
    for path in ("/static/../filters.py", "/static/%2e%2e/filters.py", "/static//etc/passwd"):
        assert client.get(path).status_code == 404


@pytest.fixture
def looked_at(monkeypatch):
    """The hashes that passwords were checked against."""
    seen = []
    real = passwords.fits

    def fits(password_hash, password):
        seen.append(password_hash)
        return real(password_hash, password)

    monkeypatch.setattr(passwords, "fits", fits)
    return seen


def test_an_unknown_name_and_a_wrong_password_look_the_same(web_shop, looked_at):
    """OWASP ASVS 5.0, 6.3.8: neither text nor work tells which names there are."""
    unknown = web_shop.stranger().post("/sign-in", data={**SIGN_IN, "name": "Nobody"})
    wrong = web_shop.stranger().post("/sign-in", data={**SIGN_IN, "password": "x" * 20})
    assert unknown.status_code == wrong.status_code == 401
    assert unknown.text.replace("Nobody", NAMES[Role.PAINTER]) == wrong.text
    assert len(looked_at) == 2, "both cost one hash"


def test_after_five_wrong_passwords_the_right_one_has_to_wait_too(web_shop, looked_at):
    client = web_shop.stranger()
    for _ in range(5):
        client.post("/sign-in", data={**SIGN_IN, "password": "x" * 20})
    answer = client.post("/sign-in", data=SIGN_IN)
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "8"
    assert "Wait 8 seconds" in answer.text
    assert len(looked_at) == 5, "the last one was not even looked at"


def test_a_right_password_forgets_the_wrong_ones(web_shop):
    client = web_shop.stranger()
    for _ in range(4):
        client.post("/sign-in", data={**SIGN_IN, "password": "x" * 20})
    assert client.post("/sign-in", data=SIGN_IN).status_code == 303
    assert web_shop.attempts.counts == {}


def test_a_password_is_never_sent_back(web_shop):
    answer = web_shop.stranger().post(
        "/sign-in", data={"name": "Pat", "password": "my-wrong-but-precious-secret"}
    )
    assert "my-wrong-but-precious-secret" not in answer.text


@pytest.mark.parametrize(
    "next",
    ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "javascript:x",
     "/a\nb", ""],
)  # fmt: skip
def test_signing_in_leads_nowhere_else(web_shop, next):
    """OWASP ASVS 5.0, 1.2.2 and 3.7.2: no open redirect."""
    answer = web_shop.stranger().post("/sign-in", data={**SIGN_IN, "next": next})
    assert answer.headers["location"] == "/"


def test_signing_in_leads_to_the_page_that_was_asked_for(web_shop):
    client = web_shop.stranger()
    sent = client.get("/person?a=1&b=2").headers["location"]
    assert sent == "/sign-in?next=%2Fperson%3Fa%3D1%26b%3D2"
    page = client.get(sent)
    assert 'value="/person?a=1&amp;b=2"' in page.text
    answer = client.post("/sign-in", data={**SIGN_IN, "next": "/person?a=1&b=2"})
    assert answer.headers["location"] == "/person?a=1&b=2"

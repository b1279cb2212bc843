"""The OpenAPI document: whole, and whatever it allows is answered without a fault."""

import string
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.use_cases.all_verbs import VERBS
from service.web.access import access_table
from tests.web.api.shapes import Shapes
from tests.web_shop import ApiHand, WebShop, new_id

SHOP = WebShop()
CLIENT = SHOP.program()
DOCUMENT = CLIENT.get("/openapi.json").json()
SHAPES = Shapes(DOCUMENT)
HAND = ApiHand(CLIENT)
KNOWN_IDS = (HAND.job, HAND.finish, HAND.batch(), SHOP.store.shop_id, SHOP.store.manager_id)
POSTS = {path: item["post"] for path, item in DOCUMENT["paths"].items() if "post" in item}
WRITES = sorted(p for p, o in POSTS.items() if "application/json" in o["requestBody"]["content"])
FILES = ("/api/readings-files",)  # sent as bytes and nothing else
QUESTIONS = ("/api/photo-readings",)  # sent, but nothing is stored
READS = sorted(path for path, item in DOCUMENT["paths"].items() if "get" in item)


def test_every_api_route_is_described():
    described = {
        (method.upper(), path) for path, item in DOCUMENT["paths"].items() for method in item
    }
    wanted = {route for route in access_table() if route[1].startswith(("/api/", "/healthz"))}
    assert described == wanted
    assert len(WRITES) == len(VERBS) + len(QUESTIONS)
    assert set(POSTS) == {*WRITES, *FILES}


def test_every_reference_leads_somewhere():
    names = set(DOCUMENT["components"]["schemas"])
    wanted = set()

    def collect(node):
        if isinstance(node, dict):
            if "$ref" in node:
                wanted.add(node["$ref"].removeprefix("#/components/schemas/"))
            for inner in node.values():
                collect(inner)
        if isinstance(node, list):
            for inner in node:
                collect(inner)

    collect(DOCUMENT)
    assert wanted <= names


def test_every_operation_says_what_it_does_and_how_to_sign_in():
    for path, item in DOCUMENT["paths"].items():
        for method, operation in item.items():
            assert operation.get("description") or operation.get("summary"), (method, path)
            assert operation["responses"], (method, path)
            public = operation.get("security") == []
            assert public == (path == "/healthz"), (method, path)
    assert DOCUMENT["security"] == [{"token": []}, {"session": []}]
    assert DOCUMENT["components"]["securitySchemes"]["token"]["scheme"] == "bearer"


def test_no_password_hash_is_ever_asked_for():
    """Clients send a password; only the service makes a hash of it."""
    for path in WRITES:
        schema = SHAPES.resolved(SHAPES.of_body("post", path))
        assert not [name for name in schema["properties"] if name.endswith("_hash")], path


texts = st.one_of(
    st.text(max_size=20),
    st.text(string.ascii_letters + string.digits, min_size=1, max_size=12),
    st.sampled_from(KNOWN_IDS),
)
numbers = st.one_of(
    st.integers(-5, 200), st.integers(), st.floats(allow_nan=False, allow_infinity=False)
)
anything = st.recursive(
    st.none() | st.booleans() | numbers | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=6,
)


def values_of(schema):
    """Values of a schema: mostly ones it allows, now and then something else."""
    schema = SHAPES.resolved(schema)
    if "anyOf" in schema:
        return st.one_of(*map(values_of, schema["anyOf"]))
    if "enum" in schema:
        return st.sampled_from(schema["enum"])
    kind = schema.get("type")
    if kind == "string" and schema.get("format") == "date-time":
        return st.datetimes(timezones=st.timezones()).map(lambda moment: moment.isoformat())
    if kind == "array":
        if "prefixItems" in schema:
            return st.tuples(*map(values_of, schema["prefixItems"])).map(list)
        return st.lists(values_of(schema.get("items", {})), max_size=3)
    if kind == "object" and "properties" in schema:
        return bodies(schema)
    simple = {
        "string": texts,
        "integer": st.integers(-2, 200) | st.integers(),
        "number": numbers,
        "boolean": st.booleans(),
        "null": st.none(),
        "object": st.dictionaries(texts, anything, max_size=3),
    }
    return simple.get(kind, anything)


def bodies(schema):
    known = {name: values_of(inner) for name, inner in schema["properties"].items()}
    required = {name: known[name] for name in schema.get("required", ())}
    optional = {name: value for name, value in known.items() if name not in required}
    return st.fixed_dictionaries(required, optional=optional)


FUZZ = settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


@pytest.mark.parametrize("path", WRITES)
@FUZZ
@given(data=st.data())
def test_no_body_makes_a_write_fail(path, data):
    body = data.draw(values_of(SHAPES.of_body("post", path)))
    if isinstance(body, dict):
        if path not in QUESTIONS:
            body["id"] = data.draw(st.just(new_id()) | texts)
        for name in ("job_id", "finish_id", "batch_id"):
            if name in body:
                body[name] = data.draw(st.sampled_from(KNOWN_IDS[:3]) | texts)
        if "password" in body:
            body["password"] = "short"  # a good one would take a tenth of a second to hash
    answer = CLIENT.post(path, json=body)
    assert answer.status_code < 500, answer.text
    declared = DOCUMENT["paths"][path]["post"]["responses"]
    assert str(answer.status_code) in declared, answer.text
    if answer.status_code < 300:
        SHAPES.check(answer.json(), SHAPES.of_answer("post", path, answer.status_code), path)


@pytest.mark.parametrize("path", READS)
@FUZZ
@given(data=st.data())
def test_no_parameter_makes_a_read_fail(path, data):
    address, query = path, {}
    for parameter in DOCUMENT["paths"][path]["get"].get("parameters", ()):
        value = data.draw(values_of(parameter["schema"]) | texts)
        if parameter["in"] == "path":
            text = quote(str(value) or "x", safe="")
            address = address.replace("{" + parameter["name"] + "}", text)
        elif parameter["required"] or data.draw(st.booleans()):
            query[parameter["name"]] = "" if value is None else value
    answer = CLIENT.get(address, params=query)
    assert answer.status_code < 500, answer.text


def test_a_body_takes_no_field_it_does_not_describe():
    for path in WRITES:
        schema = SHAPES.resolved(SHAPES.of_body("post", path))
        assert schema["additionalProperties"] is False, path
        assert ("id" in schema["required"]) is (path not in QUESTIONS), path

"""What no page of ours sends reaches no callback: it gets a status and one sentence, and the log no traceback."""

from __future__ import annotations

import copy
import json
import logging
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import dash
import pytest
from flask.testing import FlaskClient

from dashboards.app import make_app
from dashboards.callback_rules import ADDRESS, NOT_OURS, TAKEN, fault_of
from dashboards.said import said_sentence
from tests.answers_by_hand import questions_by_hand

SECTION = "/lead-technician#watch"
LEFT_OUT = "left out"  # stands for no value at all
SOUND = {
    ("address", "pathname"): "/owner", ("address", "search"): "?family=K40", ("asked", "data"): {"search": ""},
    ("controls-asked", "data"): {"search": ""}, ("picked", "data"): {"key": "0a", "search": "", "stamp": None},
    ("alarm", "data"): {"chart": "none such", "raised": "2024-06-02"}, ("note", "value"): "sent back",
    ("note", "n_submit"): 1, ("acknowledge", "n_clicks"): 1,
}  # fmt: skip
WRONG: list[Any] = [
    True, 0, -1, 1.5, 10**30, "\ud800", [], [[]], ["x"], {}, {"search": 5}, {"search": ["x"]}, {"search": {"x": 1}},
    {"key": 1, "search": ""}, {"key": "x"}, {"key": "x", "search": "", "stamp": 3}, {"search": "?family=\udfff"},
    {"chart": "x", "raised": "then"}, {"chart": "x", "raised": None}, {"search": "", "more": 1},
]  # fmt: skip


@pytest.fixture(scope="module")
def app(one_job_folder: Path) -> dash.Dash:
    return make_app(one_job_folder, questions_by_hand())


@pytest.fixture
def client(app: dash.Dash, caplog: pytest.LogCaptureFixture) -> Iterator[FlaskClient]:
    """Lend a client of the service; a traceback in the log is a failure whatever was answered."""
    with caplog.at_level(logging.ERROR):
        yield app.server.test_client()
    assert [record.getMessage() for record in caplog.records if record.exc_info] == []


def served(app: dash.Dash) -> list[str]:
    return [output for output, declared in app.callback_map.items() if "callback" in declared]


def named(declared: str) -> Any:
    return {"part": json.loads(declared)["part"], "section": SECTION} if declared.startswith("{") else declared


def sound(app: dash.Dash, output: str) -> dict[str, Any]:
    """Return a request as our pages send it."""
    declared = app.callback_map[output]

    def argument(one: dict[str, str]) -> dict[str, Any]:
        name, prop = named(one["id"]), one["property"]
        value = name if prop == "id" else SOUND[name["part"] if isinstance(name, dict) else name, prop]
        return {"id": name, "property": prop, "value": copy.deepcopy(value)}

    many = isinstance(declared["output"], list | tuple)
    outputs = [
        {"id": named(one.component_id_str()), "property": one.component_property}
        for one in (declared["output"] if many else [declared["output"]])
    ]
    return {
        "output": output,
        "outputs": outputs if many else outputs[0],
        "inputs": [argument(one) for one in declared["inputs"]],
        "state": [argument(one) for one in declared["state"]],
        "changedPropIds": [],
    }


def test_what_our_pages_send_reaches_its_callback(app: dash.Dash, client: FlaskClient) -> None:
    assert len(served(app)) == 10
    for output in served(app):
        assert client.post(ADDRESS, json=sound(app, output)).status_code in (200, 204), output


def test_it_is_said_of_every_argument_what_is_taken(app: dash.Dash) -> None:
    declared = [one for output in served(app) for one in sum_of(app.callback_map[output])]
    taken = {(json.loads(i)["part"] if i.startswith("{") else i, prop) for i, prop in declared if prop != "id"}
    assert taken == set(TAKEN) == set(SOUND)


def sum_of(declared: dict[str, Any]) -> list[tuple[str, str]]:
    return [(one["id"], one["property"]) for one in (*declared["inputs"], *declared["state"])]


def test_an_argument_of_another_shape_is_refused_in_one_sentence(app: dash.Dash, client: FlaskClient) -> None:
    refused = 0
    for output in served(app):
        for part in ("inputs", "state"):
            for place in range(len(sound(app, output)[part])):
                for wrong in WRONG:
                    body = sound(app, output)
                    argument = body[part][place]
                    if argument["property"].startswith("n_") and wrong in (0, -1, 10**30):
                        continue  # a count
                    argument["value"] = wrong
                    answer = client.post(ADDRESS, json=body)
                    told = (output, argument["id"], wrong)
                    assert (answer.status_code, answer.text) == (400, f"{said_sentence(NOT_OURS)}\n"), told
                    refused += 1
    assert refused > 300


def places(value: Any, so_far: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the way to every value inside a request."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [way for name, one in inside for way in [(*so_far, name), *places(one, (*so_far, name))]]


def put(body: Any, way: tuple[Any, ...], value: Any) -> None:
    for name in way[:-1]:
        body = body[name]
    if value == LEFT_OUT:
        del body[way[-1]]
    else:
        body[way[-1]] = value


def test_a_request_with_anything_changed_or_left_out_never_fails(app: dash.Dash, client: FlaskClient) -> None:
    chance, statuses = random.Random(20240331), list[int]()
    texts = [
        "x",
        "x" * 20_000,
        "/nowhere#x",
        SECTION,
        "",
        "..",
        '{"part":"asked","section":["MATCH"]}.data',
        "?a=b&" * 300,
    ]
    values = [*WRONG, *texts, None, False, "\x00", "?as_of=9999-12-31", "?since=0001-01-01", LEFT_OUT]
    for _ in range(1_500):
        body = sound(app, chance.choice(served(app)))
        for _ in range(chance.choice((1, 1, 2, 3))):
            put(body, chance.choice(places(body)), copy.deepcopy(chance.choice(values)))
        answer = client.post(ADDRESS, json=body)
        statuses.append(answer.status_code)
        assert answer.status_code < 500, body
        assert "Traceback" not in answer.text
        if answer.status_code >= 400:
            assert answer.text.count("\n") == 1, answer.text
    assert statuses.count(400) > 700


@pytest.mark.parametrize(
    "body",
    [
        b"", b"null", b"[]", b"5", b'"x"', b"{", b"{}", b'{"output":5}', b'{"output":null,"inputs":[]}',
        b'{"output":"page.children"}', b'{"output":{"a":1}}', b'{"output":["a"]}', b"\xff\xfe", b"[" * 100_000,
        b'{"output":' + b'{"a":' * 100_000, b'{"output":"controls.data"}',
        b'{"output":"controls.data","outputs":5,"inputs":[5],"state":[null],"changedPropIds":[1]}',
    ],
)  # fmt: skip
@pytest.mark.parametrize("kind", ["application/json", "text/plain"])
def test_a_body_that_is_none_of_ours_is_refused_in_one_sentence(client: FlaskClient, body: bytes, kind: str) -> None:
    answer = client.post(ADDRESS, data=body, content_type=kind)
    assert (answer.status_code, answer.text) == (400, f"{said_sentence(NOT_OURS)}\n")


@pytest.mark.parametrize("method", ["PUT", "DELETE"])  # GET is met by the page that says there is none
def test_another_method_is_refused_in_one_sentence(client: FlaskClient, method: str) -> None:
    answer = client.open(ADDRESS, method=method)
    assert answer.status_code == 405
    assert answer.text.count("\n") == 1


def test_a_callback_that_runs_in_the_browser_is_none_that_can_be_asked_for(app: dash.Dash) -> None:
    in_browser = [output for output in app.callback_map if output not in served(app)]
    assert in_browser
    assert {fault_of(sound(app, served(app)[0]) | {"output": output}, app.callback_map) for output in in_browser} == {
        NOT_OURS
    }

"""The service as a whole: what it serves, and how it answers what it cannot."""

from __future__ import annotations

import html
import json
import logging
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from analytics.question import Question, QuestionError
from dashboards.app import make_app
from dashboards.web_rules import FAULT
from tests.answers_by_hand import questions_by_hand

CALLBACK = "/_dash-update-component"
SECTION = "/lead-technician#failure-rates"


@pytest.fixture(scope="module")
def client(one_job_folder: Path) -> FlaskClient:
    return make_app(one_job_folder, questions_by_hand()).server.test_client()


def section_call(search: Any = "", section: str = SECTION) -> dict[str, Any]:
    asked, answer = ({"part": part, "section": section} for part in ("asked", "answer"))
    return {
        "output": '{"part":"answer","section":["MATCH"]}.data',
        "outputs": {"id": answer, "property": "data"},
        "inputs": [{"id": asked, "property": "data", "value": {"search": search}}],
        "changedPropIds": [f'{{"part":"asked","section":"{section}"}}.data'],
        "state": [{"id": asked, "property": "id", "value": asked}],
    }


def said(answer: TestResponse) -> str:
    """Return an answer's text, its HTML written as one reads it."""
    return html.unescape(answer.text)


def page_call(pathname: str, search: str = "") -> dict[str, Any]:
    return {
        "output": "..page.children...menu.children...shown.data..",
        "outputs": [
            {"id": "page", "property": "children"},
            {"id": "menu", "property": "children"},
            {"id": "shown", "property": "data"},
        ],
        "inputs": [{"id": "address", "property": "pathname", "value": pathname}],
        "changedPropIds": ["address.pathname"],
        "state": [{"id": "address", "property": "search", "value": search}],
    }


def test_the_page_names_its_language_and_may_run_nothing_from_text_or_from_elsewhere(client: FlaskClient) -> None:
    answer = client.get("/")
    policy = answer.headers["Content-Security-Policy"]
    assert '<html lang="en">' in answer.text
    assert "unsafe-eval" not in policy
    assert "http" not in policy
    assert "script-src 'self' 'sha256-" in policy
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "//" not in answer.text.replace("<!--", "").split("<footer>")[0].replace("http-equiv", "")


def test_a_section_answers_with_sentence_number_and_charts(client: FlaskClient) -> None:
    answer = client.post(CALLBACK, json=section_call()).get_json()["response"]
    told = answer['{"part":"answer","section":"' + SECTION + '"}']["data"]
    assert len(told["charts"]) == 2
    assert all("marks" in json.loads(drawing) for drawing in told["charts"])
    assert "88 of 260 inspected" in told["words"]
    assert "33.8 %" in told["words"]
    assert "2nd synchroniser ring" in told["rest"]


def test_an_answer_that_is_kept_comes_with_its_page_and_any_other_is_asked_for(one_job_folder: Path) -> None:
    client = make_app(one_job_folder, questions_by_hand()).server.test_client()

    def sections(search: str) -> dict[str, Any]:
        page = client.post(CALLBACK, json=page_call("/lead-technician", search)).get_json()["response"]
        told: dict[str, Any] = page["shown"]["data"]["sections"]
        return told

    assert {one["answer"] for one in sections("").values()} == {None}
    answer = client.post(CALLBACK, json=section_call()).get_json()["response"]
    told = sections("")
    assert told["failure-rates"]["answer"] == answer['{"part":"answer","section":"' + SECTION + '"}']["data"]
    assert told["component-life"]["answer"] is None
    assert "How long" not in told["failure-rates"]["frame"]
    assert "What do we find failed" in told["failure-rates"]["frame"]
    assert sections("?family=K40")["failure-rates"]["answer"] is None


def test_a_line_that_is_kept_comes_with_the_first_page_and_any_other_is_asked_for(one_job_folder: Path) -> None:
    client = make_app(one_job_folder, questions_by_hand()).server.test_client()
    assert "88 of 260" not in client.post(CALLBACK, json=page_call("/")).text
    client.post(CALLBACK, json=section_call())
    page = client.post(CALLBACK, json=page_call("/")).text
    assert "88 of 260" in page
    assert "line-to-ask" in page


def test_an_option_in_the_address_reaches_the_question(client: FlaskClient) -> None:
    refused = client.post(CALLBACK, json=section_call("?failure-rates.by=colour"))
    assert refused.status_code == 200
    assert "one of none, supplier, technician, not 'colour'" in said(refused)


@pytest.mark.parametrize(
    ("search", "sentence"),
    [
        ("?family=K4O", "There is no family 'K4O' on record; did you mean 'K40'?"),
        ("?colour=red", "There is no filter 'colour'"),
        ("?since=then", "'since' takes a day"),
        ("?failure-rates.colour=red", "has no option 'colour'"),
    ],
)
def test_unknown_filters_are_refused_in_a_sentence(client: FlaskClient, search: str, sentence: str) -> None:
    answer = client.post(CALLBACK, json=section_call(search))
    assert answer.status_code == 200
    assert sentence in said(answer)


@pytest.mark.parametrize("section", ["/lead-technician#nonsense", "/nowhere#failure-rates", "", "#"])
def test_a_forged_section_is_refused_in_a_sentence(client: FlaskClient, section: str) -> None:
    answer = client.post(CALLBACK, json=section_call(section=section))
    assert answer.status_code == 400
    assert answer.text == "There is no such section on our pages.\n"


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"output": "nonsense.children", "outputs": {"id": "nonsense", "property": "children"}, "inputs": []},
        {"output": "..", "outputs": [], "inputs": "x"},
        [1, 2],
        "text",
    ],
)
def test_a_forged_callback_gets_one_sentence_and_no_traceback(client: FlaskClient, body: Any) -> None:
    answer = client.post(CALLBACK, json=body)
    assert 400 <= answer.status_code < 500
    assert answer.text.count("\n") <= 1
    assert "Traceback" not in answer.text


def test_a_body_that_is_no_json_gets_one_sentence(client: FlaskClient) -> None:
    answer = client.post(CALLBACK, data="{", content_type="application/json")
    assert 400 <= answer.status_code < 500
    assert answer.text.count("\n") <= 1


def test_a_fault_of_ours_is_logged_and_said_in_one_sentence(
    one_job_folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(history: object, options: object) -> Any:
        raise ZeroDivisionError("planted")

    broken = {"failure-rates": Question("failure-rates", "", "", fail)}
    client = make_app(one_job_folder, broken).server.test_client()
    with caplog.at_level(logging.ERROR, "layshaft.pages"):
        answer = client.post(CALLBACK, json=section_call())
    assert answer.status_code == 200
    assert FAULT in said(answer)
    assert "planted" not in answer.text
    assert "planted" in caplog.text


def test_a_question_that_refuses_says_so_itself(one_job_folder: Path) -> None:
    def refuse(history: object, options: object) -> Any:
        raise QuestionError("this question cannot be limited by 'supplier'")

    client = make_app(one_job_folder, {"failure-rates": Question("failure-rates", "", "", refuse)}).server.test_client()
    answer = client.post(CALLBACK, json=section_call())
    assert "This question cannot be limited by 'supplier'." in said(answer)


def test_a_question_that_is_not_there_is_named(one_job_folder: Path) -> None:
    client = make_app(one_job_folder, {}).server.test_client()
    assert "There is no question 'failure-rates'" in said(client.post(CALLBACK, json=section_call()))


@pytest.mark.parametrize(
    ("pathname", "words"),
    [
        ("/", "What to look at this week"),
        ("/lead-technician", "What do we find failed"),
        ("/parts-manager/", "Which parts do we use"),
        ("/owner", "come back"),
        ("/records", "rows to put right"),
        ("/job/J%2F24-17", "Full rebuild of axle drive U-7, family K40"),
        ("/job/J%2F24-18", "No job 'J/24-18' was on record"),
        ("/job/", "There is no page here"),
        ("/nonsense/<script>", "There is no page here"),
    ],
)
def test_every_address_has_a_page(client: FlaskClient, pathname: str, words: str) -> None:
    answer = client.post(CALLBACK, json=page_call(pathname))
    assert answer.status_code == 200
    assert words in str(answer.get_json()["response"])


def test_the_controls_show_what_is_asked_for_even_where_it_is_not_on_record(client: FlaskClient) -> None:
    opened = {
        "output": "controls.data",
        "outputs": {"id": "controls", "property": "data"},
        "inputs": [{"id": "controls-asked", "property": "data", "value": {"search": "?family=nonsense"}}],
        "changedPropIds": ["controls-asked.data"],
        "state": [{"id": "address", "property": "pathname", "value": "/owner"}],
    }
    answer = client.post(CALLBACK, json=opened).text
    assert "nonsense (not on record)" in answer
    assert "K40" in answer


def test_a_page_whose_address_makes_no_sense_says_so_and_shows_the_way_out(client: FlaskClient) -> None:
    answer = client.post(CALLBACK, json=page_call("/owner", "?colour=red")).text
    assert "There is no filter 'colour'" in answer
    assert "Go to this week's page" in answer


def test_the_records_are_looked_at_as_of_the_day_in_the_address(client: FlaskClient) -> None:
    answer = client.post(CALLBACK, json=page_call("/job/J%2F24-17", "?as_of=2024-03-05")).text
    assert "As known on 5 Mar 2024" in answer
    assert "spalling" not in answer
    refused = client.post(CALLBACK, json=page_call("/job/J%2F24-17", "?as_of=2024-03-01")).text
    assert "The records begin on 2024-03-04, with the first job: nothing is known as of 2024-03-01" in refused


@pytest.mark.parametrize("pathname", ["/", "/lead-technician", "/records", "/job/1"])
def test_without_records_every_page_says_how_to_load_some(tmp_path: Path, pathname: str) -> None:
    client = make_app(tmp_path / "not there", questions_by_hand()).server.test_client()
    answer = client.post(CALLBACK, json=page_call(pathname)).text
    assert "No job records yet" in answer
    assert "layshaft demo" in answer
    assert "layshaft template" in answer


def test_records_that_cannot_be_read_are_not_called_missing(tmp_path: Path) -> None:
    (tmp_path / "CURRENT").write_text("7")
    client = make_app(tmp_path, questions_by_hand()).server.test_client()
    answer = client.post(CALLBACK, json=page_call("/owner")).text
    assert "The job records cannot be read" in answer
    assert "Version 7 of the job records is not in" in answer


def test_the_drawing_script_is_served_compressed(client: FlaskClient) -> None:
    answer = client.get("/chart-engine.js")
    assert answer.headers["Content-Encoding"] == "gzip"
    assert answer.mimetype == "text/javascript"
    assert len(answer.data) > 100_000

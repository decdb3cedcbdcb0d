"""A row that was chosen leads to its own jobs, also when the answer has changed since the page was shown."""

from __future__ import annotations

import html
import shutil
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from analytics.question import QuestionError
from dashboards.address import read_view
from dashboards.app import app_of, make_asking
from dashboards.asking import Asking
from dashboards.callback_rules import ADDRESS
from dashboards.chart_engine import ChartEngine
from dashboards.every_page import section_at
from tests.dashboards.test_connect_acknowledging import SECTION, output_with, part
from tests.watched_alarms import RING, WORDS, Alarms


@pytest.fixture
def asking(one_job_copy: Path, alarms: Alarms) -> Asking:
    return make_asking(one_job_copy, alarms.questions())


@pytest.fixture
def client(asking: Asking) -> FlaskClient:
    return app_of(asking, ChartEngine()).server.test_client()


def shown(asking: Asking) -> tuple[tuple[str, ...], str]:
    """Return the keys of the rows of the watch list, and its stamp."""
    found = section_at(SECTION)
    assert found is not None
    answer = asking.answer(found[1], read_view(""))
    return answer.keys, answer.stamp


def publish_again(one_job_copy: Path) -> None:
    """Publish the same records as the next version."""
    shutil.copy(one_job_copy / "warehouse-000001.duckdb", one_job_copy / "warehouse-000002.duckdb")
    (one_job_copy / "CURRENT").write_text("2")


def pick(client: FlaskClient, key: str, stamp: str | None) -> tuple[str, str | None]:
    """Choose a row; return what is shown behind it, and the new table where one comes along."""
    answer = client.post(
        ADDRESS,
        json={
            "output": output_with(client, "picked"),
            "outputs": [{"id": part("behind"), "property": "children"}, {"id": part("answer"), "property": "data"}],
            "inputs": [{"id": part("picked"), "property": "data", "value": {"key": key, "search": "", "stamp": stamp}}],
            "state": [{"id": part("picked"), "property": "id", "value": part("picked")}],
        },
    )
    assert answer.status_code == 200
    told: dict[str, Any] = answer.get_json()["response"]
    by_part = {name.split('"part":"')[1].split('"')[0]: one for name, one in told.items()}
    newer = by_part.get("answer", {}).get("data")
    return html.unescape(str(by_part["behind"]["children"])), newer and html.unescape(newer["rest"])


def test_while_nothing_changed_the_row_leads_to_its_jobs_and_the_answer_stays(
    client: FlaskClient, asking: Asking
) -> None:
    keys, stamp = shown(asking)
    behind, newer = pick(client, keys[1], stamp)
    assert "behind: slider of K4: wear found" in behind
    assert newer is None


def test_after_a_load_the_same_row_is_found_where_it_stands_now_and_the_new_answer_comes_along(
    client: FlaskClient, asking: Asking, one_job_copy: Path, alarms: Alarms
) -> None:
    keys, stamp = shown(asking)
    del alarms.raised[RING]
    alarms.seen = 9
    publish_again(one_job_copy)
    behind, newer = pick(client, keys[1], stamp)
    assert "behind: slider of K4: wear found" in behind
    assert newer is not None
    assert WORDS[RING] not in newer
    assert f'data-key="{keys[1]}"' in newer


def test_after_a_load_a_row_that_is_gone_is_said_to_be_and_no_other_is_shown(
    client: FlaskClient, asking: Asking, one_job_copy: Path, alarms: Alarms
) -> None:
    keys, stamp = shown(asking)
    del alarms.raised[RING]
    publish_again(one_job_copy)
    behind, newer = pick(client, keys[0], stamp)
    assert (
        "The records changed since this page was shown; the row that was chosen is not in the answer of today."
        in behind
    )
    assert "behind:" not in behind
    assert newer is not None


def test_a_page_that_is_still_being_answered_is_sent_no_second_answer(client: FlaskClient, asking: Asking) -> None:
    behind, newer = pick(client, shown(asking)[0][2], None)
    assert "behind: lot 24-07 comes back" in behind
    assert newer is None


def test_a_row_about_one_unit_is_never_taken_for_that_of_another(asking: Asking, one_job_copy: Path) -> None:
    found = section_at("/setting#first-try-shims")
    assert found is not None
    before = asking.answer(found[1], read_view("")).keys
    publish_again(one_job_copy)  # another job may be the newest by now
    with pytest.raises(QuestionError, match="the records changed"):
        asking.jobs_behind(found[1], read_view(""), before[0])


def test_every_row_of_a_table_carries_its_key(asking: Asking) -> None:
    found = section_at(SECTION)
    assert found is not None
    answer = asking.answer(found[1], read_view(""))
    places = [str(answer.rest).index(f'<tr data-row="{n}" data-key="{key}"') for n, key in enumerate(answer.keys)]
    assert places == sorted(places)
    assert len(set(answer.keys)) == 3

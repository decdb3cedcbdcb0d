"""The alarm that a form was opened for is acknowledged or none is, whatever happened to the list meanwhile."""

from __future__ import annotations

import datetime as dt
import html
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from analytics.watch_acknowledged import Acknowledged
from dashboards.acknowledgements import Acknowledgements
from dashboards.app import make_app
from dashboards.callback_rules import ADDRESS
from tests.watched_alarms import LOT, RAISED, RING, SLIDER, Alarms

SECTION = "/lead-technician#watch"


@pytest.fixture
def client(one_job_copy: Path, alarms: Alarms) -> FlaskClient:
    return make_app(one_job_copy, alarms.questions()).server.test_client()


def part(name: str) -> dict[str, str]:
    return {"part": name, "section": SECTION}


def output_with(client: FlaskClient, *parts: str) -> str:
    """Return the name of the callback that takes these parts."""
    told = client.get("/_dash-dependencies").get_json()
    return next(
        str(one["output"]) for one in told
        if one["clientside_function"] is None and all(f'"part":"{name}"' in str(one["inputs"]) for name in parts)
    )  # fmt: skip


def press(client: FlaskClient, chart: str, raised: dt.date, note: str, entered: int = 0) -> dict[str, Any]:
    """Press the button of the form for one alarm, or the Enter key in its note; return what is told, part by part."""
    value = {"chart": chart, "raised": raised.isoformat()}
    answer = client.post(
        ADDRESS,
        json={
            "output": output_with(client, "acknowledge"),
            "outputs": [
                {"id": part("answer"), "property": "data"},
                {"id": part("behind"), "property": "children"},
                {"id": part("refused"), "property": "children"},
            ],
            "inputs": [
                {"id": part("acknowledge"), "property": "n_clicks", "value": 0 if entered else 1},
                {"id": part("note"), "property": "n_submit", "value": entered},
            ],
            "state": [
                {"id": part("note"), "property": "value", "value": note},
                {"id": part("alarm"), "property": "data", "value": value},
                {"id": "address", "property": "search", "value": ""},
                {"id": part("acknowledge"), "property": "id", "value": part("acknowledge")},
            ],
        },
    )
    assert answer.status_code == 200
    told: dict[str, Any] = answer.get_json()["response"]
    return {name: html.unescape(str(one)) for name, one in told.items()}


def written(one_job_copy: Path) -> list[tuple[str, str]]:
    return [(one.chart, one.note) for one in Acknowledgements(one_job_copy).every()]


def test_the_alarm_of_the_form_is_acknowledged_though_the_list_has_moved_on(
    client: FlaskClient, one_job_copy: Path
) -> None:
    press(client, RING, RAISED[RING], "rings of the new maker")
    told = press(client, SLIDER, RAISED[SLIDER], "sliders renewed")
    assert written(one_job_copy) == [(SLIDER, "sliders renewed"), (RING, "rings of the new maker")]
    assert "Acknowledged." in " ".join(told.values())


def test_an_alarm_acknowledged_in_another_tab_is_left_as_it_is_and_said_so(
    client: FlaskClient, one_job_copy: Path
) -> None:
    press(client, RING, RAISED[RING], "seen to in the first tab")
    told = " ".join(press(client, RING, RAISED[RING], "from the second tab").values())
    assert written(one_job_copy) == [(RING, "seen to in the first tab")]
    assert "This alarm was acknowledged already, on 9 Sep 2024: seen to in the first tab. Nothing was written." in told
    assert "data-key" in told  # the list as it is now comes with it


def test_an_alarm_that_is_gone_is_not_taken_for_another(
    client: FlaskClient, one_job_copy: Path, alarms: Alarms
) -> None:
    del alarms.raised[RING]
    told = " ".join(press(client, RING, RAISED[RING], "rings of the new maker").values())
    assert "The records changed since this page was shown; this alarm is no longer on the list." in told
    assert written(one_job_copy) == []
    alarms.raised[LOT] = dt.date(2024, 8, 1)  # raised anew since the form was opened
    Acknowledgements(one_job_copy).acknowledge(Acknowledged(SLIDER, RAISED[SLIDER], dt.date(2024, 9, 1), "renewed"))
    assert "no longer on the list" in " ".join(press(client, LOT, RAISED[LOT], "sent back").values())
    assert written(one_job_copy) == [(SLIDER, "renewed")]


def test_the_enter_key_in_the_note_acknowledges_too(client: FlaskClient, one_job_copy: Path) -> None:
    press(client, LOT, RAISED[LOT], "sent back", entered=1)
    assert written(one_job_copy) == [(LOT, "sent back")]


def test_a_note_that_says_nothing_is_refused(client: FlaskClient, one_job_copy: Path) -> None:
    assert "Say in a few words" in " ".join(press(client, LOT, RAISED[LOT], " ").values())
    assert written(one_job_copy) == []

"""An alarm is acknowledged by its name as the watch list shows it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from analytics.history import History
from analytics.questions import every_question
from analytics.warehouse_file import open_warehouse
from dashboards.acknowledgements import Acknowledgements
from dashboards.command import main


def test_a_chart_is_known_by_the_plain_words_that_are_shown(
    demo_warehouse_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = Path(shutil.copytree(demo_warehouse_folder, tmp_path / "records"))
    opened, question = open_warehouse(folder), every_question()["watch"]
    latest = opened.query("select latest from warehouse_format")["latest"][0]
    charts = question.ask(History(opened, latest), question.chosen({"shuffles": "0"})).rows["chart"].to_list()
    opened.close()
    chart = next(one for one in charts if "_" in one)
    main(["acknowledge", chart.replace("_", " "), "seen to", "--warehouse", str(folder)])
    assert capsys.readouterr().out.startswith(f"Acknowledged: {chart}, raised on ")
    assert [(one.chart, one.note) for one in Acknowledgements(folder).every()] == [(chart, "seen to")]

"""layshaft acknowledge: say that an alarm of the watch list was seen to."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from analytics.day_asked import day_asked
from analytics.history import History
from analytics.question import QuestionError, find_question
from analytics.warehouse_file import open_warehouse
from analytics.watch_acknowledged import Acknowledged
from dashboards.acknowledgements import Acknowledgements, with_acknowledged
from dashboards.command.options import Day, warehouse_option


@click.command()
@click.argument("chart")
@click.argument("note")
@click.option("--by", default="", help="Who says so.")
@click.option("--as-of", type=Day(), help="The day on which it was acknowledged; the last day on record if not given.")
@warehouse_option
def acknowledge(chart: str, note: str, by: str, as_of: dt.date | None, warehouse: Path) -> None:
    """Acknowledge the alarm of CHART (named by 'layshaft show watch') with a NOTE; other alarms' figures change with it."""
    from analytics.questions import every_question  # with every question's estimators: slow to load

    question = find_question("watch", every_question())
    opened = open_warehouse(warehouse)
    try:
        day = day_asked(opened, as_of, dt.date.today())
        chosen = question.chosen({"shuffles": "0"})
        rows = question.ask(History(opened, day), with_acknowledged(question, chosen, warehouse)).rows
    finally:
        opened.close()
    waiting = {row["chart"]: row["raised"] for row in rows.iter_rows(named=True) if row["acknowledged_on"] is None}
    chart = next((one for one in waiting if _plain(one) == _plain(chart)), chart)
    if chart not in waiting:
        named = "; ".join(waiting) or "none"
        raise QuestionError(f"there is no alarm '{chart}' that is not acknowledged; there are: {named}")
    Acknowledgements(warehouse).acknowledge(Acknowledged(chart, waiting[chart], day, note, by))
    click.echo(f"Acknowledged: {chart}, raised on {waiting[chart]}.")


def _plain(chart: str) -> str:
    """Return a chart's name as `show` prints it, whose words are plain."""
    return chart.replace("_", " ").casefold()

"""layshaft show: answer one question."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import click

from analytics.history import History
from analytics.question import QuestionError, find_question
from analytics.questions import every_question
from analytics.scope import Scope
from analytics.text_table import told
from analytics.warehouse_file import open_warehouse
from dashboards.command.options import as_json, scope_options, version_option, warehouse_option


def _listing() -> str:
    lines = [f"  {name}: {question.about}" for name, question in every_question().items()]
    return "Questions:\n\n\b\n" + "\n".join(lines)


@click.command(epilog=_listing())
@click.argument("question")
@scope_options
@click.option(
    "--option", "options", multiple=True, metavar="NAME=VALUE", help="An option of the question (repeatable)."
)
@click.option("--csv", "as_csv", is_flag=True, help="Print the rows as CSV.")
@as_json
@warehouse_option
@version_option
def show(
    question: str,
    as_of: dt.date | None,
    options: tuple[str, ...],
    as_csv: bool,
    as_json: bool,
    warehouse: Path,
    warehouse_version: int | None,
    **filters: Any,
) -> None:
    """Answer QUESTION from the job records."""
    asked = find_question(question, every_question())
    chosen = asked.chosen(_pairs(options))
    opened = open_warehouse(warehouse, warehouse_version)
    try:
        history = History(opened, as_of or dt.date.today(), Scope(**filters))
        answer = asked.ask(history, chosen)
    finally:
        opened.close()
    if as_json:
        click.echo(json.dumps(answer.to_plain(), indent=1, ensure_ascii=False))
    elif as_csv:
        click.echo(answer.rows.write_csv(), nl=False)
    else:
        click.echo(told(answer))


def _pairs(options: tuple[str, ...]) -> dict[str, str]:
    pairs = {}
    for text in options:
        name, mark, value = text.partition("=")
        if not mark:
            raise QuestionError(f"--option takes NAME=VALUE, not '{text}'")
        pairs[name.strip()] = value.strip()
    return pairs

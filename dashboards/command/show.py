"""layshaft show: answer one question."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import click

from analytics.day_asked import day_asked
from analytics.history import History
from analytics.question import QuestionError, find_question
from analytics.scope import Scope
from analytics.scope_choices import check_scope, scope_choices
from analytics.text_table import told
from analytics.warehouse_file import open_warehouse
from dashboards.acknowledgements import with_acknowledged
from dashboards.command.options import as_json, scope_options, version_option, warehouse_option


class WithQuestions(click.Command):
    """List the questions below the command's help."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the name of every question and what it answers."""
        from analytics.questions import every_question

        with formatter.section("Questions"):
            formatter.write_dl([(name, question.about) for name, question in every_question().items()])


@click.command(cls=WithQuestions, context_settings={"ignore_unknown_options": True, "allow_extra_args": True})
@click.argument("question", required=False, metavar="QUESTION")
@scope_options
@click.option("--csv", "as_csv", is_flag=True, help="Print the rows as CSV.")
@as_json
@warehouse_option
@version_option
@click.pass_context
def show(
    context: click.Context,
    /,
    question: str | None,
    as_of: dt.date | None,
    as_csv: bool,
    as_json: bool,
    warehouse: Path,
    warehouse_version: int | None,
    **filters: Any,
) -> None:
    """Answer QUESTION from the job records. A question's own options are given as --NAME VALUE."""
    from analytics.questions import every_question  # with every question's estimators: slow to load

    if question is None:
        raise QuestionError(f"name the question to answer; there are: {', '.join(every_question())}")
    asked = find_question(question, every_question())
    chosen = asked.chosen(_own_options(context.args))
    opened = open_warehouse(warehouse, warehouse_version)
    try:
        history = History(opened, day_asked(opened, as_of, dt.date.today()), Scope(**filters))
        if history.scope.filters():
            check_scope(history.scope, scope_choices(history))
        answer = asked.ask(history, with_acknowledged(asked, chosen, warehouse))
    finally:
        opened.close()
    if as_json:
        click.echo(json.dumps(answer.to_plain(), indent=1, ensure_ascii=False))
    elif as_csv:
        click.echo(answer.rows.write_csv(), nl=False)
    else:
        click.echo(told(answer))


def _own_options(arguments: list[str]) -> dict[str, str]:
    """Return the question's own options from what the command itself did not take: --name value or --name=value."""
    given, left = {}, list(arguments)
    while left:
        text = left.pop(0)
        if not text.startswith("--"):
            raise QuestionError(f"expected an option like --by family, found '{text}'")
        name, mark, value = text[2:].partition("=")
        if not mark:
            if not left:
                raise QuestionError(f"option '--{name}' lacks its value")
            value = left.pop(0)
        given[name] = value
    return given

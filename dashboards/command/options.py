"""Options that several subcommands share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from analytics.day_asked import typed_day

DEFAULT_FOLDER = "layshaft_records"

warehouse_option = click.option(
    "--warehouse",
    type=click.Path(file_okay=False, path_type=Path),
    envvar="LAYSHAFT_WAREHOUSE",
    default=DEFAULT_FOLDER,
    show_default=True,
    help="Folder of the job records (or set LAYSHAFT_WAREHOUSE).",
)

version_option = click.option(
    "--warehouse-version", type=click.IntRange(min=1), help="Look at this kept version instead of the published one."
)

as_json = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


class Day(click.ParamType[dt.date]):
    """Read a day written year first."""

    name = "YYYY-MM-DD"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> dt.date:
        """Return the day; fails with a sentence where the text is none."""
        if isinstance(value, dt.date):
            return value
        try:
            return typed_day(value)
        except ValueError:
            self.fail(f"'{value}' is no day; expected one like 2024-05-31", param, ctx)


SCOPE_HELP = {
    "family": "Only this unit family.",
    "component": "Only this kind of component.",
    "position": "Only this component position.",
    "supplier": "Only parts of this supplier.",
    "technician": "Only jobs of this technician.",
    "fleet": "Only this fleet, or 'private owners'.",
    "duty": "Only units of this duty.",
    "kind": "Only jobs of this kind.",
}


def scope_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the scope filters and the day to a command."""
    for name in reversed(SCOPE_HELP):
        command = click.option(f"--{name}", help=SCOPE_HELP[name])(command)
    command = click.option("--until", type=Day(), help="Only up to this day.")(command)
    command = click.option("--since", type=Day(), help="Only from this day on.")(command)
    return click.option(
        "--as-of", type=Day(), help="As it was known on this day; the last day on record where not given."
    )(command)

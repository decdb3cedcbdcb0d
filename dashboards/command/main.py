"""Join the subcommands, and turn every expected failure into one sentence and exit code 2."""

from __future__ import annotations

import os
import sys

import click

from analytics.question import QuestionError
from analytics.warehouse_file import WarehouseError
from dashboards.command.acknowledge import acknowledge
from dashboards.command.check import check
from dashboards.command.demo import demo
from dashboards.command.load import load
from dashboards.command.serve import serve
from dashboards.command.show import show
from dashboards.command.template import template
from dashboards.serving_error import ServingError
from ingest.plan import LoadError

EXPECTED = (LoadError, WarehouseError, QuestionError, ServingError)


@click.group(
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}, invoke_without_command=True
)
@click.version_option(package_name="layshaft", prog_name="layshaft")
@click.pass_context
def layshaft(context: click.Context) -> None:
    """Turn a gearbox workshop's past job records into its next decisions."""
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


for command in (demo, load, check, show, acknowledge, serve, template):
    layshaft.add_command(command)


def main(arguments: list[str] | None = None) -> None:
    """Run the command; exits with 0, or with 2 and one sentence on stderr where something expected went wrong."""
    # Read when numpy is loaded, which no module has done yet. Several questions are answered at a time, and matrices are
    # small: threads of the linear algebra under them would wait for each other most of the time.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        layshaft.main(args=arguments, standalone_mode=False)
    except (click.exceptions.Abort, KeyboardInterrupt):
        click.echo("stopped", err=True)
        sys.exit(130)
    except click.UsageError as fault:
        click.echo(_usage(fault), err=True)
        sys.exit(2)
    except click.ClickException as fault:
        click.echo(f"layshaft: {fault.format_message()}", err=True)
        sys.exit(2)
    except EXPECTED as fault:
        click.echo(f"layshaft: {fault}", err=True)
        sys.exit(2)


def _usage(fault: click.UsageError) -> str:
    where = f" (see '{fault.ctx.command_path} --help')" if fault.ctx else ""
    return f"layshaft: {fault.format_message()}{where}"

"""layshaft demo: make the invented workshop's records, load them, and show the pages."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import click

from analytics.warehouse_file import OlderWarehouseError, open_warehouse
from dashboards.command.options import warehouse_option
from dashboards.command.serve import host_option, port_option, say_where
from ingest.plan import LoadError

DEMO_MARK = "DEMO"  # the file that tells a folder of invented records from one of real ones


@click.command()
@click.option("--no-serve", is_flag=True, help="Stop after publishing.")
@click.option("--seed", type=int, default=None, help="Another invented ten years.")
@click.option(
    "--keep-files", type=click.Path(file_okay=False, path_type=Path), help="Write the source files here and keep them."
)
@host_option
@port_option
@warehouse_option
def demo(no_serve: bool, seed: int | None, keep_files: Path | None, host: str, port: int, warehouse: Path) -> None:
    """Make ten years of an invented workshop, load them the ordinary way, and show the pages."""
    if (warehouse / "CURRENT").is_file():
        if not (warehouse / DEMO_MARK).is_file():
            raise LoadError(
                f"'{warehouse}' holds job records that are not the demo's; "
                "give the demo a folder of its own with --warehouse"
            )
        _refuse_an_older_one(warehouse)
        click.echo(f"'{warehouse}' holds the demo already.")
    else:
        _make(warehouse, seed, keep_files)
    if not no_serve:
        from dashboards.serving import serve as serve_pages

        serve_pages(warehouse, host, port, when_ready=say_where)


def _refuse_an_older_one(warehouse: Path) -> None:
    try:
        open_warehouse(warehouse).close()
    except OlderWarehouseError as older:
        raise LoadError(
            f"'{warehouse}' holds the demo of an older Layshaft: delete the folder, then ask for the demo again"
        ) from older


def _make(warehouse: Path, seed: int | None, keep_files: Path | None) -> None:
    from demo_warehouse.demo import write_demo  # no other command needs the demo or, but for one, the loader
    from ingest.load import load as load_files

    started = time.monotonic()

    def say(step: str) -> None:
        click.echo(f"[{time.monotonic() - started:5.1f} s] {step}")

    with tempfile.TemporaryDirectory() as temporary:
        out = keep_files or Path(temporary) / "demo"
        say("inventing ten years of jobs")
        write_demo(None, seed, out, progress=say)
        say("loading them")
        report = load_files(warehouse, [out], out / "mapping.toml", progress=say)
    (warehouse / DEMO_MARK).write_text("Invented records: may be deleted at any time.\n")
    totals = report.to_plain()["totals"]
    assert isinstance(totals, dict)
    say(
        f"read {totals['read']} rows: {totals['accepted']} accepted, {totals['duplicate']} duplicate, "
        f"{totals['superseded']} superseded, {totals['quarantined']} to put right"
    )

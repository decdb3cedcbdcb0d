"""layshaft check: list the rows to put right, what was flagged, and where every row stands."""

from __future__ import annotations

import json
from pathlib import Path

import click

from analytics.answer import plain_rows
from analytics.records_health import flags, rows_to_put_right, standing
from analytics.warehouse_file import open_warehouse
from analytics.wording import count_of
from dashboards.command.options import as_json, version_option, warehouse_option
from ingest.plan import LoadError


@click.command()
@click.option(
    "--export",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the rows to put right as a workbook to correct and load again.",
)
@click.option(
    "--mapping",
    type=click.Path(path_type=Path),
    help="With --export: put your headings and words under ours by this mapping.",
)
@as_json
@warehouse_option
@version_option
def check(
    export: Path | None, mapping: Path | None, as_json: bool, warehouse: Path, warehouse_version: int | None
) -> None:
    """List rows to put right and flags, and account for every row ever read."""
    if export is not None and export.exists():
        raise LoadError(f"'{export}' exists already and is left as it is; give --export a new name")
    if export is not None and export.suffix.lower() != ".xlsx":
        raise LoadError(f"--export writes a workbook: '{export.name}' must end in .xlsx")
    opened = open_warehouse(warehouse, warehouse_version)
    try:
        wrong, flagged, counts = rows_to_put_right(opened), flags(opened), standing(opened)
    finally:
        opened.close()
    if export is not None:
        from ingest.mapping import read_mapping  # only an export needs what loads and writes files
        from ingest.rows_to_put_right import write_rows_to_put_right

        write_rows_to_put_right(wrong, export, read_mapping(mapping) if mapping else None)
    if as_json:
        told = {"rows_to_put_right": plain_rows(wrong), "flags": plain_rows(flagged), "standing": plain_rows(counts)}
        click.echo(json.dumps(told, indent=1, ensure_ascii=False))
        return
    click.echo(f"{count_of(wrong.height, 'row')} to put right, {count_of(flagged.height, 'flag')}.")
    for row in wrong.iter_rows(named=True):
        sheet = f", sheet '{row['sheet']}'" if row["sheet"] else ""
        click.echo(f"{Path(row['file']).name}{sheet}, row {row['row_number']} ({row['record']}): {row['reason']}")
    for row in flagged.iter_rows(named=True):
        about = row["job"] or row["unit"] or row["record"]
        click.echo(f"flag, {about}: {row['sentence']}")
    if export is not None:
        click.echo(f"Wrote {export}: correct the rows there, then load it with 'layshaft load {export}'.")

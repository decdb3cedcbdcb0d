"""layshaft load: read files of job records and publish them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dashboards.command.demo import DEMO_MARK
from dashboards.command.options import as_json, warehouse_option
from ingest.plan import LoadError

if TYPE_CHECKING:
    from ingest.load import LoadReport


@click.command()
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--mapping", type=click.Path(path_type=Path), help="Mapping file: your headings, units and words for ours."
)
@click.option("--dry-run", is_flag=True, help="Show what would happen and publish nothing.")
@click.option("--no-wait", is_flag=True, help="Say so at once where another load is running, instead of waiting.")
@click.option("--back-to", type=click.IntRange(min=1), metavar="VERSION", help="Publish a kept version again.")
@warehouse_option
@as_json
def load(
    files: tuple[Path, ...],
    mapping: Path | None,
    dry_run: bool,
    no_wait: bool,
    back_to: int | None,
    warehouse: Path,
    as_json: bool,
) -> None:
    """Load FILES (CSV, XLSX, JSON, JSON lines, Parquet, or folders of them)."""
    from ingest.load import load as load_files  # no other command needs the loader
    from ingest.versions import go_back_to, writing

    if (warehouse / DEMO_MARK).is_file():
        raise LoadError(
            f"'{warehouse}' holds the invented demo, which does not mix with real records; give yours a folder of "
            "their own with --warehouse DIR"
        )
    wait = 0.0 if no_wait else 600.0
    if back_to is not None:
        if files:
            raise LoadError("--back-to publishes a kept version again; it takes no files")
        with writing(warehouse, wait) as folder:
            go_back_to(folder, back_to)
        click.echo(json.dumps({"version": back_to}) if as_json else f"Version {back_to} is published again.")
        return
    if not files:
        raise LoadError("no files given: name files or folders of job records to load")
    report = load_files(
        warehouse,
        files,
        mapping,
        dry_run=dry_run,
        wait_seconds=wait,
        progress=lambda step: click.echo(f"{step} ...", err=True),
    )
    click.echo(json.dumps(report.to_plain(), indent=1) if as_json else told(report, dry_run))


def told_apart(files: Sequence[Path]) -> list[str]:
    """Return each file's name, with as many of its folders as tell it apart from the others of that name."""
    names = [file.name for file in files]
    for depth in range(2, max((len(file.parts) for file in files), default=0) + 1):
        alike = {name for name in names if len({file for file, n in zip(files, names, strict=True) if n == name}) > 1}
        names = [
            str(Path(*file.parts[-depth:])) if name in alike else name for file, name in zip(files, names, strict=True)
        ]
    return names


def told(report: LoadReport, dry_run: bool) -> str:
    """Return the report as lines to read."""
    plain = report.to_plain()
    lines = [f"{'file':40} {'read':>8} {'accepted':>9} {'duplicate':>9} {'superseded':>10} {'to put right':>12}"]
    files, totals = plain["files"], plain["totals"]
    assert isinstance(files, list)
    assert isinstance(totals, dict)
    names = told_apart([Path(str(entry["file"])) for entry in files])
    for name, entry in zip([*names, "all files"], [*files, totals], strict=True):
        lines.append(
            f"{name:40} {entry['read']:>8} {entry['accepted']:>9} {entry['duplicate']:>9} "
            f"{entry['superseded']:>10} {entry['quarantined']:>12}"
        )
    lines += report.notes
    if dry_run:
        lines.append("Dry run: nothing was published.")
    elif report.published:
        lines.append(f"Version {report.version} is published.")
    else:
        lines.append(f"Nothing new: version {report.version} stands.")
    if totals["quarantined"]:
        lines.append("Rows to put right:")
        lines += report.wrong
        more = totals["quarantined"] - len(report.wrong)
        if more > 0:
            lines.append(f"... and {more} more")
        if not dry_run:
            lines.append("'layshaft check' lists them all; with --export it writes them to a workbook to correct.")
    return "\n".join(lines)

"""layshaft template: write a workbook to fill in."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
def template(out: Path) -> None:
    """Write a workbook OUT to fill in, one sheet a record type, with words to choose from and a field reference."""
    from ingest.template_workbook import write_template  # no other command needs the workbook writer

    write_template(out)
    click.echo(f"Wrote {out}: fill in what you keep, then load it with 'layshaft load {out}'.")

"""layshaft serve: show the pages."""

from __future__ import annotations

from pathlib import Path

import click

from dashboards.command.options import warehouse_option

host_option = click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
port_option = click.option("--port", type=click.IntRange(0, 65535), default=8737, show_default=True, help="Port.")


def say_where(address: str) -> None:
    """Say where the pages are, once they answer."""
    click.echo(f"Open {address} in a browser (stop with Ctrl-C)")


@click.command()
@host_option
@port_option
@warehouse_option
def serve(host: str, port: int, warehouse: Path) -> None:
    """Show the pages of the job records on an address of this machine."""
    from dashboards.serving import serve as serve_pages

    serve_pages(warehouse, host, port, when_ready=say_where)

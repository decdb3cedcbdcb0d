"""Serve the pages to this machine, or to the network where asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from threading import Thread

from waitress import create_server

from analytics.question import Question
from dashboards.app import app_of, make_asking
from dashboards.asking_ahead import AskingAhead
from dashboards.chart_engine import ChartEngine
from dashboards.every_page import PAGES
from dashboards.requests_in_hand import RequestsInHand
from dashboards.serving_error import ServingError

THREADS = 8


def serve(
    folder: Path,
    host: str = "127.0.0.1",
    port: int = 8050,
    when_ready: Callable[[str], None] | None = None,
    questions: Mapping[str, Question] | None = None,
) -> None:
    """Serve the pages until interrupted; `when_ready` is told their address as soon as they answer.

    Port 0 takes any free one. What the pages show by default is asked ahead. Raises ServingError where the address cannot be had.
    """
    engine = ChartEngine()
    asking, in_hand = make_asking(folder, questions), RequestsInHand()
    app = app_of(asking, engine)
    in_hand.count_those_of(app.server)
    try:
        server = create_server(app.server, host=host, port=port, threads=THREADS, ident="layshaft")
    except OSError as fault:
        raise ServingError(f"the pages cannot be served at {host}:{port}: {fault.strerror or fault}") from fault
    Thread(target=engine.packed, daemon=True).start()  # made once per machine; nobody's first chart should wait for it
    if when_ready is not None:
        when_ready(f"http://{host}:{server.effective_port}/")
    ahead = AskingAhead(asking, PAGES, in_hand)
    ahead.start()
    try:
        server.run()
    finally:
        ahead.stop()

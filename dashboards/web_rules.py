"""Set what a browser may do with our pages, and answer faults of the web with a plain sentence."""

from __future__ import annotations

import logging
from collections.abc import Sequence

from flask import Flask, Response, request
from werkzeug.exceptions import HTTPException

from dashboards.chart_engine import ADDRESS, ChartEngine

_LOG = logging.getLogger("layshaft.pages")
FAULT = "Something went wrong in Layshaft itself, not in your records; it is noted in the service's log"


def set_browser_rules(server: Flask, script_hashes: Sequence[str]) -> None:
    """Allow scripts, pictures and data from this service only, and nothing to be evaluated from text.

    Styles may be written inline: the drawing script does so.
    """
    policy = "; ".join(
        [
            "default-src 'self'",
            f"script-src 'self' {' '.join(script_hashes)}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data:",
            "font-src 'self' data:",
            "object-src 'none'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        ]
    )

    @server.after_request
    def _with_rules(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "same-origin"
        return response


def answer_faults(server: Flask) -> None:
    """Answer a broken request and a fault of ours with a status and one sentence, never with a traceback."""

    @server.errorhandler(HTTPException)
    def _refused(fault: HTTPException) -> Response:
        return Response(f"{fault.name}.\n", status=fault.code, mimetype="text/plain")

    @server.errorhandler(Exception)
    def _failed(fault: Exception) -> Response:
        _LOG.exception("request to '%s' failed", request.path, exc_info=fault)
        return Response(f"{FAULT}.\n", status=500, mimetype="text/plain")


def serve_chart_engine(server: Flask, engine: ChartEngine) -> None:
    """Serve the drawing script, compressed, to be kept by the browser for a day."""

    @server.get(ADDRESS)
    def _script() -> Response:
        response = Response(engine.packed(), mimetype="text/javascript")
        response.headers["Content-Encoding"] = "gzip"
        response.headers["Cache-Control"] = "private, max-age=86400"
        return response

"""Make the pages from the parts of this room."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import dash

from analytics.question import Question
from analytics.questions import every_question
from dashboards.asking import Asking
from dashboards.callback_rules import refuse_forged_callbacks
from dashboards.chart_engine import ChartEngine
from dashboards.charts.theme import register_theme
from dashboards.connect_acknowledging import connect_acknowledging
from dashboards.connect_address import connect_address
from dashboards.connect_pages import connect_pages
from dashboards.connect_sections import connect_sections
from dashboards.frame import frame
from dashboards.open_records import OpenRecords
from dashboards.web_rules import answer_faults, serve_chart_engine, set_browser_rules

_INDEX = """<!DOCTYPE html>
<html lang="en">
  <head>
    {%metas%}
    <meta name="viewport" content="width=device-width, initial-scale=1">
    <title>{%title%}</title>
    <link rel="icon" href="/assets/mark.svg" type="image/svg+xml">
    <link rel="modulepreload" href="/chart-engine.js">
    {%css%}
  </head>
  <body>
    <noscript><p>These pages need JavaScript. Without it, ask at the command line: layshaft show QUESTION</p></noscript>
    {%app_entry%}
    {%config%}
    {%scripts%}
    {%renderer%}
  </body>
</html>
"""


# What Dash adds for browsers and tables that our pages do not meet: no browser that draws our charts needs the first.
_UNUSED_SCRIPTS = ("/deps/polyfill@", "/dash_table/")


class _Service(dash.Dash):
    """Hold the service; its pages leave out the scripts that they do not use."""

    def interpolate_index(self, *args: Any, **parts: Any) -> Any:
        """Return the page that a browser loads first."""
        scripts = str(parts["scripts"]).splitlines()
        parts["scripts"] = "\n".join(one for one in scripts if not any(unused in one for unused in _UNUSED_SCRIPTS))
        return super().interpolate_index(*args, **parts)  # type: ignore[no-untyped-call]


def make_app(
    warehouse_folder: Path, questions: Mapping[str, Question] | None = None, engine: ChartEngine | None = None
) -> dash.Dash:
    """Return the service over the job records in `warehouse_folder`, which need not hold any yet.

    `questions` are every question by name unless given; `engine` provides the browser's drawing script.
    """
    return app_of(make_asking(warehouse_folder, questions), engine or ChartEngine())


def make_asking(warehouse_folder: Path, questions: Mapping[str, Question] | None = None) -> Asking:
    """Return what answers the pages' questions from the job records in `warehouse_folder`."""
    return Asking(OpenRecords(warehouse_folder), every_question() if questions is None else questions)


def app_of(asking: Asking, engine: ChartEngine) -> dash.Dash:
    """Return the service whose pages are answered by `asking`."""
    register_theme()
    app = _Service(
        "layshaft",
        assets_folder=str(Path(__file__).with_name("assets")),
        index_string=_INDEX,
        title="Layshaft",
        update_title="",  # the title names the page, also while it is being answered
        suppress_callback_exceptions=True,  # a section's parts exist only while its page is shown
        enable_mcp=False,
        add_log_handler=False,
    )
    app.layout = frame()
    connect_pages(app, asking)
    connect_sections(app, asking)
    connect_address(app, asking)
    connect_acknowledging(app, asking)
    serve_chart_engine(app.server, engine)
    set_browser_rules(app.server, app.csp_hashes())
    refuse_forged_callbacks(app)
    answer_faults(app.server)
    return app

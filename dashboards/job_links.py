"""Lead to the sheet of a job."""

from __future__ import annotations

from urllib.parse import quote, unquote

from dash import dcc

from analytics.question import QuestionError
from dashboards.address import changed, query_pairs

JOB = "/job/"


def job_address(job: str) -> str:
    """Return the address of a job's sheet."""
    return JOB + quote(job, safe="")


def job_of(pathname: str) -> str | None:
    """Return the job whose sheet an address asks for, or None where it asks for another page."""
    return unquote(pathname.removeprefix(JOB)) if pathname.startswith(JOB) and len(pathname) > len(JOB) else None


def job_link(job: str, search: str = "") -> dcc.Link:
    """Return a link to a job's sheet, as known on the day that the view is asked for."""
    return dcc.Link(job, href=job_address(job) + only_day(search), className="job")


def only_day(search: str) -> str:
    """Return the query string that keeps nothing of a view but its day."""
    try:
        day = dict(query_pairs(search)).get("as_of")
    except QuestionError:
        day = None
    return changed("", {"as_of": day})

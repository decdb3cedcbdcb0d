"""A job's sheet has an address, whatever the workshop writes as a job number."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from dashboards.job_links import job_address, job_link, job_of


@given(st.text(min_size=1, max_size=30))
def test_every_job_number_comes_back_from_its_address(job: str) -> None:
    assert job_of(job_address(job)) == job


def test_other_addresses_are_no_jobs() -> None:
    assert job_of("/job/") is None
    assert job_of("/owner") is None


def test_a_link_keeps_the_day_of_the_view_and_nothing_else() -> None:
    link = job_link("J/24-17", "?family=K40&as_of=2024-06-01&failure-rates.by=supplier")
    assert link.href == "/job/J%2F24-17?as_of=2024-06-01"

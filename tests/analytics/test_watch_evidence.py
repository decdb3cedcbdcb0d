"""What the watch charts run on, against counts of the demo's records made another way."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from analytics.history import History
from analytics.scope import Scope
from analytics.warehouse_file import open_warehouse
from analytics.watch_evidence import MINIMUM_PIECES, every_stream, finding_streams, first_day
from analytics.watch_streams import DAYS_A_MONTH, Streams


@pytest.fixture(scope="module")
def history(demo_warehouse_folder: Path) -> History:
    warehouse = open_warehouse(demo_warehouse_folder)
    return History(warehouse, warehouse.query("select latest from warehouse_format")["latest"][0])


@pytest.fixture(scope="module")
def findings(history: History) -> Streams:
    first = first_day(history)
    assert first is not None
    return finding_streams(history, first)


def test_cases_are_the_full_strips_that_looked_whatever_they_found(history: History, findings: Streams) -> None:
    counted = history.query(
        "select family, component, count(distinct job_id) as strips from known_component_finding "
        "where full_strip and failed is not null and component is not null group by all"
    )
    strips = {(family, component): n for family, component, n in counted.iter_rows()}
    assert findings.cases is not None
    for place, label in enumerate(findings.labels.iter_rows(named=True)):
        assert findings.cases[place].sum() == strips.get((label["family"], label["component"]), 0)
    assert findings.cases.sum() > 10_000


def test_events_are_strips_that_found_it_once_each(history: History, findings: Streams) -> None:
    counted = history.query(
        "select count(*) as n from (select distinct job_id, component, coalesce(damage_mode, '') "
        "from known_component_finding where full_strip and failed and component is not null)"
    )
    assert len(findings.event_chart) == counted["n"][0]
    assert findings.cases is not None
    assert (findings.events <= findings.cases).all()


def test_every_finding_falls_on_a_day_on_which_such_a_strip_was_seen(findings: Streams) -> None:
    assert findings.within is not None
    assert findings.cases is not None
    month = findings.event_time.astype(int)
    day = np.rint((findings.event_time - month) * DAYS_A_MONTH).astype(int)
    that_month = findings.within[findings.event_chart, month]
    event = np.arange(len(day))
    before = np.where(day > 0, that_month[event, np.maximum(day - 1, 0)], 0.0)
    assert (that_month[event, day] > before).all()
    assert (findings.within[findings.cases > 0][:, -1] == 1).all()
    assert (findings.within[findings.cases == 0] == 0).all()
    assert (np.diff(findings.within, axis=2) >= 0).all()


def test_a_lot_has_every_piece_fitted_in_jobs_that_were_observed(history: History) -> None:
    first = first_day(history)
    assert first is not None
    lots = every_stream(history, first)[1]
    counted = history.query(
        "select coalesce(p.supplier, '') as supplier, p.part, p.lot, c.component, count(*)::double as fitted "
        "from known_part_line as p join known_position as c using (position_id) join known_delivered_job using (job_id) "
        f"where p.fitted and p.lot is not null group by all having count(*) >= {MINIMUM_PIECES}"
    )
    told = {tuple(row) for row in lots.labels.select("supplier", "part", "lot", "component", "fitted").iter_rows()}
    assert told == {tuple(row) for row in counted.select("supplier", "part", "lot", "component", "fitted").iter_rows()}
    assert len(told) > 100


def test_events_stand_in_order_of_chart_then_day(history: History) -> None:
    first = first_day(history)
    assert first is not None
    for streams in every_stream(history, first):
        later = np.diff(streams.event_chart) > 0
        assert ((np.diff(streams.event_chart) == 0) | later).all()
        assert (later | (np.diff(streams.event_time) >= 0)).all()
        assert (streams.exposure.sum(0) > 0)[0]


def test_a_technician_has_charts_of_the_families_he_built_only(history: History) -> None:
    early = History(history.warehouse, dt.date(2017, 6, 1), Scope(technician="JT"))
    first = first_day(early)
    assert first is not None
    watched = set(every_stream(early, first)[0].labels["family"].to_list())
    built = set(
        early.query("select distinct family from known_delivered_job where technician = 'JT'")["family"].to_list()
    )
    assert len(watched) >= 4
    assert watched <= built < set(early.query("select distinct family from known_position")["family"].to_list())

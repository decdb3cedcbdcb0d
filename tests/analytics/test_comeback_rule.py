"""Judge the rule that infers comebacks against links planted in a small workshop."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from scipy import stats

from analytics.comeback_rule import COMEBACK_RULE
from analytics.history import History
from analytics.question import QuestionError
from analytics.scope import Scope
from analytics.warehouse_file import open_warehouse
from tests.csv_workshop import BASE, CsvWorkshop

DAY = dt.date(2022, 1, 1)
# Units by what became of them: comeback found by the rule, comeback given but of an untouched component, inferred but
# never given, given but never opened, inferred before the records gave any comeback.
FOUND, MISSED, MADE_UP, SETTLED, EARLY = 12, 4, 3, 2, 2


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    kinds = [
        (kind, n)
        for kind, count in (("F", FOUND), ("M", MISSED), ("I", MADE_UP), ("S", SETTLED), ("E", EARLY))
        for n in range(count)
    ]
    units, jobs = ["unit,family"], ["job,unit,kind,opened,torn_down,closed,delivered"]
    findings, comebacks = ["job,position,grade,action"], ["original_job,comeback_job,reported"]
    for kind, n in kinds:
        unit, first, second = f"{kind}{n}", f"{kind}{n}-1", f"{kind}{n}-2"
        year = 2018 if kind == "E" else 2020
        units.append(f"{unit},K4")
        jobs.append(f"{first},{unit},full rebuild,{year}-01-01,{year}-01-02,{year}-01-08,{year}-01-09")
        findings.append(f"{first},2nd ring,3,replaced failed")
        if kind != "S":
            jobs.append(f"{second},{unit},full rebuild,{year}-06-01,{year}-06-02,{year}-06-08,{year}-06-09")
            findings.append(f"{second},{'main bearing' if kind == 'M' else '2nd ring'},4,replaced failed")
        if kind in "FMS":
            comebacks.append(f"{first},{'' if kind == 'S' else second},2020-05-20")
    shop = CsvWorkshop(tmp_path_factory.mktemp("rule"))
    files = {"units.csv": units, "jobs.csv": jobs, "findings.csv": findings, "comebacks.csv": comebacks}
    report = shop.load({**BASE, **{name: "\n".join(rows) for name, rows in files.items()}})
    assert report.standing["quarantined"] == 0
    return shop.records


def test_recall_and_precision_of_the_rule(records: Path) -> None:
    opened = open_warehouse(records)
    answer = COMEBACK_RULE.ask(History(opened, DAY), {})
    told = answer.rows.row(0, named=True)
    assert (told["family"], told["given"], told["found"], told["other_job"]) == ("all", FOUND + MISSED, FOUND, 0)
    assert (told["inferred"], told["confirmed"]) == (FOUND + MADE_UP, FOUND)
    for name, x, n in (("recall", FOUND, FOUND + MISSED), ("precision", FOUND, FOUND + MADE_UP)):
        # scipy.stats.binomtest gives the exact (Clopper-Pearson) interval independently.
        exact = stats.binomtest(x, n).proportion_ci(0.95, method="exact")
        assert told[name] == x / n
        assert (told[f"{name}_low"], told[f"{name}_high"]) == pytest.approx((exact.low, exact.high), rel=1e-9)
    assert answer.number == "80 %"
    assert "Of 16 comebacks that the records give, the rule finds 75 % with the right job" in answer.sentence
    assert COMEBACK_RULE.jobs_behind is not None
    behind = COMEBACK_RULE.jobs_behind(History(opened, DAY), {"family": "K4"})
    assert behind.height == FOUND + MISSED + MADE_UP
    opened.close()


def test_too_few_links_are_said_and_unfit_filters_refused(records: Path) -> None:
    opened = open_warehouse(records)
    nothing = COMEBACK_RULE.ask(History(opened, DAY, Scope(family="A7")), {})
    assert nothing.rows.is_empty()
    assert nothing.sentence == "The records give no comeback in this scope to compare the rule with."
    before = COMEBACK_RULE.ask(History(opened, dt.date(2020, 5, 1)), {})
    assert before.rows.is_empty(), "no comeback was given yet"
    with pytest.raises(QuestionError, match="technician"):
        COMEBACK_RULE.ask(History(opened, DAY, Scope(technician="T1")), {})
    opened.close()

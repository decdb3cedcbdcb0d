"""Figures of one location are laid where they belong, or refused: none is left out in silence."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pytest

from analytics.first_try_request import OF_ONE_LOCATION, read_request
from analytics.history import History
from analytics.question import QuestionError
from analytics.scope import Scope
from analytics.warehouse_file import open_warehouse
from tests.csv_workshop import BASE, CsvWorkshop


@pytest.fixture(scope="module")
def history(tmp_path_factory: pytest.TempPathFactory) -> Iterator[History]:
    """Open a workshop with a gearbox of one shim location and an axle drive (job J3) of two."""
    shop = CsvWorkshop(tmp_path_factory.mktemp("request"))
    shop.load(BASE)
    opened = open_warehouse(shop.records)
    yield History(opened, dt.date(2020, 6, 1))
    opened.close()


def test_the_only_location_of_a_family_need_not_be_named(history: History) -> None:
    given = {"trial-pack-mm": "1,20", "trial-reading-mm": "0.050", "as-found-pack-mm": "1.15"}
    request = read_request(history.within(Scope(family="K4")), given)
    assert request is not None
    assert request.location == "front"
    assert (request.found_pack, request.found_reading) == (1150, None)
    assert request.trial == pytest.approx({"trial-pack-mm": 1200, "trial-reading-mm": 50})
    plain = read_request(history.within(Scope(family="K4")), {})
    assert plain is not None
    assert plain.location is None


@pytest.mark.parametrize("name", OF_ONE_LOCATION)
def test_a_figure_that_may_be_of_several_locations_is_refused(history: History, name: str) -> None:
    for scope, job in ((Scope(family="A7"), {}), (Scope(), {"job": "J3"})):
        with pytest.raises(QuestionError) as refused:
            read_request(history.within(scope), {**job, name: "1.25"})
        assert str(refused.value) == (
            f"{name} is of one location, and A7 has several: name the location, one of behind pinion head, left side"
        )


def test_a_location_or_a_figure_of_the_whole_unit_settles_it(history: History) -> None:
    of_family = history.within(Scope(family="A7"))
    named = read_request(of_family, {"location": "left side", "trial-pack-mm": "4.55"})
    whole = read_request(of_family, {"trial-depth-mm": "66.40", "trial-backlash-mm": "0,15"})
    assert named is not None
    assert whole is not None
    assert (named.location, whole.location) == ("left side", None)
    assert whole.trial == pytest.approx({"trial-depth-mm": 66_400, "trial-backlash-mm": 150})

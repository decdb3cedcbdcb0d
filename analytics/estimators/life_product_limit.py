"""The life curve from exact failure ages and lives still running, with late entry (Kaplan-Meier product limit)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from analytics.estimators.life_models import Values
from analytics.estimators.life_observations import LifeObservations


@dataclass(frozen=True)
class ProductLimit:
    """Hold the curve at the distinct failure ages, each column one value an age.

    Columns: age; at_risk and failed (lives); surviving (share running beyond the age); relative_variance
    (Greenwood's sum, the variance of log surviving; infinite once all at risk have failed).
    """

    age: Values
    at_risk: Values
    failed: Values
    surviving: Values
    relative_variance: Values

    def limits(self, level: float) -> tuple[Values, Values]:
        """Return lower and upper limits of the share surviving on the log(-log) scale.

        Source: Kalbfleisch & Prentice 1980; where the curve is at 1 or 0 the limits are 0 and 1.
        """
        z = float(ndtri(0.5 + level / 2))
        inner = (self.surviving > 0) & (self.surviving < 1)
        safe = np.where(inner, self.surviving, 0.5)
        width = z * np.sqrt(np.where(inner, self.relative_variance, 0.0)) / np.abs(np.log(safe))
        low, high = safe ** np.exp(width), safe ** np.exp(-width)
        return np.where(inner, low, 0.0), np.where(inner, high, 1.0)


def product_limit(observations: LifeObservations) -> ProductLimit:
    """Estimate the share surviving at each failure age; at one age, failures come before lives cut off there.

    A life entered late is at risk from just after its entry age. Raises ValueError for rows that are not exact or
    right-censored. Source: Kaplan & Meier 1958, J. Am. Stat. Assoc. 53; late entry: Lynden-Bell 1971; variance:
    Greenwood 1926.
    """
    rows = observations.collapsed()
    exact = rows.lower == rows.upper
    if not (exact | np.isinf(rows.upper)).all():
        raise ValueError("a product-limit curve needs rows that are exact or right-censored")
    age, place = np.unique(rows.upper[exact], return_inverse=True)
    failed = np.bincount(place, weights=rows.count[exact], minlength=len(age)).astype(float)
    at_risk = _number_above(rows.lower, rows.count, age, equal=True) - _number_above(
        rows.entry, np.where(rows.entry > 0, rows.count, 0.0), age, equal=True
    )
    staying = at_risk - failed
    with np.errstate(divide="ignore"):
        variance = np.cumsum(failed / (at_risk * staying))
    return ProductLimit(age, at_risk, failed, np.cumprod(staying / at_risk), variance)


def _number_above(value: Values, weight: Values, age: Values, *, equal: bool) -> Values:
    """Count the lives whose value is above each age, or equal to it where `equal`."""
    order = np.argsort(value, kind="stable")
    tail = np.concatenate([np.cumsum(weight[order][::-1])[::-1], [0.0]])
    return np.asarray(tail[np.searchsorted(value[order], age, side="left" if equal else "right")])

"""The life curve without a model: the non-parametric maximum-likelihood estimate, with its certificate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.estimators.life_models import Values
from analytics.estimators.life_observations import LifeObservations, TooFewToSay
from analytics.estimators.life_product_limit import product_limit
from analytics.estimators.life_spans import LifeSpans, life_spans
from analytics.estimators.life_status_curve import status_curve
from analytics.estimators.life_turnbull import turnbull_masses

CERTIFIED = 1e-5


@dataclass(frozen=True)
class LifeCurve:
    """Hold the life curve as masses on intervals (left, right], or points where left == right.

    Columns: left, right, mass (share failing there); failed_by_right (share failed by `right`); later (share
    beyond every observation); log_likelihood; certificate, the largest slope of the log-likelihood towards any
    atom, which bounds what it can still gain (no late entry) and is above zero only by rounding at the maximum;
    method; followed_from, the age all lives had already reached when following began (0 for new): shares are
    among lives that reached it; known_to, the age up to which the data determine the curve; note, a sentence, empty
    when the curve is determined throughout.
    """

    left: Values
    right: Values
    mass: Values
    failed_by_right: Values
    later: float
    log_likelihood: float
    certificate: float
    method: str
    followed_from: float
    known_to: float
    note: str

    def failed_by(self, age: Values) -> Values:
        """Return the share known failed by each age, mass counted at the right end of its interval."""
        place = np.searchsorted(self.right, np.asarray(age, dtype=float), side="right")
        return np.concatenate([[0.0], self.failed_by_right])[place]


def life_curve(observations: LifeObservations) -> LifeCurve | TooFewToSay:
    """Estimate the life curve without a model, by the method the censoring allows.

    Only "failed by now" and "not yet": pooling of adjacent violators. Only exact and running, with late entry: the
    product limit. Anything else: Turnbull's estimate by projected Newton steps. Raises ArithmeticError should the
    certificate not close (a defect, not a property of data).
    """
    if not observations.failed:
        reason = "none has failed, so the curve stays at zero" if observations.total else "there are no observations"
        return TooFewToSay(reason, observations.failed, observations.total)
    rows = observations.collapsed()
    spans = life_spans(rows)
    mass, method = _masses(rows, spans)
    slope = float(spans.directional_derivative(mass).max())
    if slope > CERTIFIED * max(1.0, rows.total):
        raise ArithmeticError(f"the life curve did not converge: a slope of {slope:.3g} remains")
    known_to, note = _determined(rows, spans)
    keep = mass[:-1] > 0
    shares = np.cumsum(mass[:-1])
    return LifeCurve(
        left=spans.left[keep],
        right=spans.right[keep],
        mass=mass[:-1][keep],
        failed_by_right=np.minimum(shares, 1.0)[keep],
        later=float(mass[-1]),
        log_likelihood=spans.log_likelihood(mass),
        certificate=max(slope, 0.0),
        method=method,
        followed_from=float(rows.entry.min()),
        known_to=known_to,
        note=note,
    )


def _masses(rows: LifeObservations, spans: LifeSpans) -> tuple[Values, str]:
    running = np.isinf(rows.upper)
    exact = rows.lower == rows.upper
    if (running | ((rows.lower == 0) & ~exact)).all() and not rows.entry.any():
        age, share = status_curve(rows)
        at_atoms = share[np.searchsorted(age, spans.right)]
        return np.diff(at_atoms, prepend=0.0, append=1.0), "pooling of adjacent violators (current status)"
    if (running | exact).all():
        curve = product_limit(rows)
        beyond = np.concatenate([[1.0], curve.surviving])
        mass = np.zeros(len(spans.left) + 1)
        points = spans.left == spans.right
        place = np.searchsorted(curve.age, spans.right[points])
        mass[:-1][points] = beyond[place] - beyond[place + 1]
        mass[-1] = beyond[-1]
        return mass, "product limit"
    return turnbull_masses(spans), "Turnbull's estimate"


def _determined(rows: LifeObservations, spans: LifeSpans) -> tuple[float, str]:
    """Return the age up to which the curve is determined and the sentence that says so where it is not."""
    if not rows.entry.any():
        return float(rows.lower.max() if np.isinf(rows.upper).any() else rows.upper.max()), ""
    passed = spans.covered_by(spans.start, spans.good, spans.count)[:-1]
    seen = spans.failed
    failing = spans.covered_by(spans.good[seen], spans.bad[seen], spans.count[seen])[:-1]
    last = float(rows.lower.max())
    followed_from = float(rows.entry.min())
    note = f"no life was followed below {followed_from:.6g}: shares are among lives that reached it" * (
        followed_from > 0
    )
    for j in np.flatnonzero(passed <= 1e-12 * rows.total):
        age = float(spans.right[j])
        if age <= followed_from or not (rows.entry >= age).any():
            continue
        if failing[j] > 1e-12 * rows.total:
            why = (
                f"every life followed at {age:.6g} failed by then, and those followed later had passed it unseen: "
                f"the curve is not determined beyond {age:.6g}"
            )
            return age, "; ".join(filter(None, [note, why]))
        why = (
            f"no life was followed between {float(spans.left[j]):.6g} and {age:.6g}: "
            f"beyond {float(spans.left[j]):.6g} the curve takes it that none failed there"
        )
        return float(spans.left[j]), "; ".join(filter(None, [note, why]))
    return last, note

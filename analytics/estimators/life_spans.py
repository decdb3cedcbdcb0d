"""Where the probability of a non-parametric life curve can sit, and which stretches each observation covers.

The maximum puts mass only on innermost intervals: those that open at the last good age of some life and close at
the first failed age, or the late entry age, of some life with nothing in between. Source: Peto 1973, Appl.
Statist. 22; Turnbull 1976, J. R. Statist. Soc. B 38; Frydman 1994, J. R. Statist. Soc. B 56 (entry ages close
intervals too); Alioum & Commenges 1996, Biometrics 52.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.estimators.life_models import Values
from analytics.estimators.life_observations import LifeObservations

Places = NDArray[np.intp]


@dataclass(frozen=True)
class LifeSpans:
    """Hold the atoms of a life curve and, by index into them, the stretch each distinct observation covers.

    Shapes: left, right of the m atoms (a point where equal, else the interval (left, right]); start, good, bad and
    count of the n rows: the life was followed over atoms start ... good - 1 unharmed and failed within good ... bad
    - 1; bad is m + 1 for a life that has not failed, atom m standing for "later than any observation tells".
    """

    left: Values
    right: Values
    start: Places
    good: Places
    bad: Places
    count: Values

    @property
    def failed(self) -> NDArray[np.bool_]:
        """Tell which rows ended in failure."""
        return self.bad <= len(self.left)

    def covered_by(self, first: Places, last: Places, weight: Values) -> Values:
        """Sum the weights of the rows whose stretch first ... last - 1 covers each atom, shape (m + 1,)."""
        edges = np.zeros(len(self.left) + 2)
        np.add.at(edges, first, weight)
        np.add.at(edges, last, -weight)
        return np.cumsum(edges)[:-1]

    def log_likelihood(self, mass: Values) -> float:
        """Return the log-likelihood of masses on the m atoms and on "later", over the rows they determine."""
        chance, entered = self._chances(mass)
        seen = entered > 0
        with np.errstate(divide="ignore"):
            return float(self.count[seen] @ (np.log(chance[seen]) - np.log(entered[seen])))

    def directional_derivative(self, mass: Values) -> Values:
        """Return the slope of the log-likelihood towards each atom and "later", shape (m + 1,).

        At the maximum no slope is above zero; without late entry the largest slope bounds what the log-likelihood
        can still gain (Lindsay 1983, Ann. Statist. 11).
        """
        chance, entered = self._chances(mass)
        seen = (entered > 0) & (chance > 0)
        towards = self.covered_by(self.good[seen], self.bad[seen], self.count[seen] / chance[seen])
        end = np.full(int(seen.sum()), len(self.left) + 1)
        return towards - self.covered_by(self.start[seen], end, self.count[seen] / entered[seen])

    def _chances(self, mass: Values) -> tuple[Values, Values]:
        """Return each row's chance of failing in its stretch and of surviving to its entry."""
        cells = np.concatenate([[0.0], np.cumsum(mass)])
        tails = np.concatenate([np.cumsum(mass[::-1])[::-1], [0.0]])
        open_end = self.bad > len(self.left)
        between = cells[self.bad] - cells[self.good]
        return np.where(open_end, tails[self.good], between), tails[self.start]


def life_spans(observations: LifeObservations) -> LifeSpans:
    """Find the atoms and the stretches; rows are put into distinct, sorted form first."""
    rows = observations.collapsed()
    exact = rows.lower == rows.upper
    # Order at one age: an exact failure opens (0), ends close (1), "good at this age" opens just after (2).
    opens = np.where(exact, _code(rows.upper, 0), _code(rows.lower, 2))
    closes = _code(rows.upper, 1)
    entries = np.where(rows.entry > 0, _code(rows.entry, 1), -1.0 + 0j)
    failed = np.isfinite(rows.upper)
    ends = np.unique(np.concatenate([closes[failed], entries[rows.entry > 0]]))
    starts = np.unique(opens)
    points = np.unique(np.concatenate([starts, ends]))
    is_start, is_end = np.isin(points, starts), np.isin(points, ends)
    pair = np.flatnonzero(is_start[:-1] & is_end[1:])
    atom_open, atom_close = points[pair], points[pair + 1]
    begin = np.where(rows.entry > 0, np.searchsorted(atom_open, entries), 0)
    good = np.searchsorted(atom_open, opens)
    bad = np.where(failed, np.searchsorted(atom_close, closes, side="right"), len(pair) + 1)
    return LifeSpans(
        left=atom_open.real.astype(float),
        right=atom_close.real.astype(float),
        start=begin.astype(np.intp),
        good=good.astype(np.intp),
        bad=bad.astype(np.intp),
        count=rows.count.copy(),
    )


def _code(age: Values, rank: int) -> NDArray[np.complex128]:
    """Write an age and its rank among events of that age as one value that sorts by age, then rank."""
    finite = np.where(np.isfinite(age), age, np.finfo(float).max)
    return finite + 1j * rank

"""What is known of component lives: between which ages each one ended, and from which age it was followed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Ages = NDArray[np.float64]


@dataclass(frozen=True)
class TooFewToSay:
    """Say in one plain sentence why no estimate is given.

    Columns: reason (a sentence), failures (lives known to have ended), observations (all lives looked at).
    """

    reason: str
    failures: float
    observations: float

    def __str__(self) -> str:
        return f"too few to say ({self.failures:g} of {self.observations:g} failed): {self.reason}"


@dataclass(frozen=True)
class LifeObservations:
    """Hold one row per component life, or per group of identical lives.

    Shapes: four float64 arrays of one length n; ages in km or in hours, the same throughout.
      lower  last age at which the component was known good; 0 when it was never seen good
      upper  first age at which it was known failed; inf when it has not failed (right-censored)
      count  number of identical lives the row stands for, 0 or more
      entry  age from which the life was followed (left truncation); 0 when followed from new
    lower == upper is an exact failure age; lower 0 with finite upper is "failed by now" (left-censored); a row
    with lower < upper < inf is an interval (lower, upper].

    Raises ValueError, in one sentence, for unequal lengths, unknown (NaN) or negative ages, upper below lower,
    a failure at or before its entry age, negative counts.
    """

    lower: Ages
    upper: Ages
    count: Ages
    entry: Ages

    def __init__(
        self,
        lower: ArrayLike,
        upper: ArrayLike,
        count: ArrayLike | None = None,
        entry: ArrayLike | None = None,
    ) -> None:
        low = np.array(lower, dtype=np.float64, ndmin=1)
        values = {
            "lower": low,
            "upper": np.array(upper, dtype=np.float64, ndmin=1),
            "count": np.ones_like(low) if count is None else np.array(count, dtype=np.float64, ndmin=1),
            "entry": np.zeros_like(low) if entry is None else np.array(entry, dtype=np.float64, ndmin=1),
        }
        self._hold(**values)
        self._check()

    def _hold(self, **values: Ages) -> None:
        for name, array in values.items():
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    @staticmethod
    def _made_of_sound_rows(lower: Ages, upper: Ages, count: Ages, entry: Ages) -> LifeObservations:
        """Return rows that were made from checked ones, and so need no checks of their own."""
        rows = object.__new__(LifeObservations)
        rows._hold(lower=lower, upper=upper, count=count, entry=entry)
        return rows

    def _check(self) -> None:
        lengths = [len(a) for a in (self.lower, self.upper, self.count, self.entry)]
        if len(set(lengths)) > 1:
            raise ValueError(
                "lower, upper, count and entry must have one length; found {}, {}, {} and {}".format(*lengths)
            )
        for name in ("lower", "upper", "count", "entry"):
            _refuse(np.isnan(getattr(self, name)), f"{name} is unknown (NaN)")
        _refuse((self.count < 0) | np.isinf(self.count), "count must be finite and 0 or more")
        _refuse((self.lower < 0) | np.isinf(self.lower), "lower must be finite and 0 or more")
        _refuse((self.entry < 0) | np.isinf(self.entry), "entry must be finite and 0 or more")
        _refuse(self.upper < self.lower, "upper is below lower")
        _refuse((self.entry > 0) & (self.upper <= self.entry), "the failure lies at or before the entry age")

    @property
    def failed(self) -> float:
        """Count the lives known to have ended."""
        return float(self.count[np.isfinite(self.upper)].sum())

    @property
    def total(self) -> float:
        """Count all lives."""
        return float(self.count.sum())

    def collapsed(self) -> LifeObservations:
        """Return the distinct rows in sorted order with summed counts; rows of count 0 are dropped.

        A left-censored row that entered late is written as the interval from its entry age, since it was known
        good there, and a row censored before its entry age tells nothing and is dropped. Estimates are computed
        from this form, so they do not depend on the order of the rows.
        """
        known = self.__dict__.get("_distinct")
        if known is None:
            known = self._collapse()
            for rows in (self, known):
                object.__setattr__(rows, "_distinct", known)
        return known

    def _collapse(self) -> LifeObservations:
        kept = self.count > 0
        columns = [np.maximum(self.lower, self.entry)[kept], self.upper[kept], self.entry[kept]]
        order, starts = _distinct(columns)
        lower, upper, entry = (column[order[starts]] for column in columns)
        count = self.count[kept][order]
        summed = np.add.reduceat(count, starts) if len(starts) else count
        return LifeObservations._made_of_sound_rows(lower, upper, summed, entry)


def without_unknown(
    lower: ArrayLike, upper: ArrayLike, count: ArrayLike | None = None, entry: ArrayLike | None = None
) -> tuple[LifeObservations, float]:
    """Leave out rows with an unknown (NaN) age and return the observations and the number of lives left out.

    Shapes as in LifeObservations. Raises ValueError as LifeObservations does for what remains.
    """
    low, up = np.array(lower, dtype=float, ndmin=1), np.array(upper, dtype=float, ndmin=1)
    number = np.ones_like(low) if count is None else np.array(count, dtype=float, ndmin=1)
    start = np.zeros_like(low) if entry is None else np.array(entry, dtype=float, ndmin=1)
    unknown = np.isnan(low) | np.isnan(up) | np.isnan(start)
    kept = ~unknown
    return LifeObservations(low[kept], up[kept], number[kept], start[kept]), float(number[unknown].sum())


def binned(observations: LifeObservations, ratio: float = 0.005) -> LifeObservations:
    """Group ages into geometric bins whose edges lie `ratio` apart, and return one row per occupied cell.

    A cell is a kind of row and the bins of its lower, upper and entry age; each cell stands at the weighted mean
    of the logarithms of its ages, so that the error of a log-likelihood is of second order in the width (a
    variance of ratio^2 / 12 on the log scale). Raises ValueError unless 0 < ratio <= 0.1.
    """
    if not 0 < ratio <= 0.1:
        raise ValueError(f"the bin ratio must lie above 0 and at most 0.1; found {ratio}")
    rows = observations.collapsed()
    logs = [_log_age(a) for a in (rows.lower, rows.upper, rows.entry)]
    exact = (rows.lower == rows.upper).astype(float)
    order, starts = _distinct([exact, *(np.floor(a / np.log1p(ratio)) for a in logs)])
    if not len(starts):
        return rows
    count = np.add.reduceat(rows.count[order], starts)
    with np.errstate(invalid="ignore"):
        lower, upper, entry = (np.exp(np.add.reduceat((rows.count * a)[order], starts) / count) for a in logs)
    sharp = exact[order][starts] == 1
    upper = np.where(sharp, lower, np.maximum(upper, lower))
    return LifeObservations._made_of_sound_rows(lower, upper, count, np.minimum(entry, lower)).collapsed()


def _distinct(columns: Sequence[Ages]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the order of rows by their columns, the first column first, and at which of these places a new row stands."""
    telling = [column for column in columns if (column != column[:1]).any()]  # the same throughout sorts nothing
    number = len(columns[0])
    order = np.lexsort(telling[::-1]) if telling else np.arange(number)
    new = np.zeros(number, dtype=bool)
    new[:1] = True
    for column in telling:
        placed = column[order]
        new[1:] |= placed[1:] != placed[:-1]
    return order, np.flatnonzero(new)


def _log_age(age: Ages) -> Ages:
    with np.errstate(divide="ignore"):
        return np.log(age)


def _refuse(bad: NDArray[np.bool_], what: str) -> None:
    """Raise the sentence with the number of offending rows and the first of them (counted from 1)."""
    if bad.any():
        raise ValueError(f"{what} in {int(bad.sum())} of {len(bad)} rows, first in row {int(bad.argmax()) + 1}")

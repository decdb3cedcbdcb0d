"""What an estimator hands back: an estimate with its interval, or the statement that data are too few."""

from dataclasses import dataclass

from analytics.estimators.arrays import FloatArray


@dataclass(frozen=True)
class Intervals:
    """Hold estimates of many groups with two-sided limits, each an array of one shape; no value is NaN."""

    estimate: FloatArray
    lower: FloatArray
    upper: FloatArray
    level: float
    method: str


@dataclass(frozen=True)
class Interval:
    """Hold one estimate with two-sided limits, its method, and the observations and units behind it."""

    estimate: float
    lower: float
    upper: float
    observations: int
    units: int
    level: float
    method: str


@dataclass(frozen=True)
class TooFew:
    """Say that there are too few data: what was counted, how many there are and how many it takes."""

    what: str
    found: int
    needed: int

    def __str__(self) -> str:
        return f"too few to say ({self.found} of {self.needed} {self.what})"

"""An estimate with its interval, and the refusal to give one."""

from dataclasses import dataclass
from math import isnan


class TooFewToSay(ValueError):
    """Refuse a figure that rests on too few records; the message is the sentence to show.

    `have` and `need` are counts of `what`, for instance "too few to say (3 of 10 readings)".
    """

    def __init__(self, have: int, need: int, what: str) -> None:
        super().__init__(f"too few to say ({have} of {need} {what})")
        self.have = have
        self.need = need
        self.what = what


@dataclass(frozen=True)
class Estimate:
    """Hold a point estimate with its interval at `level` and the method's name; none of them is NaN."""

    value: float
    lower: float
    upper: float
    level: float
    method: str

    def __post_init__(self) -> None:
        if isnan(self.value) or isnan(self.lower) or isnan(self.upper):
            raise ValueError(f"expected numbers from {self.method}, found NaN")


def require_level(level: float) -> None:
    """Raise ValueError unless `level` is a coverage between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError(f"expected a level between 0 and 1, found {level}")

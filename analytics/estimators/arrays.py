"""Array types and the checks that every estimator makes of its input."""

from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


def as_numbers(name: str, values: npt.ArrayLike) -> FloatArray:
    """Return values as floats; raise ValueError naming the first that is not a finite number."""
    numbers = np.asarray(values, dtype=np.float64)
    _refuse(name, numbers, ~np.isfinite(numbers), "a finite number")
    return numbers


def as_amounts(name: str, values: npt.ArrayLike) -> FloatArray:
    """Return values as floats at or above zero; raise ValueError naming the first that is not."""
    numbers = as_numbers(name, values)
    _refuse(name, numbers, numbers < 0, "zero or more")
    return numbers


def as_positive(name: str, values: npt.ArrayLike) -> FloatArray:
    """Return values as floats above zero; raise ValueError naming the first that is not."""
    numbers = as_numbers(name, values)
    _refuse(name, numbers, numbers <= 0, "more than zero")
    return numbers


def as_counts(name: str, values: npt.ArrayLike) -> FloatArray:
    """Return values as whole numbers at or above zero as floats; raise ValueError naming the first that is not."""
    numbers = as_amounts(name, values)
    _refuse(name, numbers, numbers != np.floor(numbers), "a whole number")
    return numbers


def as_codes(name: str, values: npt.ArrayLike) -> IntArray:
    """Return values as integer codes from zero; raise ValueError naming the first that is not."""
    given = np.asarray(values)
    if given.dtype.kind in "bu" or (given.dtype.kind == "i" and (not given.size or given.min() >= 0)):
        return given.astype(np.int64, copy=False)
    return as_counts(name, given).astype(np.int64)


def tail(level: float) -> float:
    """Return the probability in one tail of a two-sided interval at this level (0.025 at 0.95)."""
    if not 0 < level < 1:
        raise ValueError(f"level must lie between 0 and 1, found {level}")
    return (1 - level) / 2


def ranked(values: FloatArray | IntArray) -> tuple[npt.NDArray[Any], IntArray]:
    """Return the distinct values in ascending order, and for each value its place among them.

    Whole numbers in a short range, such as days or codes, are counted instead of sorted, which is many times faster.
    """
    if len(values):
        low, high = values.min(), values.max()
        if high - low <= 4 * len(values) + 1000:
            steps = (values - low).astype(np.int64)
            if values.dtype.kind == "i" or np.array_equal(steps + low, values):
                seen = np.bincount(steps) > 0
                return np.flatnonzero(seen).astype(values.dtype) + low, (np.cumsum(seen) - 1)[steps]
    distinct, place = np.unique(values, return_inverse=True)
    return distinct, place


def same_length(**arrays: FloatArray | IntArray | BoolArray) -> None:
    """Raise ValueError unless all arrays have one and the same shape."""
    shapes = {name: array.shape for name, array in arrays.items()}
    if len(set(shapes.values())) > 1:
        listed = ", ".join(f"{name} {shape}" for name, shape in shapes.items())
        raise ValueError(f"arrays must have one length, found {listed}")


def _refuse(name: str, numbers: FloatArray, wrong: BoolArray, wanted: str) -> None:
    if np.any(wrong):
        first = int(np.flatnonzero(np.ravel(wrong))[0])
        raise ValueError(f"{name} must be {wanted} everywhere, found {np.ravel(numbers)[first]:g} at place {first}")

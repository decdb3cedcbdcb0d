"""Correction for looking at many comparisons at once."""

import numpy as np
import numpy.typing as npt

from analytics.estimators.arrays import FloatArray, as_amounts


def benjamini_hochberg(p_values: npt.ArrayLike) -> FloatArray:
    """Give the adjusted p value of each look: the smallest false discovery rate at which it would be listed.

    p_values: (looks) every look of the stated family, also those that showed nothing. Raises ValueError unless all
    lie in 0 .. 1. Method: Benjamini & Hochberg, J. R. Stat. Soc. B 57 (1995) 289 (step-up; independent or positively
    dependent looks).
    """
    p = as_amounts("p_values", p_values)
    if np.any(p > 1):
        raise ValueError(f"p_values must not exceed 1, found {float(p.max()):g}")
    if p.size == 0:
        return p
    order = np.argsort(p)
    stepped = p[order] * (p.size / np.arange(1, p.size + 1))
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum.accumulate(stepped[::-1])[::-1]
    return np.clip(adjusted, 0.0, 1.0)

"""Response slope: sign, coverage, slips, errors in the pack, refusals."""

import numpy as np
import pytest
import statsmodels.api as sm

from analytics.estimators.interval import TooFew
from analytics.estimators.response_slope import ResponseSlope, response_slope


def trials(
    random: np.random.Generator, slope: float, jobs: int = 30, pack_deviation: float = 0.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Draw two to four trials a job; repeatability 0.01, each job with its own level."""
    packs, readings, names = [], [], []
    for job in range(jobs):
        true = 1.0 + np.cumsum(random.choice([-0.1, 0.05, 0.1, 0.2], size=random.integers(2, 5)))
        level = random.normal(66, 0.3)
        packs += list(true + random.normal(0, pack_deviation, true.size))
        readings += list(level + slope * true + random.normal(0, 0.01, true.size))
        names += [f"job {job}"] * true.size
    return np.array(packs), np.array(readings), np.array(names)


def fit(*arguments: object, **options: object) -> ResponseSlope:
    found = response_slope(*arguments, **options)
    assert isinstance(found, ResponseSlope)
    return found


@pytest.mark.parametrize("slope", [-1.0, 0.85])
def test_interval_covers_with_the_right_sign(slope: float) -> None:
    random = np.random.default_rng(4301)
    hits = 0
    for _ in range(200):
        found = fit(*trials(random, slope, jobs=15)).slope
        hits += found.lower <= slope <= found.upper
        assert np.sign(found.estimate) == np.sign(slope)
    assert 0.90 <= hits / 200 <= 0.99


def test_clean_trials_agree_with_least_squares_with_a_level_a_job() -> None:
    packs, readings, names = trials(np.random.default_rng(4302), 0.9)
    codes = np.unique(names, return_inverse=True)[1]
    design = np.column_stack([packs, np.eye(codes.max() + 1)[codes]])
    oracle = sm.OLS(readings, design).fit()
    found = fit(packs, readings, names)
    assert found.slope.estimate == pytest.approx(oracle.params[0], abs=0.3 * oracle.bse[0])
    assert found.deviation == pytest.approx(0.01, rel=0.4)


def test_slips_are_named_and_hardly_move_the_slope() -> None:
    packs, readings, names = trials(np.random.default_rng(4303), -1.0)
    clean = fit(packs, readings, names)
    readings[10] += 1.0
    found = fit(packs, readings, names)
    assert 10 in found.outliers
    assert found.slope.estimate == pytest.approx(clean.slope.estimate, abs=0.02)


def test_error_in_the_pack_flattens_and_is_undone() -> None:
    random = np.random.default_rng(4304)
    raw, mended = [], []
    for _ in range(60):
        data = trials(random, 1.0, jobs=40, pack_deviation=0.03)
        raw.append(fit(*data).slope.estimate)
        mended.append(fit(*data, pack_deviation=0.03).slope.estimate)
    assert np.mean(raw) < 0.96
    assert np.mean(mended) == pytest.approx(1.0, abs=0.02)


def test_row_order_does_not_matter() -> None:
    packs, readings, names = trials(np.random.default_rng(4305), 0.7)
    shuffle = np.random.default_rng(1).permutation(packs.size)
    assert fit(packs, readings, names).slope == fit(packs[shuffle], readings[shuffle], names[shuffle]).slope


def test_jobs_set_at_the_first_trial_tell_nothing() -> None:
    assert response_slope([1, 1, 2], [5, 5, 6], "abc") == TooFew("jobs with a changed pack", 0, 6)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="a pack, a reading and a job"):
        response_slope([1.0], [1.0, 2.0], "a")
    data = trials(np.random.default_rng(4306), 1.0)
    with pytest.raises(ValueError, match="larger than the pack's own error"):
        response_slope(*data, pack_deviation=1.0)

"""Ridge against scikit-learn and true leave-one-out; Firth against direct maximisation; coverage of both."""

import numpy as np
import pytest
from scipy import optimize, special, stats
from sklearn.linear_model import LogisticRegression

from analytics.estimators.penalised_logistic import firth_logistic, ridge_logistic


def sample(seed, rows=200, columns=5):
    rng = np.random.default_rng(seed)
    x = (rng.random((rows, columns)) < rng.uniform(0.1, 0.5, columns)).astype(float)
    effect = rng.normal(0, 0.8, columns)
    y = rng.random(rows) < special.expit(-1 + x @ effect)
    return x, y.astype(int), effect


def standardised(x):
    return (x - x.mean(0)) / x.std(0)


@pytest.mark.parametrize("penalty", [0.5, 5.0, 80.0])
def test_ridge_agrees_with_scikit_learn(penalty):
    x, y, _ = sample(1)
    got = ridge_logistic(x, y, penalties=[penalty])
    oracle = LogisticRegression(C=1 / penalty, tol=1e-10, max_iter=10_000).fit(standardised(x), y)
    assert got.coefficient == pytest.approx(oracle.coef_[0] / x.std(0), abs=1e-5)
    assert got.predict(x).estimate == pytest.approx(oracle.predict_proba(standardised(x))[:, 1], abs=1e-6)


def test_joined_rows_and_their_order_change_nothing():
    x, y, _ = sample(2)
    joined, where = np.unique(x, axis=0, return_inverse=True)
    where = where.ravel()
    one = ridge_logistic(x, y)
    two = ridge_logistic(joined, np.bincount(where, weights=y), np.bincount(where))
    assert two.coefficient == pytest.approx(one.coefficient, abs=1e-8)
    assert two.deviance == pytest.approx(one.deviance, abs=1e-8)
    order = np.random.default_rng(0).permutation(len(y))
    assert np.array_equal(ridge_logistic(x[order], y[order]).coefficient, one.coefficient)


def test_left_out_deviance_is_close_to_leaving_out_in_earnest():
    x, y, _ = sample(3, rows=80)
    got = ridge_logistic(x, y, penalties=[1.0, 10.0])
    z = standardised(x)
    for place, penalty in enumerate([1.0, 10.0]):
        deviance = 0.0
        for row in range(len(y)):
            keep = np.arange(len(y)) != row
            fit = LogisticRegression(C=1 / penalty, tol=1e-10, max_iter=10_000).fit(z[keep], y[keep])
            share = fit.predict_proba(z[row : row + 1])[0, 1]
            deviance -= 2 * np.log(share if y[row] else 1 - share) / len(y)
        assert got.deviance[place] == pytest.approx(deviance, rel=5e-3)


def test_an_offset_is_taken_as_known():
    x, y, _ = sample(4, rows=2000)
    known = np.where(np.arange(2000) % 2, 1.5, 0.0)
    y = (np.random.default_rng(5).random(2000) < special.expit(-1 + known + x[:, 0])).astype(int)
    got = ridge_logistic(x, y, offset=known)
    assert got.coefficient[0] == pytest.approx(1.0, abs=0.3)
    assert got.predict(x[:1], known[1]).estimate > got.predict(x[:1], 0.0).estimate


def test_noise_is_drawn_in_hard_and_signal_is_not():
    rng = np.random.default_rng(6)
    x = rng.normal(size=(300, 20))
    noise = ridge_logistic(x, rng.random(300) < 0.3)
    signal = ridge_logistic(x, rng.random(300) < special.expit(x[:, 0] * 2 - x[:, 1]))
    assert noise.penalty > signal.penalty
    assert np.abs(noise.coefficient).max() < 0.3
    assert signal.coefficient[0] > 1


def penalised(beta, x, y):
    full = np.column_stack([np.ones(len(x)), x])
    line = full @ beta
    share = special.expit(line)
    information = (full.T * (share * (1 - share))) @ full
    return -(np.sum(y * line - np.logaddexp(0, line)) + 0.5 * np.linalg.slogdet(information)[1])


def test_firth_maximises_its_likelihood_and_profiles_it():
    x, y, _ = sample(7, rows=40, columns=2)
    got = firth_logistic(x, y)
    best = optimize.minimize(penalised, np.zeros(3), args=(x, y), method="BFGS", options={"gtol": 1e-8})
    assert np.append(got.intercept, got.coefficient) == pytest.approx(best.x, abs=1e-4)
    for end in (got.lower[0], got.upper[0]):
        fixed = optimize.minimize(lambda b, end=end: penalised(np.array([b[0], end, b[1]]), x, y), best.x[[0, 2]])
        assert 2 * (fixed.fun - best.fun) == pytest.approx(stats.chi2.ppf(0.95, 1), abs=1e-3)


def test_firth_is_finite_where_a_column_parts_failed_from_sound():
    x = np.array([[1.0]] * 6 + [[0.0]] * 9)
    got = firth_logistic(x, [1] * 6 + [0] * 9)
    # One 2 by 2 table: Firth adds half to every cell.
    assert got.coefficient[0] == pytest.approx(np.log(6.5 / 0.5 * 9.5 / 0.5), abs=1e-4)
    assert 0 < got.lower[0] < got.coefficient[0] < got.upper[0]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: ridge_logistic([[1.0], [0.0]], [0, 0]), "some but not all"),
        (lambda: ridge_logistic([1.0, 0.0], [0, 1]), "rows, columns"),
        (lambda: firth_logistic([[1.0, 1.0], [0.0, 0.0], [1.0, 1.0]], [0, 1, 1]), "depend on each other"),
    ],
)
def test_refuses_impossible_input_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_firth_limits_and_ridge_probabilities_cover_what_they_promise():
    rng, held, repeats = np.random.default_rng(20260120), np.zeros(2), 150
    for _ in range(repeats):
        x = (rng.random((60, 1)) < 0.4).astype(float)
        y = rng.random(60) < special.expit(-1.5 + 1.2 * x[:, 0])
        if 0 < y.sum() < 60 and 0 < x.sum() < 60:
            fit = firth_logistic(x, y)
            held[0] += fit.lower[0] <= 1.2 <= fit.upper[0]
        effect = rng.normal(0, 0.5, 12)
        clues = (rng.random((300, 12)) < 0.3).astype(float)
        truth = special.expit(-1 + clues @ effect)
        found = ridge_logistic(clues, rng.random(300) < truth).predict(clues)
        held[1] += np.mean((found.lower <= truth) & (truth <= found.upper))
    assert 0.91 <= held[0] / repeats <= 0.99
    assert 0.9 <= held[1] / repeats <= 0.98

"""Lay out one group's life for charts: the curve without a model, the fitted line, Weibull paper, the parameters."""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy.special import gamma

from analytics.estimators.life_curve import LifeCurve, life_curve
from analytics.estimators.life_estimate import LifeEstimate, LifeQuantile, life_estimate
from analytics.estimators.life_fit import LifeFit
from analytics.estimators.life_given_spread import lives_given_spread
from analytics.estimators.life_models import WEIBULL
from analytics.estimators.life_observations import binned
from analytics.life_groups import LEVEL, OWN, SHARED, GroupLife, longest

SHARES = (0.01, 0.02, 0.03, 0.05, 0.07, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99)
MOST_ROWS = 600  # of distinct lives; above it the curve is drawn from bins of DRAWN
DRAWN = 0.02
FURTHER = 1.3  # the fitted line is drawn this many times as far as any life was seen

_STEPS = {"from_km": pl.Float64, "to_km": pl.Float64, "mass": pl.Float64, "share": pl.Float64}
_FITTED = {"share": pl.Float64, "km": pl.Float64, "low": pl.Float64, "high": pl.Float64}
_PAPER = {"what": pl.String, "km": pl.Float64, "share": pl.Float64, "height": pl.Float64}
_MODELS = {
    "model": pl.String, "weight": pl.Float64, "scale": pl.Float64, "shape": pl.Float64, "location": pl.Float64,
    "location_error": pl.Float64, "log_spread": pl.Float64, "log_spread_error": pl.Float64,
    "log_likelihood": pl.Float64, "aic": pl.Float64, "mean": pl.Float64, "deviation": pl.Float64,
}  # fmt: skip


def curves_of(life: GroupLife | None) -> dict[str, pl.DataFrame]:
    """Return the frames steps, fitted, paper and models of one group; empty ones where there is nothing to draw.

    steps: from_km, to_km, mass (share worn between them), share (worn by to_km); fitted: share, km, low, high (90 %);
    paper: what (seen, fitted, low, high), km, share, height = ln(-ln(1 - share)), on which a Weibull life is straight
    over ln km; models: parameters, errors, log-likelihood, mean and deviation of each model (km).
    """
    steps = pl.DataFrame(schema=_STEPS)
    fitted = pl.DataFrame(schema=_FITTED)
    models = pl.DataFrame(schema=_MODELS)
    if life is not None:
        curve = _free_curve(life)
        if curve is not None:
            steps = pl.DataFrame(
                {"from_km": curve.left, "to_km": curve.right, "mass": curve.mass, "share": curve.failed_by_right},
                schema=_STEPS,
            )
        fitted = _fitted(life)
        if life.estimate is not None:
            weights = life.estimate.weights
            models = pl.DataFrame(
                [_model(fit, weight) for fit, weight in zip(life.estimate.fits, weights, strict=True)], schema=_MODELS
            )
    return {"steps": steps, "fitted": fitted, "paper": _paper(steps, fitted), "models": models}


def free_share(life: GroupLife, km: float) -> float | None:
    """Return the share worn by a distance on the curve without a model, None where there is none."""
    curve = _free_curve(life)
    return None if curve is None else float(curve.failed_by(np.array([km]))[0])


def _free_curve(life: GroupLife) -> LifeCurve | None:
    rows = life.observations
    found = life_curve(rows if len(rows.lower) <= MOST_ROWS else binned(rows, DRAWN))
    return found if isinstance(found, LifeCurve) else None


def _fitted(life: GroupLife) -> pl.DataFrame:
    quantiles: tuple[LifeQuantile, ...] = ()
    if life.basis == OWN:
        found = life_estimate(life.observations, SHARES, LEVEL, life.inflation)
        quantiles = found.quantiles if isinstance(found, LifeEstimate) else ()
    elif life.basis == SHARED and life.spread is not None:
        quantiles = lives_given_spread([life.observations], life.spread, SHARES, LEVEL)[0]
    end = FURTHER * longest(life.observations)
    return pl.DataFrame(
        [
            (q.share, q.estimate, q.lower, None if np.isinf(q.upper) else q.upper)
            for q in quantiles
            if q.estimate <= end
        ],
        schema=_FITTED, orient="row",
    )  # fmt: skip


def _paper(steps: pl.DataFrame, fitted: pl.DataFrame) -> pl.DataFrame:
    parts = [steps.select(pl.lit("seen").alias("what"), pl.col("to_km").alias("km"), "share")]
    for what, column in (("fitted", "km"), ("low", "low"), ("high", "high")):
        parts.append(fitted.select(pl.lit(what).alias("what"), pl.col(column).alias("km"), "share"))
    inside = pl.concat(parts).filter((pl.col("share") > 0) & (pl.col("share") < 1) & (pl.col("km") > 0))
    return inside.with_columns((-(-pl.col("share")).log1p()).log().alias("height")).select(list(_PAPER))


def _model(fit: LifeFit, weight: float) -> dict[str, object]:
    if fit.model is WEIBULL:
        first, second = (float(fit.scale**k * gamma(1 + k * fit.spread)) for k in (1, 2))
    else:
        first, second = (float(np.exp(k * fit.location + (k * fit.spread) ** 2 / 2)) for k in (1, 2))
    errors = np.sqrt(np.diag(fit.covariance))
    found = {
        "model": fit.model.name, "weight": weight, "scale": fit.scale, "shape": fit.shape, "location": fit.location,
        "location_error": float(errors[0]), "log_spread": float(np.log(fit.spread)),
        "log_spread_error": float(errors[1]), "log_likelihood": fit.log_likelihood, "aic": fit.aic, "mean": first,
        "deviation": float(np.sqrt(max(second - first**2, 0.0))),
    }  # fmt: skip
    return {k: v if isinstance(v, str) or np.isfinite(v) else None for k, v in found.items()}  # type: ignore[call-overload]

"""Gauge study: how much of a reading's spread is the gauge, the hands that hold it, and the part."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.estimators.arrays import FloatArray, IntArray, as_numbers, tail
from analytics.estimators.interval import Interval, TooFew
from analytics.estimators.variance_components import (
    MeanSquare,
    modified_large_sample,
    recovered_sum,
    restricted_likelihood,
    satterthwaite,
)

Interaction = Literal["test", "keep", "drop"]


@dataclass(frozen=True)
class GaugeStudy:
    """Hold variances (unit of the readings squared) by source, each with its interval.

    gauge = repeatability + reproducibility; reproducibility = operator + interaction; total = gauge + part.
    Negative estimates are set to zero and named in `set_to_zero`. `table` is the analysis of variance of
    a balanced study, empty otherwise. `share_of_total` is the gauge's standard deviation over the total's;
    `tolerance_ratio` is 6 gauge standard deviations over the tolerance, None without one.
    """

    readings: int
    parts: int
    operators: int
    balanced: bool
    interaction_kept: bool
    table: tuple[MeanSquare, ...]
    repeatability: Interval
    operator: Interval
    interaction: Interval
    reproducibility: Interval
    gauge: Interval
    part: Interval
    total: Interval
    share_of_total: float
    tolerance_ratio: float | None
    set_to_zero: tuple[str, ...]
    method: str


@dataclass(frozen=True)
class _Design:
    values: FloatArray
    part: IntArray
    operator: IntArray
    parts: int
    operators: int
    cell_counts: IntArray

    @property
    def repeats(self) -> int:
        return int(self.cell_counts.max())

    @property
    def balanced(self) -> bool:
        return bool((self.cell_counts == self.repeats).all()) and self.repeats > 1


def gauge_study(
    readings: ArrayLike,
    parts: Sequence[object],
    operators: Sequence[object],
    interaction: Interaction = "test",
    keep_below: float = 0.25,
    tolerance: float | None = None,
    level: float = 0.95,
) -> GaugeStudy | TooFew:
    """Split the variance of repeated readings into repeatability, reproducibility and part.

    One reading a row: `readings` (any unit), `parts`, `operators` (names). Part, operator and their
    interaction are random. `interaction`: "keep", "drop" (pooled with repeatability), or "test": kept
    where its F test has p < `keep_below`. Every part read equally often by every operator: analysis of
    variance, modified large-sample intervals (Burdick & Larsen 1997; Burdick, Borror & Montgomery 2003).
    Unbalanced: restricted maximum likelihood, Satterthwaite intervals from its expected information,
    recovered for sums; the interaction is then kept unless "drop". Gives TooFew below 2 parts, 2 operators or 5 repeats.
    Raises ValueError for unequal lengths, non-finite readings, or no spread within repeats.
    """
    tail(level)
    design = _design(as_numbers("readings", readings), parts, operators)
    short = _too_few(design)
    if short is not None:
        return short
    if design.balanced:
        return _balanced(design, interaction, keep_below, tolerance, level)
    return _unbalanced(design, interaction != "drop", tolerance, level)


def _design(values: FloatArray, parts: Sequence[object], operators: Sequence[object]) -> _Design:
    if not values.size == len(parts) == len(operators):
        raise ValueError(
            f"expected a part and an operator a reading, found {len(parts)} and {len(operators)} for {values.size}"
        )
    part_names, part = np.unique(np.asarray([str(name) for name in parts]), return_inverse=True)
    operator_names, operator = np.unique(np.asarray([str(name) for name in operators]), return_inverse=True)
    order = np.lexsort((values, operator, part))
    counts = np.zeros((part_names.size, operator_names.size), dtype=np.int64)
    np.add.at(counts, (part, operator), 1)
    return _Design(values[order], part[order], operator[order], part_names.size, operator_names.size, counts)


def _too_few(design: _Design) -> TooFew | None:
    repeats = int(np.maximum(design.cell_counts - 1, 0).sum())
    for what, found, needed in (
        ("parts", design.parts, 2),
        ("operators", design.operators, 2),
        ("repeated readings", repeats, 5),
    ):
        if found < needed:
            return TooFew(what, found, needed)
    return None


def _balanced(
    design: _Design, interaction: Interaction, keep_below: float, tolerance: float | None, level: float
) -> GaugeStudy:
    part, operator, crossed, error = _mean_squares(design)
    kept = interaction == "keep" or (interaction == "test" and (crossed.probability or 0.0) < keep_below)
    if not kept:
        error = error.pooled_with(crossed)
    p, o, r = design.parts, design.operators, design.repeats
    within = crossed if kept else error
    terms = {
        "repeatability": ((error, 1.0),),
        "operator": ((operator, 1 / (p * r)), (within, -1 / (p * r))),
        "interaction": ((crossed, 1 / r), (error, -1 / r)) if kept else (),
        "part": ((part, 1 / (o * r)), (within, -1 / (o * r))),
    }
    if kept:
        terms["reproducibility"] = (
            (operator, 1 / (p * r)), (crossed, (p - 1) / (p * r)), (error, -1 / r),
        )  # fmt: skip
        terms["gauge"] = ((operator, 1 / (p * r)), (crossed, (p - 1) / (p * r)), (error, (r - 1) / r))
        terms["total"] = (
            (part, 1 / (o * r)), (operator, 1 / (p * r)),
            (crossed, (p * o - p - o) / (p * o * r)), (error, (r - 1) / r),
        )  # fmt: skip
    else:
        terms["reproducibility"] = terms["operator"]
        terms["gauge"] = ((operator, 1 / (p * r)), (error, 1 - 1 / (p * r)))
        terms["total"] = (
            (part, 1 / (o * r)), (operator, 1 / (p * r)), (error, 1 - 1 / (o * r) - 1 / (p * r)),
        )  # fmt: skip
    components = {
        name: modified_large_sample(combination, design.values.size, p, level) for name, combination in terms.items()
    }
    return _finish(
        design, kept, (part, operator, crossed, error), components, tolerance,
        "analysis of variance, modified large-sample intervals",
    )  # fmt: skip


def _mean_squares(design: _Design) -> tuple[MeanSquare, MeanSquare, MeanSquare, MeanSquare]:
    cube = design.values.reshape(design.parts, design.operators, design.repeats)
    p, o, r = cube.shape
    grand, by_part, by_operator, cells = cube.mean(), cube.mean((1, 2)), cube.mean((0, 2)), cube.mean(2)
    error = MeanSquare.of("repeatability", ((cube - cells[:, :, None]) ** 2).sum(), p * o * (r - 1), None)
    if error.mean_square == 0:
        raise ValueError("expected repeats that differ, found every repeated reading the same")
    crossing = cells - by_part[:, None] - by_operator[None, :] + grand
    crossed = MeanSquare.of("interaction", r * (crossing**2).sum(), (p - 1) * (o - 1), error)
    return (
        MeanSquare.of("part", o * r * ((by_part - grand) ** 2).sum(), p - 1, crossed),
        MeanSquare.of("operator", p * r * ((by_operator - grand) ** 2).sum(), o - 1, crossed),
        crossed,
        error,
    )


def _unbalanced(design: _Design, kept: bool, tolerance: float | None, level: float) -> GaugeStudy:
    cell = design.part * design.operators + design.operator
    factors = {"part": design.part, "operator": design.operator}
    if kept:
        factors["interaction"] = cell
    variances, covariance = restricted_likelihood(design.values, cell, factors)
    size, units = design.values.size, design.parts
    components = {
        name: satterthwaite(float(variance), float(uncertainty), size, units, level)
        for name, variance, uncertainty in zip(["repeatability", *factors], variances, np.diag(covariance), strict=True)
    }
    hands = [components["operator"], *([components["interaction"]] if kept else [])]
    components["reproducibility"] = recovered_sum(hands)
    components["gauge"] = recovered_sum([components["repeatability"], *hands])
    components["total"] = recovered_sum([components["repeatability"], *hands, components["part"]])
    if not kept:
        components["interaction"] = modified_large_sample((), design.values.size, design.parts, level)
    method = "restricted maximum likelihood, Satterthwaite intervals (unequal numbers of readings)"
    return _finish(design, kept, (), components, tolerance, method)


def _finish(
    design: _Design,
    kept: bool,
    table: tuple[MeanSquare, ...],
    components: dict[str, Interval],
    tolerance: float | None,
    method: str,
) -> GaugeStudy:
    names = ["repeatability", "operator", *(["interaction"] if kept else []), "part"]
    gauge, total = components["gauge"].estimate, components["total"].estimate
    return GaugeStudy(
        readings=design.values.size,
        parts=design.parts,
        operators=design.operators,
        balanced=bool(table),
        interaction_kept=kept,
        table=table,
        share_of_total=float(np.sqrt(gauge / total)),
        tolerance_ratio=None if tolerance is None else float(6 * np.sqrt(gauge) / _positive(tolerance)),
        set_to_zero=tuple(name for name in names if components[name].estimate == 0),
        method=method,
        **components,
    )


def _positive(tolerance: float) -> float:
    if not tolerance > 0:
        raise ValueError(f"expected a tolerance above zero, found {tolerance}")
    return tolerance


def repeatability_from_repeats(
    readings: ArrayLike, groups: Sequence[object], level: float = 0.95, minimum: int = 5
) -> Interval | TooFew:
    """Estimate the standard deviation of a single reading from repeats of anything, pooled within groups.

    `groups` names what was read (job, quantity, operator). Pooled variance over its degrees of freedom,
    chi-square interval. Gives TooFew below `minimum` repeats.
    """
    values = as_numbers("readings", readings)
    _, codes = np.unique(np.asarray([str(name) for name in groups]), return_inverse=True)
    order = np.lexsort((values, codes))
    values, codes = values[order], codes[order]
    counts = np.bincount(codes)
    degrees = int((counts - 1).sum())
    if degrees < minimum:
        return TooFew("repeated readings", degrees, minimum)
    squares = float(((values - (np.bincount(codes, values) / counts)[codes]) ** 2).sum())
    side = tail(level)
    low, high = np.sqrt(squares / (2 * special.gammaincinv(degrees / 2, [1 - side, side])))
    return Interval(
        float(np.sqrt(squares / degrees)), float(low), float(high), values.size, int((counts > 1).sum()), level,
        "pooled within groups, chi-square",
    )  # fmt: skip

"""Read measured wear (ring gap, end float) against the distance that the part had run."""

from __future__ import annotations

import polars as pl

from analytics.component_lives import FILTERS
from analytics.estimators.wear_line import WearLine, wear_line
from analytics.history import History
from analytics.scope_sql import conditions

STEP_KM = 10_000.0
QUANTITIES = {"ring_gap": "n.ring_gap_um", "end_float": "n.end_float_um"}
_SCHEMA: dict[str, type[pl.DataType]] = {
    "quantity": pl.String, "component": pl.String, "family": pl.String, "readings": pl.Int64, "units": pl.Int64,
    "at_new_um": pl.Float64, "per_10000_km_um": pl.Float64, "low_um": pl.Float64, "high_um": pl.Float64,
}  # fmt: skip


def measured_wear(history: History) -> pl.DataFrame:
    """Return how ring gap and end float move a 10,000 km, by family and component, with 90 % limits.

    Readings of parts whose distance is known; limits allow for several readings of one unit. Among units that came in.
    Columns: quantity, component, family, readings, units, at_new_um, per_10000_km_um, low_um, high_um.
    """
    if history.scope.supplier is not None:
        return pl.DataFrame(schema=_SCHEMA)
    where, values = conditions(history.scope, FILTERS)
    rows = []
    for quantity, column in QUANTITIES.items():
        found = history.query(
            f"""
            select c.component, c.family, l.unit_id, l.age / 1000.0 as km, {column}::double as um
            from known_life_inspection as l
            join known_finding as n on n.job_id = l.job_id and n.position_id = l.position_id
            join known_visit as v on v.job_id = l.job_id
            join known_position as c on c.position_id = l.position_id
            where l.why_not is null and {column} is not null and l.age > 0 and {where}
            order by all
            """,
            values,
        )
        for group in found.partition_by("component", "family", maintain_order=True):
            line = wear_line(group["km"] / STEP_KM, group["um"], group["unit_id"])
            if isinstance(line, WearLine):
                rows.append(
                    (quantity, group["component"][0], group["family"][0], line.readings, line.units, line.at_new,
                     line.slope, line.lower, line.upper)
                )  # fmt: skip
    return pl.DataFrame(rows, schema=_SCHEMA, orient="row")

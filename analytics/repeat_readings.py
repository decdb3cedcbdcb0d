"""Split the scatter of repeated readings into repeat, hands and part."""

from __future__ import annotations

import datetime as dt

import polars as pl

from analytics.estimators.gauge_study import GaugeStudy, gauge_study
from analytics.estimators.interval import TooFew
from analytics.history import History

_REPEATS = """
with repeated as (  -- one row per job, quantity and location read more than once as built, without points
  select m.job, m.quantity, m.location from known_measurement as m join known_job as j using (job)
  where m.stage = 'as_built' and m.point is null and m.technician is not null and m.location is not null
    and ($family is null or j.family = $family) and {read}
  group by all having count(*) > 1 and count(distinct m.technician) > 1
)
select m.job, m.quantity, m.location, m.technician, m.instrument, m.value::double as value
from known_measurement as m join repeated as r using (job, quantity, location)
where m.stage = 'as_built' and m.point is null and m.technician is not null and {read}
order by all
"""
_SCHEMA = {
    "quantity": pl.String, "source": pl.String, "deviation": pl.Float64, "low": pl.Float64, "high": pl.Float64,
    "readings": pl.Int64, "parts": pl.Int64, "operators": pl.Int64, "said": pl.String,
}  # fmt: skip


def repeat_readings(history: History, after: dt.date | None = None) -> pl.DataFrame:
    """Return repeatability and reproducibility of each quantity that several technicians read on one unit.

    One row per quantity and source (repeat: the same hands again, also with another gauge; hands: between
    technicians; gauge in all; part): standard deviation with 95 % limits (um or mN.m), readings, parts, operators, said
    (too few). Analysis of variance with random parts and operators, restricted likelihood where numbers are unequal.
    """
    values: dict[str, object] = {"family": history.scope.family}
    if after is not None:
        values["after"] = after
    read = "true" if after is None else "m.known_on > $after"
    frame = history.query(_REPEATS.format(read=read), values)
    rows: list[dict[str, object]] = []
    for (quantity,), part in sorted(frame.partition_by("quantity", as_dict=True, maintain_order=True).items()):
        parts = part.select(pl.format("{} {}", "job", "location")).to_series().to_list()
        found: GaugeStudy | TooFew = gauge_study(part["value"].to_numpy(), parts, part["technician"].to_list())
        if isinstance(found, TooFew):
            rows.append({"quantity": quantity, "source": "gauge in all", "readings": part.height, "said": str(found)})
            continue
        for source, variance in (
            ("repeat", found.repeatability), ("hands", found.reproducibility), ("gauge in all", found.gauge),
            ("part", found.part),
        ):  # fmt: skip
            spread = [max(end, 0.0) ** 0.5 for end in (variance.estimate, variance.lower, variance.upper)]
            rows.append(
                {"quantity": quantity, "source": source, "deviation": spread[0], "low": spread[1], "high": spread[2],
                 "readings": found.readings, "parts": found.parts, "operators": found.operators}
            )  # fmt: skip
    return pl.DataFrame(rows, schema=_SCHEMA)

"""Learn how well each quantity is read: from repeats by one pair of hands, else from readings on the master."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import polars as pl

from analytics.history import History

FEWEST = 10  # repeats, or checks on the master, that it takes to speak of a spread

# One row per quantity and way of learning: sum of squares of what scatters like one reading, and its degrees.
_REPEATS = """
with apart as (  -- one row per job, place, stage and trial read by one technician with two gauges
  select m.quantity, min(m.instrument) as one, max(m.instrument) as other, max(m.known_on) as read_on, m.job,
    if(max_by(m.instrument, m.value) = max(m.instrument), 1, -1) * (max(m.value) - min(m.value))::double as signed
  from known_measurement as m
  where m.point is null and m.instrument is not null and m.technician is not null and {read}
  group by m.job, m.quantity, m.location, m.stage, m.trial, m.technician
  having count(*) = 2 and count(distinct m.instrument) = 2
),
following as (  -- what one gauge reads above the other, also where it creeps, is no scatter: differences in time
  select quantity, signed - lag(signed) over (partition by quantity, one, other order by read_on, job) as step
  from apart
),
paired as (select quantity, count(*) as degrees, sum(step * step) / 4 as squares from following
  where step is not null group by quantity),
round as (  -- four points round the ring: what alternates from point to point is neither level nor run-out
  select quantity, pow(sum(if(point % 2 = 1, value, -value)), 2) / 4.0 as square
  from known_measurement as m where {read} and point between 1 and 4 and quantity = 'backlash'
  group by job, quantity, location, stage, trial having count(*) = 4 and count(distinct point) = 4
),
checked as (
  select quantity, instrument, count(*) - 1 as degrees, var_samp(value - expected) * (count(*) - 1) as squares
  from known_gauge_check group by all having count(*) > 1
)
select quantity, 'the same technician with two gauges' as learned_from, sum(degrees)::bigint as degrees,
  sum(squares) as squares
from paired group by quantity
union all
select quantity, 'four points round the ring', count(*), sum(square) from round group by quantity
union all
select quantity, 'readings on the master', sum(degrees)::bigint, sum(squares) from checked group by quantity
order by 1, 2
"""
_FIRST_CHOICE = ("the same technician with two gauges", "four points round the ring", "readings on the master")


@dataclass(frozen=True)
class Repeatability:
    """Hold the standard deviation of one reading (um or mN.m) and what it was learned from."""

    deviation: float
    degrees: int
    learned_from: str


def reading_repeatability(history: History, after: dt.date | None = None) -> dict[str, Repeatability]:
    """Return how well each quantity is read; a quantity with too few repeats and checks is left out.

    Two gauges in one pair of hands: a quarter of the mean squared step from one such difference to the next of the
    same gauges, so that what one gauge reads above the other, or creeps, stays out. Four points round the ring: the
    alternating contrast, free of level and of run-out (a once-a-turn wave). The master: spread of its readings about
    each gauge's own mean; a lower bound, since a master is easier to read.
    """
    read = "true" if after is None else "m.known_on > $after"
    frame = history.query(_REPEATS.format(read=read), {} if after is None else {"after": after})
    found: dict[str, Repeatability] = {}
    for way in _FIRST_CHOICE:
        rows = frame.filter(pl.col("learned_from") == way)
        for quantity, degrees, squares in rows.select("quantity", "degrees", "squares").iter_rows():
            if quantity not in found and degrees >= FEWEST and squares > 0:
                found[quantity] = Repeatability(float(np.sqrt(squares / degrees)), degrees, way)
    return found

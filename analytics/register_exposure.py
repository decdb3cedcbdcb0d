"""Sum the distance that units on a fleet's register are known to have run."""

from __future__ import annotations

from analytics.scope import Scope

# One row per registered unit: distance between its first and last odometer reading since it was registered.
# Readings of one fitting only are subtracted, since the odometer is the vehicle's; a falling odometer adds nothing.
REGISTER_EXPOSURE = """
register as (
  select unit, register_entry from known_unit where register_entry is not null
),
reading as (  -- one row per unit, day and odometer
  select unit, seen as day, odometer_m from known_sighting where odometer_m is not null
  union
  select unit, opened, odometer_m from known_job
  where odometer_m is not null and coalesce(usage_basis, 'read') = 'read'
  union
  select unit, fitted_from, odometer_m from known_fitting where odometer_m is not null
),
placed as (  -- one row per reading of a registered unit, with the fitting it belongs to
  select r.unit, r.day, max(r.odometer_m) as odometer_m, any_value(t.fitted_from) as fitted_from,
    any_value(t.fleet) as fleet
  from reading as r
  join register as g on g.unit = r.unit and r.day >= g.register_entry
  asof join known_fitting as t on t.unit = r.unit and t.fitted_from <= r.day
  group by r.unit, r.day
),
step as (  -- one row per pair of neighbouring readings in one fitting
  select unit, fleet, lag(day) over readings as from_day, day, odometer_m - lag(odometer_m) over readings as metres
  from placed window readings as (partition by unit, fitted_from order by day)
),
exposure as (
  select unit, arg_max(fleet, day) as fleet, sum(metres)::double as distance_m, min(from_day) as first_day,
    max(day) as last_day
  from step where metres > 0 group by unit
)
"""


def exposure_meaningful(scope: Scope) -> bool:
    """Return whether distance can be given for this scope: by family, component, position or fleet only."""
    return set(scope.filters()) <= {"family", "component", "position", "fleet"} and scope.fleet != "private owners"

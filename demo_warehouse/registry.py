"""Put units and fittings on record, and write the later sightings of units."""

from __future__ import annotations

import numpy as np

from demo_warehouse.days import DAYS_A_MONTH, DAYS_A_YEAR, date_of, day_of
from demo_warehouse.rounding import METRES_A_MILE, on_scale
from demo_warehouse.rows import Row, chance
from demo_warehouse.vehicles import Unit, Vehicle
from demo_warehouse.world import World


class Registry:
    """Write units, fittings and sightings."""

    def __init__(self, world: World) -> None:
        """Begin with nothing on record."""
        self.world = world
        self.open_fittings: dict[str, Row] = {}
        self.known_from: dict[str, int] = {}
        self.sighted: dict[tuple[str, int, str], Row] = {}
        self.spans: list[tuple[Vehicle, Unit, Row]] = []

    def put_on_record(self, unit: Unit, vehicle: Vehicle | None, day: int) -> None:
        """Write a unit's row, and the fitting it is in where that is known."""
        if unit.on_record:
            return
        unit.on_record = True
        self.known_from[unit.tag] = day
        from_new = None
        if unit.register_entry is not None or unit.in_service_known:
            from_new = not unit.opened_elsewhere
        self.world.rows.add(
            "unit",
            unit=unit.tag,
            family=unit.family.name,
            serial_number=unit.serial,
            in_service_since=unit.in_service if unit.in_service_known and vehicle is not None else None,
            register_entry=unit.register_entry,
            lives_known_from_new=from_new,
            entered=day,
        )
        if vehicle is not None and unit.in_service_known and unit.fitted_from is None:
            self._fit(unit, vehicle, unit.in_service, 0.0, 0.0, unit.register_entry)

    def _fit(
        self, unit: Unit, vehicle: Vehicle, day: int, odometer: float, distance: float | None, listed: int | None
    ) -> None:
        unit.fitted_from = day
        row = self.world.rows.add(
            "fitting",
            unit=unit.tag,
            fitted_from=day,
            vehicle=vehicle.reference,
            fleet=vehicle.fleet.name if vehicle.fleet else None,
            duty=vehicle.duty,
            odometer=round(odometer / 1000) * 1000,
            unit_distance=None if distance is None else round(distance / 1000) * 1000,
            hours=vehicle.hours(day),
            listed=listed,
            entered=listed or day,
        )
        self.open_fittings[unit.tag] = row
        self.spans.append((vehicle, unit, row))

    def fit(self, unit: Unit, vehicle: Vehicle, day: int) -> None:
        """Fit a unit to a vehicle on a day."""
        unit.odometer_at_fitting = vehicle.odometer(day)
        vehicle.unit = unit
        known = unit.distance_at_fitting if unit.distance_known else None
        listed = day if vehicle.fleet else None
        self._fit(unit, vehicle, day, unit.odometer_at_fitting, known, listed)

    def note_fitting(self, unit: Unit, vehicle: Vehicle, day: int) -> None:
        """Write the first known fitting of a unit whose earlier years nobody knows."""
        if unit.fitted_from is None:
            self._fit(unit, vehicle, day, vehicle.odometer(day), None, None)

    def take_out(self, unit: Unit, day: int) -> None:
        """Close the fitting that a unit is in."""
        row = self.open_fittings.pop(unit.tag, None)
        if row is not None:
            row["fitted_to"] = max(day, row["fitted_from"])

    def sight(self, unit: Unit, vehicle: Vehicle, day: int, state: str, source: str) -> None:
        """Write one sighting; fleets that count in miles give whole miles."""
        metres = vehicle.odometer(day)
        miles = vehicle.fleet is not None and vehicle.fleet.sightings_unit == "mi"
        step = METRES_A_MILE if miles else 1000.0
        key = (unit.tag, day, source)
        if key in self.sighted:
            if state != "running":
                self.sighted[key]["state"] = state
            return
        self.sighted[key] = self.world.rows.add(
            "sighting", unit=unit.tag, seen=day, odometer=on_scale(metres, step), hours=vehicle.hours(day), state=state,
            source=source, entered=day,
        )  # fmt: skip

    def write_sightings(self) -> None:
        """Write register sightings of fleets and routine sightings of followed owners, fitting by fitting."""
        for vehicle, unit, row in self.spans:
            rng = self.world.rng(12, vehicle.number, row["fitted_from"] + 100_000)
            last = min(row.get("fitted_to") or self.world.end, vehicle.retires - 1, self.world.end)
            first = max(row["fitted_from"] + 1, vehicle.joined)
            if vehicle.fleet is not None:
                self._register(vehicle, unit, first, last)
            elif vehicle.followed:
                self._routine(vehicle, unit, first, last, rng)

    def _register(self, vehicle: Vehicle, unit: Unit, first: int, last: int) -> None:
        assert vehicle.fleet is not None
        every = 1 if vehicle.fleet.sightings == "month" else 3
        begins = max(first, day_of(vehicle.fleet.register_from))
        start = date_of(begins)
        if begins == vehicle.joined:
            self.sight(unit, vehicle, begins, "running", "register")
        month = start.year * 12 + start.month  # the month after, counted from nought
        while True:
            day = day_of(date_of(begins).replace(year=month // 12, month=month % 12 + 1, day=1)) + vehicle.number % 5
            if day > last:
                return
            if month % every == 0 and day > begins:
                self.sight(unit, vehicle, day, "running", "register")
            month += 1

    def _routine(self, vehicle: Vehicle, unit: Unit, first: int, last: int, rng: np.random.Generator) -> None:
        day = max(first, self.known_from[unit.tag]) + int(rng.uniform(60, DAYS_A_YEAR))
        while day <= last:
            self.sight(unit, vehicle, day, "running", "routine")
            day += int(rng.normal(DAYS_A_YEAR, 1.2 * DAYS_A_MONTH))

    def retire(self, unit: Unit, vehicle: Vehicle, day: int, rng: np.random.Generator) -> None:
        """Write that a vehicle went out of service, where anybody tells."""
        if not unit.on_record:
            return
        if vehicle.fleet is not None:
            self.sight(unit, vehicle, day, "retired", "register")
        elif vehicle.followed and chance(rng, 0.7):
            self.sight(unit, vehicle, day, "retired", "routine")
        if vehicle.fleet is not None or vehicle.followed:
            self.take_out(unit, day)

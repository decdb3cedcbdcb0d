"""Play the years: units wear, come in, go out, come back and retire, in the order of the days."""

from __future__ import annotations

import heapq

import numpy as np

from demo_warehouse.after_delivery import is_opened, payer_of, trouble_position, write_comeback
from demo_warehouse.days import DAYS_A_MONTH, DAYS_A_YEAR, date_of
from demo_warehouse.population import make_unit
from demo_warehouse.registry import Registry
from demo_warehouse.rows import chance
from demo_warehouse.trouble import Trouble, chance_within, first_trouble
from demo_warehouse.vehicles import NEVER, Unit, Vehicle
from demo_warehouse.visit import Visit, choose_kind, open_visit, play_visit
from demo_warehouse.world import World

OURS = frozenset({"our_work"})


class Years:
    """Hold the queue of coming events and play them."""

    def __init__(self, world: World) -> None:
        """Begin with an empty queue."""
        self.world = world
        self.registry = Registry(world)
        self.queue: list[tuple[int, int, str, int, int]] = []
        self._pushed = 0

    def play(self) -> None:
        """Play every event from the first vehicle's first day to the scenario's end."""
        for vehicle in self.world.vehicles:
            if vehicle.fleet is not None:
                self._push(vehicle.joined, "register", vehicle)
            self._schedule(vehicle, vehicle.begins)
        self._shelf_cores()
        while self.queue:
            day, _, kind, number, version = heapq.heappop(self.queue)
            if day > self.world.end:
                break
            if kind == "core":
                self._rebuild_core(self.world.units[number - 1], day)
                continue
            vehicle = self.world.vehicles[number - 1]
            if kind == "register":
                if not vehicle.retired:
                    self.registry.put_on_record(vehicle.fitted_unit, vehicle, day)
            elif version == vehicle.version and not vehicle.retired:
                self._happen(vehicle, day, kind)
        self.registry.write_sightings()

    def _push(self, day: int, kind: str, vehicle: Vehicle) -> None:
        self._pushed += 1
        heapq.heappush(self.queue, (day, self._pushed, kind, vehicle.number, vehicle.version))

    def _schedule(self, vehicle: Vehicle, after: int) -> None:
        """Put the vehicle's next event on the queue: worn, trouble, planned rebuild, a look, or the end."""
        vehicle.version += 1
        unit, rng = vehicle.fitted_unit, vehicle.rng
        usage = self.world.scenario.usage
        began = vehicle.day_at_unit_distance(float(unit.complains_at.min()))
        delay = max(1, round(usage.visit_delay_days * float(rng.lognormal(0, usage.visit_delay_spread))))
        coming = [(max(began + delay, after + 1), "wear"), (vehicle.retires, "retire")]
        if unit.trouble_day < NEVER:
            coming.append((max(unit.trouble_day, after + 1) + int(rng.integers(0, 8)), "trouble"))
        fleet = vehicle.fleet
        if fleet is not None and fleet.preventive_km and float(unit.start.min()) + fleet.preventive_km * 1000 > 0:
            due = vehicle.day_at_unit_distance(float(unit.start.min()) + fleet.preventive_km * 1000)
            if due > after:
                coming.append((max(due, vehicle.joined + 60), "preventive"))
        if vehicle.comes_to_us:
            look = rng.exponential(DAYS_A_YEAR / self.world.scenario.workshop.routine_inspection_per_year)
            coming.append((max(after, vehicle.joined) + 1 + int(min(look, 100_000)), "look"))
        day, kind = min(coming)
        self._push(day, kind, vehicle)

    def _happen(self, vehicle: Vehicle, day: int, kind: str) -> None:
        unit = vehicle.fitted_unit
        if kind == "retire":
            vehicle.retired = True
            self.registry.retire(unit, vehicle, day, vehicle.rng)
            return
        if kind == "trouble":
            self._trouble(vehicle, unit, day)
        elif kind == "wear":
            self._worn(vehicle, unit, day)
        elif self._comes_here(vehicle, unit, day):
            self._visit(vehicle, unit, day, kind, [], None)
        if not vehicle.retired:
            self._schedule(vehicle, day)

    def _comes_here(self, vehicle: Vehicle, unit: Unit, day: int) -> bool:
        if day < vehicle.joined or day < self.world.start or not vehicle.comes_to_us:
            return False
        if vehicle.fleet is not None:
            return not chance(vehicle.rng, self.world.scenario.usage.elsewhere_by_fleets)
        last = unit.last_job
        private = self.world.scenario.private
        if isinstance(last, Visit):
            free = last.in_warranty(day, vehicle.unit_distance(day))
            return chance(vehicle.rng, private.returns_in_warranty if free else private.returns_after_warranty)
        return True

    def _worn(self, vehicle: Vehicle, unit: Unit, day: int) -> None:
        """Bring a unit whose component complains to us, or to another workshop."""
        distance = vehicle.unit_distance(day)
        causes = [int(i) for i in np.flatnonzero(unit.complains_at <= distance)]
        causes.sort(key=lambda i: float(unit.complains_at[i]))
        if not causes:
            return
        if not self._comes_here(vehicle, unit, day):
            self._elsewhere(vehicle, unit, day)
            return
        drawn = vehicle.rng.random()
        shop = self.world.scenario.workshop
        new_owner = vehicle.fleet is None and not isinstance(unit.last_job, Visit)  # fleets have an agreement
        if new_owner and drawn < shop.quote_declined_share + shop.quote_no_answer_share:
            self._lost_quote(
                vehicle, unit, day, causes, "declined" if drawn < shop.quote_declined_share else "no_answer"
            )
            return
        self._visit(vehicle, unit, day, "wear", causes, None)

    def _lost_quote(self, vehicle: Vehicle, unit: Unit, day: int, causes: list[int], answer: str) -> None:
        """Write a quote that became no job, or a look inside that was paid with the strip fee."""
        rng = vehicle.rng
        kind = choose_kind(self.world, unit, causes, "wear", rng)
        base = (
            unit.family.base_price * {"full_rebuild": 1.15, "part_rebuild": 0.7, "setup_only": 0.5, "reseal": 0.3}[kind]
        )
        price = round(base * float(rng.lognormal(0.06, 0.18)) / 10) * 1000
        stripped = answer == "declined" and chance(rng, 0.5)
        visit = self._visit(vehicle, unit, day, "look", causes, None) if stripped else None
        self.world.rows.add(
            "quote", quoted_on=day, unit=unit.tag if unit.on_record else None, family=unit.family.name, job=None,
            scope=kind, price=price, strip_fee=19_000, answer=answer,
            answered_on=day + int(rng.integers(1, 15)) if answer == "declined" else None, entered=day,
        )  # fmt: skip
        if visit is not None:
            visit.row["invoiced"] = 19_000
        self._elsewhere(vehicle, unit, day + 20)

    def _elsewhere(self, vehicle: Vehicle, unit: Unit, day: int) -> None:
        """Let another workshop renew what has failed and some of what is worn; sometimes we hear of it."""
        usage = self.world.scenario.usage
        rng = vehicle.rng
        distance = vehicle.unit_distance(day)
        ratio = (distance - unit.start) / (unit.worn_at - unit.start)
        renewed = np.flatnonzero((ratio >= 1.0) | ((ratio > 0.7) & (rng.random(len(ratio)) < 0.5)))
        if renewed.size:
            self.world.lives.begin(unit, renewed, distance, vehicle.duty, "elsewhere", rng)
        unit.opened_elsewhere = True
        unit.trouble_day, unit.trouble = NEVER, None
        share = usage.elsewhere_recorded_by_fleets if vehicle.fleet else usage.elsewhere_recorded_by_owners
        recorded = (
            unit.on_record and self.world.start <= day <= min(self.world.end, vehicle.retires) and chance(rng, share)
        )
        if recorded:
            source = "register" if vehicle.fleet else "routine"
            self.registry.sight(unit, vehicle, day, "opened_elsewhere", source)
        if unit.on_record and day >= self.world.start:
            self.world.realised.elsewhere.append(
                {"unit": unit.tag, "day": date_of(day).isoformat(), "recorded": bool(recorded)}
            )

    def _visit(
        self, vehicle: Vehicle, unit: Unit, day: int, reason: str, causes: list[int], trouble: Trouble | None,
        free: bool = False,
    ) -> Visit:  # fmt: skip
        """Play a visit of the unit in a vehicle, with an exchange unit going out where one is on the shelf."""
        world, rng = self.world, world_rng(self.world, unit)
        self.registry.put_on_record(unit, vehicle, day)
        previous = unit.last_job
        kind = choose_kind(world, unit, causes, reason, rng)
        visit = open_visit(world, unit, vehicle, day, reason, kind, causes, trouble, rng)
        visit.free_of_charge = free
        play_visit(world, visit, causes, rng)
        if kind == "inspection":
            self.registry.note_fitting(unit, vehicle, visit.delivered or day)
            return visit
        if reason == "wear" and isinstance(previous, Visit):
            self._wear_of_our_work(vehicle, previous, visit, causes, rng)
        if not self._exchange(vehicle, unit, visit, day, rng):
            self.registry.note_fitting(unit, vehicle, visit.delivered or day)
            self._deliver(visit, vehicle, rng)
        return visit

    def _exchange(self, vehicle: Vehicle, unit: Unit, visit: Visit, day: int, rng: np.random.Generator) -> bool:
        """Fit a unit from the shelf and put this one on it; returns whether that was done."""
        ready = [v for v in self.world.shelf.get(unit.family.name, []) if v.closed <= day]
        if not vehicle.exchange or visit.reason == "comeback" or not ready:
            return False
        outgoing = ready[0]
        self.world.shelf[unit.family.name].remove(outgoing)
        leaves = day + 1 + int(rng.integers(0, 3))
        self.registry.note_fitting(unit, vehicle, day)
        unit.distance_at_fitting = vehicle.unit_distance(day)
        self.registry.take_out(unit, day)
        visit.delivered = visit.row["delivered"] = None
        visit.vehicle = None
        visit.refitted_by_us = False
        self.world.shelf[unit.family.name].append(visit)
        core = outgoing.unit
        self.registry.fit(core, vehicle, leaves)
        self.world.lives.fit_for_duty(core, core.distance_at_fitting, vehicle.duty, rng)
        outgoing.delivered = outgoing.row["delivered"] = leaves
        outgoing.vehicle = vehicle
        self._deliver(outgoing, vehicle, rng)
        return True

    def _deliver(self, visit: Visit, vehicle: Vehicle, rng: np.random.Generator) -> None:
        """Hand a unit over with the hazards that its job carries."""
        assert visit.delivered is not None
        unit = visit.unit
        unit.last_job = visit
        trouble = first_trouble(visit.threats, visit.delivered, rng)
        unit.trouble_day, unit.trouble = trouble.day, trouble
        self.world.realised.chances.append(
            {
                "job": visit.job,
                "all_12": chance_within(visit.threats, 12),
                "ours_12": chance_within(visit.threats, 12, OURS),
                "all_24": chance_within(visit.threats, 24),
                "ours_24": chance_within(visit.threats, 24, OURS),
            }
        )
        if visit.sliders_reused:
            self.world.realised.slider_jobs.append(visit.job)

    def _trouble(self, vehicle: Vehicle, unit: Unit, day: int) -> None:
        """Bring trouble back to us, or let another workshop deal with it."""
        original, trouble = unit.last_job, unit.trouble
        assert isinstance(original, Visit)
        assert isinstance(trouble, Trouble)
        unit.trouble_day, unit.trouble = NEVER, None
        rng = vehicle.rng
        if not self._comes_here(vehicle, unit, day):
            self._elsewhere(vehicle, unit, day)
            return
        position = trouble_position(original, trouble, rng)
        trouble = Trouble(trouble.day, trouble.outcome, position)
        covered = original.in_warranty(day, vehicle.unit_distance(day))
        payer = payer_of(trouble.outcome, covered, rng)
        visit = None
        if is_opened(self.world, trouble.outcome, rng):
            names = [p.name for p in unit.family.positions]
            causes = [names.index(position)] if position else [int(rng.integers(0, len(names)))]
            visit = self._visit(vehicle, unit, day, "comeback", causes, trouble, free=payer != "customer")
        elif chance(rng, 0.7):
            self.registry.sight(unit, vehicle, day, "running", "comeback")
        write_comeback(self.world, original, visit, trouble, day, vehicle, payer, position, rng)

    def _wear_of_our_work(
        self, vehicle: Vehicle, original: Visit, visit: Visit, causes: list[int], rng: np.random.Generator
    ) -> None:
        """Write a comeback where what we renewed or the customer declined wears out within two years."""
        if original.delivered is None or visit.opened - original.delivered > 24 * DAYS_A_MONTH:
            return
        names = [visit.unit.family.positions[i].name for i in causes]
        renewed = [n for n in names if any(i.position.name == n and i.replaced for i in original.items)]
        declined = [n for n in names if n in original.declined]
        if not renewed and not declined:
            return
        position = (renewed or declined)[0]
        covered = original.in_warranty(visit.opened, visit.distance)
        payer = payer_of("part", covered, rng) if renewed else "customer"
        trouble = Trouble(visit.opened, "part", position)
        write_comeback(self.world, original, visit, trouble, visit.opened, vehicle, payer, position, rng)

    def _shelf_cores(self) -> None:
        """Buy the first exchange cores, whose past nobody knows; each is rebuilt on its day."""
        world = self.world
        for name in world.families:
            for k in range(world.scenario.workshop.stock_cores_per_family):
                rng = world.rng(13, k, len(world.units))
                unit = make_unit(world, name, world.start - 2000, rng)
                unit.in_service_known = unit.distance_known = False
                unit.distance_at_fitting = float(rng.uniform(60e6, 220e6))
                every = np.arange(len(unit.family.positions))
                world.lives.begin(unit, every, 0.0, "mixed", "unknown past", rng)
                self._pushed += 1
                day = world.start + 3 + int(rng.integers(0, 60))
                heapq.heappush(self.queue, (day, self._pushed, "core", unit.number, 0))

    def _rebuild_core(self, unit: Unit, day: int) -> None:
        """Rebuild a core and put it on the exchange shelf."""
        world, rng = self.world, world_rng(self.world, unit)
        self.registry.put_on_record(unit, None, day)
        visit = open_visit(world, unit, None, day, "core", "full_rebuild", [], None, rng)
        play_visit(world, visit, [], rng)
        visit.delivered = visit.row["delivered"] = None
        world.shelf.setdefault(unit.family.name, []).append(visit)


def world_rng(world: World, unit: Unit) -> np.random.Generator:
    """Return the generator of a unit's next visit."""
    return world.rng(14, unit.number, unit.visits)

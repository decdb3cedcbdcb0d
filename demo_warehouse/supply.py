"""Supply parts by lot: which supplier, maker and lot a job's part comes from, at which cost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_warehouse.days import EPOCH, date_of, day_of
from demo_warehouse.parts import MARKS_LOTS, SUPPLIERS, Part, PartsBook
from demo_warehouse.scenario import Scenario

YEARLY_RISE = 1.02


@dataclass
class Lot:
    """Hold one lot: its mark, maker, day of receipt and the pieces left."""

    mark: str
    basis: str
    maker: str
    received: int
    left: int
    bad: bool


@dataclass(frozen=True)
class Drawn:
    """Hold what one job drew of one part from one lot; cost and price in cents."""

    part: Part
    supplier: str
    maker: str
    lot: str
    lot_basis: str
    pieces: int
    unit_cost: int
    unit_price: int
    ordered: int | None
    received: int | None
    bad: bool


class Prices:
    """Know what each supplier asks on a day: a rise each January, and the planted rise."""

    def __init__(self, scenario: Scenario) -> None:
        """Note the planted rise and the first year."""
        self.first_year = scenario.start.year
        self.rise = scenario.planted.price_rise
        self._rise_day = day_of(self.rise.on)

    def valid_days(self, supplier: str, start: int, end: int) -> list[int]:
        """Return the days from which a supplier's price lists hold."""
        days = [start, *(day_of(EPOCH.replace(year=y)) for y in range(self.first_year + 1, date_of(end).year + 1))]
        if supplier == self.rise.supplier and start < self._rise_day <= end:
            days.append(self._rise_day)
        return sorted(set(days))

    def cost(self, part: Part, supplier: str, day: int) -> int:
        """Return the cost of one piece in cents."""
        money = part.cost * YEARLY_RISE ** (date_of(day).year - self.first_year)
        if supplier != part.suppliers[0]:
            money *= 1.06
        if supplier == self.rise.supplier and day >= self._rise_day:
            money *= self.rise.factor
        return round(100 * money)


class Supply:
    """Hand out parts in the order in which jobs ask for them."""

    def __init__(self, scenario: Scenario, book: PartsBook, prices: Prices, rng: np.random.Generator) -> None:
        """Begin with empty shelves; the planted bad lot comes with the first lot after its day."""
        self.scenario = scenario
        self.book = book
        self.prices = prices
        self.rng = rng
        self.lots: dict[tuple[str, str], Lot] = {}
        self.count: dict[tuple[str, str], int] = {}
        self.bad_lot: Lot | None = None

    def draw(self, number: str, pieces: int, opened: int, day: int, rng: np.random.Generator) -> list[Drawn]:
        """Return what a job opened on a day draws; parts not on the shelf carry the day ordered and received."""
        part = self.book.parts[number]
        second = len(part.suppliers) > 1 and rng.random() < 0.15
        supplier = part.suppliers[1] if second else part.suppliers[0]
        bad_part = number == self.scenario.planted.bad_lot.part
        if bad_part and self.bad_lot is not None and self.bad_lot.left > 0:
            supplier = self.scenario.planted.bad_lot.supplier
        ordered = received = None
        if rng.random() > self.scenario.workshop.parts_on_shelf:
            ordered = day + int(rng.integers(0, 2))
            received = ordered + max(1, round(part.lead_days * rng.lognormal(0, 0.35)))
        drawn = []
        while pieces > 0:
            lot = self._lot(part, supplier, received or opened)
            taken = min(pieces, lot.left)
            lot.left -= taken
            pieces -= taken
            cost = self.prices.cost(part, supplier, day)
            price = round(cost * self.scenario.workshop.part_markup)
            drawn.append(
                Drawn(part, supplier, lot.maker, lot.mark, lot.basis, taken, cost, price, ordered, received, lot.bad)
            )
        return drawn

    def _lot(self, part: Part, supplier: str, day: int) -> Lot:
        key = (part.number, supplier)
        lot = self.lots.get(key)
        planted = self.scenario.planted.bad_lot
        due = (
            self.bad_lot is None
            and key == (planted.part, planted.supplier)
            and day >= day_of(planted.from_)
            and planted.pieces > 0
        )
        if lot is None or lot.left <= 0 or due:
            lot = self._new_lot(part, supplier, day, planted.pieces if due else None)
            self.lots[key] = lot
            if due:
                self.bad_lot = lot
        return lot

    def _new_lot(self, part: Part, supplier: str, day: int, bad_pieces: int | None) -> Lot:
        key = (part.number, supplier)
        self.count[key] = self.count.get(key, 0) + 1
        received = day - int(self.rng.integers(0, 25))
        when = date_of(received)
        if supplier in MARKS_LOTS:
            letters = "".join(word[0] for word in supplier.split())
            mark = f"{letters}{SUPPLIERS.index(supplier) + 1}-{when:%y%m}-{part.number}-{self.count[key]:02d}"
            basis = "lot"
        else:
            mark, basis = when.isoformat(), "receipt_date"
        maker = part.makers[int(self.rng.integers(0, len(part.makers)))]
        size = bad_pieces or max(1, round(part.lot_pieces * self.rng.uniform(0.7, 1.3)))
        return Lot(mark, basis, maker, received, size, bad_pieces is not None)

"""Replay the shelf from what was fitted, and write what the quarterly counts found."""

from __future__ import annotations

from collections import defaultdict

from demo_warehouse.days import date_of, day_of
from demo_warehouse.parts import MARKS_LOTS
from demo_warehouse.world import World

DAYS_OF_COVER = 60


def write_stock_counts(world: World) -> None:
    """Write on hand and on order per part on the last day of each quarter."""
    used: dict[str, list[tuple[int, int, str | None]]] = defaultdict(list)
    closed = {row["job"]: row["closed"] for row in world.rows.by_record["job"]}
    for row in world.rows.by_record["part_line"]:
        if row.get("ordered") is None and row["origin"] == "new" and row["movement"] != "returned":
            used[row["part"]].append((closed[row["job"]], row["quantity"] // 1000, row.get("lot")))
    days = _count_days(world)
    for number in world.book.parts:
        _replay(world, number, sorted(used[number], key=lambda u: (u[0], u[1], u[2] or "")), days)


def _count_days(world: World) -> list[int]:
    quarters = [
        day_of(date_of(world.start).replace(year=year, month=month, day=1)) - 1
        for year in range(world.scenario.start.year, world.scenario.end.year + 1)
        for month in (1, 4, 7, 10)
    ]
    return [day for day in quarters if world.start < day <= world.end]


def _replay(world: World, number: str, used: list[tuple[int, int, str | None]], days: list[int]) -> None:
    """Order up to some days of cover as soon as half of it is gone; a part that is short comes the same day."""
    part = world.book.parts[number]
    years = (world.end - world.start) / 365.25
    yearly = sum(pieces for _, pieces, _ in used) / years
    cover = max(2, round(yearly * (DAYS_OF_COVER + part.lead_days) / 365.25))
    on_hand, at = cover, 0
    orders: list[tuple[int, int]] = []
    lot: str | None = None
    for day in days:
        while at < len(used) and used[at][0] <= day:
            when, pieces, mark = used[at]
            arrived = [o for o in orders if o[0] <= when]
            on_hand += sum(o[1] for o in arrived)
            orders = [o for o in orders if o[0] > when]
            on_hand = max(on_hand - pieces, 0)
            lot = mark or lot
            position = on_hand + sum(o[1] for o in orders)
            if position <= cover // 2:
                orders.append((when + part.lead_days, cover - position))
            at += 1
        on_hand += sum(o[1] for o in orders if o[0] <= day)
        orders = [o for o in orders if o[0] > day]
        world.rows.add(
            "stock",
            part=number,
            counted_on=day,
            on_hand=on_hand * 1000,
            on_order=1000 * sum(o[1] for o in orders),
            lot=lot if on_hand and part.suppliers[0] in MARKS_LOTS else None,
            entered=day,
        )

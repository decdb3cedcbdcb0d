"""Follow the units on a fleet's register: from which of their distances to which they are known to have run."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from analytics.history import History
from analytics.life_clock import KM, LifeClock

Numbers = npt.NDArray[np.float64]
DRAWS = 5
SEED = 20_161_004
PACE_OVER_DAYS = 365  # the unit's own pace is that of its last year
SHORTEST_PACE_DAYS = 60
USUAL_SWING = 0.2  # of the logarithm of a year's pace, where too few units tell their own
_EPOCH = dt.date(1970, 1, 1)
_KEY = 1_000_000  # more days than any record spans

_FROM_NEW = "if(u.lives_known_from_new and f.fitted_from <= u.in_service_since, 0, null)"
_DIAL = {  # what a fitting's clock showed at its start, and what the unit had run by then, where that is known
    "km": f"f.odometer_m as dial, coalesce(f.unit_distance_m, {_FROM_NEW}) as base",
    "hours": f"coalesce(f.hours_min, {_FROM_NEW}) as dial, {_FROM_NEW} as base",
}
_READING = {"km": "odometer_m", "hours": "hours_min"}
_FITTINGS = """
select u.unit_id, u.unit, u.family, f.fitted_from, f.fitted_to, f.fleet, f.duty, $dial,
  greatest(f.fitted_from, coalesce(f.listed, u.register_entry)) as followed_from,
  f.listed is not null
    or (u.register_entry is not null and (f.fleet is not null
        or u.register_entry between f.fitted_from and coalesce(f.fitted_to, u.register_entry))) as followed
from known_fitting as f join known_unit as u using (unit)
where f.unit in (
    select unit from known_unit where register_entry <= $as_of
    union select unit from known_fitting where listed is not null)
order by u.unit_id, f.fitted_from
"""
_READINGS = """
with reading as (  -- one row per unit, day and reading
  select unit, seen as day, $reading as reading from known_sighting where $reading is not null
  union all
  select unit, opened, $reading from known_job
  where $reading is not null and coalesce(usage_basis, 'read') = 'read'
)
select u.unit_id, r.day, max(r.reading) as reading
from reading as r join known_unit as u using (unit)
where u.register_entry <= $as_of or r.unit in (select unit from known_fitting where listed is not null)
group by all order by all
"""
_ENDS = """
select u.unit_id, s.seen as day, s.state from known_sighting as s join known_unit as u using (unit)
where s.state in ('retired', 'opened_elsewhere') order by all
"""


@dataclass(frozen=True)
class Stretch:
    """Hold one time over which a unit was followed on one clock.

    Days count from 1970; distances are metres on the clock of `group` (0: the unit's own from new). `to_at` is the
    distance at the end, imputed where it was not read then; `draws` are the same drawn with what is not known.
    `running` says that it still ran on the day asked; `pace` is in metres a day.
    """

    unit_id: int
    unit: str
    family: str
    fleet: str | None
    duty: str | None
    group: int
    from_day: int
    to_day: int
    from_at: float
    to_at: float
    draws: tuple[float, ...]
    running: bool
    pace: float | None
    continues: bool  # follows on the unit's stretch before it: no vehicle outside the register came between


def register_stretches(history: History, clock: LifeClock = KM) -> list[Stretch]:
    """Return the stretches of every unit on a register, sorted by unit and day; by hours, minutes stand for metres.

    A stretch begins where the register lists the unit (or its next vehicle) and ends at retirement, at another
    workshop's bench, where the unit leaves the register's vehicles, or on the day asked. A distance not read on its
    day lies on the line between the readings about it; beyond the last one it is the unit's own pace of its last
    year, or a pace drawn from those of its fleet, with the swing of paces from year to year in the draws.
    """
    fittings = history.query(_FITTINGS.replace("$dial", _DIAL[clock.name])).filter(pl.col("dial").is_not_null())
    if fittings.is_empty():
        return []
    book = _ReadingBook.of(fittings, history.query(_READINGS.replace("$reading", _READING[clock.name])))
    retired, opened = _ends(history)
    as_of = (history.as_of - _EPOCH).days
    return _joined(_pieces(fittings, book, retired, opened, as_of))


def day_number(day: dt.date) -> int:
    """Return a day as stretches count it."""
    return (day - _EPOCH).days


def _ends(history: History) -> tuple[dict[int, int], dict[int, list[int]]]:
    retired: dict[int, int] = {}
    opened: dict[int, list[int]] = {}
    for unit, day, state in history.query(_ENDS).iter_rows():
        if state == "retired":
            retired.setdefault(unit, day_number(day))
        else:
            opened.setdefault(unit, []).append(day_number(day))
    return retired, opened


@dataclass(frozen=True)
class _ReadingBook:
    """Hold every reading by fitting and day, and each fitting's last day, reading and pace."""

    key: Numbers  # fitting * _KEY + day, rising
    metres: Numbers  # since the fitting, never falling
    first: npt.NDArray[np.intp]  # place of each fitting's first reading
    last: npt.NDArray[np.intp]
    pace: Numbers  # the fitting's own, NaN where it was not watched long enough
    middle: Numbers  # of the logarithm of paces to draw from, per fitting; NaN where nobody has a pace
    spread: Numbers
    swing: float

    @staticmethod
    def of(fittings: pl.DataFrame, readings: pl.DataFrame) -> _ReadingBook:
        count = fittings.height
        start = fittings["fitted_from"].to_physical().to_numpy().astype(float)
        placed = readings.join_asof(
            fittings.with_row_index("place").select(
                "unit_id", pl.col("fitted_from").alias("day"), "place", "dial", "fitted_to"
            ),
            on="day",
            by="unit_id",
            check_sortedness=False,
        ).filter(
            pl.col("place").is_not_null()
            & (pl.col("fitted_to").is_null() | (pl.col("day") <= pl.col("fitted_to")))
            & (pl.col("reading") >= pl.col("dial"))
        )
        place = np.concatenate([np.arange(count), placed["place"].to_numpy()]).astype(float)
        day = np.concatenate([start, placed["day"].to_physical().to_numpy().astype(float)])
        metres = np.concatenate([np.zeros(count), (placed["reading"] - placed["dial"]).to_numpy().astype(float)])
        order = np.lexsort((metres, day, place))
        key, metres, place = (place * _KEY + day)[order], metres[order], place[order]
        first = np.searchsorted(place, np.arange(count), side="left").astype(np.intp)
        last = (np.searchsorted(place, np.arange(count), side="right") - 1).astype(np.intp)
        # Adding a span larger than any distance per fitting lets one running maximum serve all of them.
        lift = place * 1e10
        metres = np.maximum.accumulate(metres + lift) - lift
        none = np.full(count, np.nan)
        book = _ReadingBook(key, metres, first, last, none, none, none, USUAL_SWING)
        return book._paced(fittings["fleet"].fill_null("").to_list())

    def at(self, fitting: npt.ArrayLike, day: npt.ArrayLike) -> Numbers:
        """Return the metres since fitting by each day, on the line between readings, level beyond the last."""
        which, when = np.asarray(fitting, dtype=np.intp), np.asarray(day, dtype=float)
        before = np.clip(np.searchsorted(self.key, which * _KEY + when, side="right") - 1, self.first[which], None)
        after = np.minimum(before + 1, self.last[which])
        gap = self.key[after] - self.key[before]
        share = np.where(gap > 0, (which * _KEY + when - self.key[before]) / np.where(gap > 0, gap, 1.0), 0.0)
        return np.asarray(self.metres[before] + np.clip(share, 0, 1) * (self.metres[after] - self.metres[before]))

    def last_day(self) -> Numbers:
        return self.key[self.last] % _KEY

    def _paced(self, fleets: list[str]) -> _ReadingBook:
        """Add the paces of fittings and what is to be drawn where there is none."""
        every, final = np.arange(len(self.first)), self.last_day()
        begun = self.key[self.first] % _KEY
        since = np.maximum(final - PACE_OVER_DAYS, begun)
        span = final - since
        run = self.metres[self.last] - self.at(every, since)
        pace = np.where((span >= SHORTEST_PACE_DAYS) & (run > 0), run / np.maximum(span, 1), np.nan)
        two = (final - begun >= 2 * PACE_OVER_DAYS) & np.isfinite(pace)
        earlier = (self.at(every, since) - self.at(every, since - PACE_OVER_DAYS)) / PACE_OVER_DAYS
        two &= earlier > 0
        ratio = np.log(pace[two] / earlier[two])
        swing = float(np.sqrt(np.mean(ratio**2) / 2)) if len(ratio) >= 8 else USUAL_SWING
        middle, spread = np.full(len(pace), np.nan), np.full(len(pace), np.nan)
        logs = np.log(pace)
        names = np.array(fleets)
        for name in sorted(set(fleets)):
            own = logs[(names == name) & np.isfinite(logs)]
            pool = own if len(own) >= 5 else logs[np.isfinite(logs)]
            if len(pool):
                middle[names == name], spread[names == name] = pool.mean(), pool.std()
        return replace(self, pace=pace, middle=middle, spread=spread, swing=swing)

    def ends(self, day: Numbers) -> tuple[Numbers, Numbers, Numbers]:
        """Return the metres since fitting by the end day of each fitting: expected, drawn (draws, n), and the pace."""
        every = np.arange(len(self.first))
        read = self.at(every, day)
        gap = np.maximum(day - self.last_day(), 0.0)
        own = np.isfinite(self.pace)
        pace = np.where(own, self.pace, np.exp(self.middle))
        known = np.isfinite(pace)
        pace = np.where(known, pace, 0.0)
        wide = np.where(own, self.swing, np.hypot(np.where(known, self.spread, 0.0), self.swing))
        drawn = [
            read + gap * pace * np.exp(wide * np.random.default_rng([SEED, d]).standard_normal(len(pace)))
            for d in range(DRAWS)
        ]
        return read + gap * pace, np.array(drawn), np.where(known, pace, np.nan)


def _pieces(
    fittings: pl.DataFrame,
    book: _ReadingBook,
    retired: dict[int, int],
    opened: dict[int, list[int]],
    as_of: int,
) -> list[Stretch]:
    """Return one stretch per followed fitting, cut where another workshop opened the unit."""
    ends = np.array(
        [
            min(as_of, as_of if to is None else day_number(to), retired.get(unit, as_of))
            for unit, to in fittings.select("unit_id", "fitted_to").iter_rows()
        ],
        dtype=float,
    )
    expected, drawn, pace = book.ends(ends)
    pieces = []
    followed_before: dict[int, bool] = {}
    for place, row in enumerate(fittings.iter_rows(named=True)):
        start, end = day_number(row["followed_from"]) if row["followed_from"] else as_of, int(ends[place])
        continues = followed_before.get(row["unit_id"], False)
        followed_before[row["unit_id"]] = bool(row["followed"])
        if not row["followed"] or start > end:
            continue
        base = float(row["base"] or 0)
        group = 0 if row["base"] is not None else (row["fitted_from"] - dt.date(1900, 1, 1)).days
        cuts = [day for day in opened.get(row["unit_id"], []) if start < day < end]
        for i, (low, high) in enumerate(zip([start, *cuts], [*cuts, end], strict=True)):
            final = high == end
            at = base + (float(expected[place]) if final else float(book.at(place, high)))
            draws = tuple(base + float(d) for d in drawn[:, place]) if final else (at,) * DRAWS
            pieces.append(
                Stretch(
                    row["unit_id"], row["unit"], row["family"], row["fleet"], row["duty"], group, low, high,
                    base + float(book.at(place, low)), at, draws,
                    final and end == as_of and retired.get(row["unit_id"], as_of + 1) > as_of
                    and row["fitted_to"] is None,
                    float(pace[place]) if np.isfinite(pace[place]) else None,
                    continues and i == 0,
                )
            )  # fmt: skip
    return pieces


def _joined(pieces: list[Stretch]) -> list[Stretch]:
    """Let a stretch run on to the end of those that follow it on the unit's own clock, from one listed vehicle to the
    next; each keeps the duty and fleet in which it began, since what began in it is compared by them.
    """
    joined: list[Stretch] = []
    for piece in reversed(pieces):
        after = joined[-1] if joined else None
        if (
            after is not None
            and after.unit_id == piece.unit_id
            and after.continues
            and after.group == piece.group == 0
            and after.from_at >= piece.to_at
        ):
            joined.append(
                replace(
                    piece,
                    to_day=after.to_day,
                    to_at=after.to_at,
                    draws=after.draws,
                    running=after.running,
                    pace=after.pace,
                )
            )
        else:
            joined.append(piece)
    return joined[::-1]

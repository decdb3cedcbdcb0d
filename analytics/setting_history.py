"""Gather what the questions about setting share: places, visits, bench states in terms of the pack, responses."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property

import polars as pl

from analytics.answer import Assumption
from analytics.bench_states import bench_states
from analytics.history import History
from analytics.learned_responses import Response, learned_responses
from analytics.reading_repeatability import Repeatability, reading_repeatability
from analytics.set_places import pair_states, set_places
from analytics.set_rows import in_pack_terms, set_rows
from analytics.set_visits import set_visits
from analytics.shelf import shelf_pieces

NEWEST_JOBS = 10_000  # how a bench sets today; so many jobs say it, and older ones say it of other days


@dataclass(frozen=True)
class SettingHistory:
    """Hold the setting work that a history knows, of one family or of all; each part is made when first asked for."""

    history: History
    family: str | None = None
    newest: int | None = None  # only so many of the newest jobs on record; all where not given

    @cached_property
    def after(self) -> dt.date | None:
        """Return the day after which jobs count, so that at most the newest ones do; None where all of them do."""
        if self.newest is None:
            return None
        sql = (
            "select opened from known_job where $family is null or family = $family "
            f"order by opened desc limit 1 offset {self.newest}"
        )
        found = self.history.query(sql, {"family": self.family})["opened"]
        return found[0] if found.len() else None

    def counted(self) -> tuple[Assumption, ...]:
        """Return the line of the ledger that says which jobs count, where not all of them do."""
        if self.after is None:
            return ()
        return (Assumption(f"Counted: the newest {self.newest:,} jobs, opened after {self.after}"),)

    @cached_property
    def places(self) -> pl.DataFrame:
        """Return what is set, see `set_places`."""
        return set_places(self.history)

    @cached_property
    def visits(self) -> pl.DataFrame:
        """Return the visits in scope, see `set_visits`."""
        return set_visits(self.history, self.family, self.after)

    @cached_property
    def bench(self) -> pl.DataFrame:
        """Return what stood on the bench, see `bench_states`."""
        return bench_states(self.history, self.family, self.after)

    @cached_property
    def bare_states(self) -> pl.DataFrame:
        """Return bench states by place, see `pair_states`."""
        return pair_states(self.bench, self.places)

    @cached_property
    def repeatability(self) -> dict[str, Repeatability]:
        """Return how well each quantity is read."""
        return reading_repeatability(self.history, self.after)

    @cached_property
    def responses(self) -> tuple[Response, ...]:
        """Return what readings were seen to do when packs changed."""
        return learned_responses(self.bare_states, self.visits, self.repeatability)

    @cached_property
    def states(self) -> pl.DataFrame:
        """Return bench states in terms of the pack, see `in_pack_terms`."""
        return in_pack_terms(self.bare_states, self.visits, self.responses)

    @cached_property
    def rows(self) -> pl.DataFrame:
        """Return one row per job and place that was set, see `set_rows`."""
        return set_rows(self.states, self.visits)

    @cached_property
    def shelf(self) -> pl.DataFrame:
        """Return the shim pieces that are listed or were ever built in, see `shelf_pieces`."""
        return shelf_pieces(self.history)

    @cached_property
    def packs_needed(self) -> pl.DataFrame:
        """Return `rows` with the sum of two side packs, which no reading sets, standing for itself."""
        total = pl.col("coordinate") == "total"

        def own(pack: str, name: str) -> pl.Expr:
            return pl.when(total).then(-pl.col(pack)).otherwise(pl.col(name)).alias(name)

        aims = [pl.when(total).then(0.0).otherwise(pl.col(name)).alias(name) for name in ("aim", "aim_low", "aim_high")]
        return self.rows.with_columns(
            own("built_pack", "dimension"), own("found_pack", "found_dimension"), *aims,
            pl.when(total).then(1.0).otherwise(pl.col("rise")).alias("rise"),
        ).with_columns(
            pl.when(total).then(None).otherwise(pl.col("aim_low")).alias("aim_low"),
            pl.when(total).then(None).otherwise(pl.col("aim_high")).alias("aim_high"),
        )  # fmt: skip

    def reading_error(self, quantity: str, points: float = 1.0) -> float:
        """Return the standard deviation of a mean of `points` readings (um or mN.m); nought where not known."""
        known = self.repeatability.get(quantity)
        return 0.0 if known is None else known.deviation / points**0.5

"""Hold how sound the job records are: what the records page and its line on the first page show."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from analytics.kept_versions import kept_versions, loads
from analytics.records_health import flags, rows_to_put_right, standing
from analytics.warehouse_file import Warehouse


@dataclass(frozen=True)
class RecordsStanding:
    """Hold rows to put right, flags, where every row stands by file, the loads, and the versions kept."""

    version: int
    to_put_right: pl.DataFrame
    flags: pl.DataFrame
    files: pl.DataFrame
    loads: pl.DataFrame
    kept: tuple[int, ...]

    @property
    def read(self) -> int:
        """Return how many rows were ever read."""
        return int(self.files["read"].sum())

    @property
    def sentence(self) -> str:
        """Say in one sentence how many rows are still to be put right."""
        wrong, odd = self.to_put_right.height, self.flags.height
        looks = "1 entry looks odd but is counted" if odd == 1 else f"{odd:,} entries look odd but are counted"
        if wrong == 0:
            return f"Every one of {self.read:,} rows read is accounted for and none is to be put right; {looks}."
        still = "is" if wrong == 1 else "are"
        return f"{wrong:,} of {self.read:,} rows read {still} still to be put right; {looks}."


def records_standing(warehouse: Warehouse) -> RecordsStanding:
    """Return how the published job records stand."""
    return RecordsStanding(
        warehouse.version,
        rows_to_put_right(warehouse),
        flags(warehouse),
        standing(warehouse),
        loads(warehouse),
        kept_versions(warehouse.folder),
    )

"""Tell which versions of the job records are kept, and what each load brought."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from analytics.warehouse_file import Warehouse


def loads(warehouse: Warehouse) -> pl.DataFrame:
    """Return one row per load, newest first: load_id, loaded_at (UTC), mapping_version, files, read, to_put_right."""
    return warehouse.query(
        """
        with counted as (  -- one row per load
            select load_id, count(distinct file) as files, cast(sum(read) as bigint) as read,
                   cast(sum(quarantined) as bigint) as to_put_right
            from standing group by load_id
        )
        select load_id, loaded_at, mapping_version, coalesce(files, 0) as files, coalesce(read, 0) as read,
               coalesce(to_put_right, 0) as to_put_right
        from load left join counted using (load_id)
        order by load_id desc
        """
    )


def kept_versions(folder: Path) -> tuple[int, ...]:
    """Return the numbers of the versions kept in `folder`, the newest first."""
    numbers = [path.stem.split("-")[1] for path in folder.glob("warehouse-*.duckdb")]
    return tuple(sorted((int(number) for number in numbers if number.isdigit()), reverse=True))

"""Write the accepted rows of a record type as its published table, and keep every other row apart."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from ingest.record_model import RecordType


@dataclass(frozen=True)
class Derived:
    """Hold columns that a published table carries beside its declared ones: SQL columns over `r`, and their joins."""

    columns: str
    joins: str = ""


FAILED = """case when r.grade is null and r.role is null then null
  else coalesce(r.grade in ('3', '4'), false) or coalesce(r.role in ('cause', 'failed'), false) end"""

# Numbers for joining and grouping in place of texts. They hold within one version only.
DERIVED: dict[str, Derived] = {
    "position": Derived("row_number() over (order by r.family, r.position)::integer as position_id"),
    "unit": Derived("row_number() over (order by r.unit)::integer as unit_id"),
    "job": Derived(
        "row_number() over (order by r.job)::integer as job_id, u.unit_id, u.family",
        "left join new.unit as u on u.unit = r.unit",
    ),
    "finding": Derived(
        f"j.job_id, j.unit_id, p.position_id, {FAILED} as failed",
        "left join new.position as p on p.family = j.family and p.position = r.position",
    ),
}


def accept(connection: duckdb.DuckDBPyConnection, record: RecordType) -> None:
    """Create `new.<record>` (accepted rows with their clocks) and `new.held_<record>` (all others, with the reason)."""
    name = record.name
    fields = ", ".join(f"r.{f.column}" for f in record.fields)
    job = "left join new.job as j on j.job = r.job" if record.has_job else ""
    derived = DERIVED.get(name, Derived(""))
    extra = f"{derived.columns}," if derived.columns else ""
    connection.execute(f"""
        create table new.{name} as
        select {fields}, {extra} ({record.known_on})::date as known_on, ({record.settled_on})::date as settled_on,
          r.source_id, r.row_number, r.corrects, false as from_habit
        from rows_{name} as r {job} {derived.joins}
        anti join verdict_{name} as v on v.source_id = r.source_id and v.row_number = r.row_number;
        create table new.held_{name} as
        select r.* exclude (was, digest), v.disposition, v.field, v.reason, v.by_source, v.by_row
        from rows_{name} as r join verdict_{name} as v using (source_id, row_number);
    """)


def keep_originals(
    connection: duckdb.DuckDBPyConnection, record: RecordType, raw: dict[int, tuple[str, list[str]]]
) -> None:
    """Give every quarantined row its original text: from the sheet just read, else as it was understood then.

    `raw` holds the raw table and the headings of each source of this load.
    """
    name = record.name
    waiting = connection.execute(
        f"select distinct source_id from new.held_{name} where disposition = 'quarantined' and original is null"
    ).fetchall()
    for (source_id,) in waiting:
        if source_id in raw:
            table, headings = raw[source_id]
            pairs = ", ".join("'" + h.replace("'", "''") + f"', t.c{i}" for i, h in enumerate(headings))
            connection.execute(f"""
                update new.held_{name} as h set original = to_json(json_object({pairs}))::varchar from {table} as t
                where h.source_id = {source_id} and h.row_number = t.row_number and h.original is null
                  and h.disposition = 'quarantined'
            """)
        else:
            columns = ", ".join(f"'{f.heading}', {f.column}" for f in record.fields)
            connection.execute(f"""
                update new.held_{name} set original = to_json(json_object({columns}))::varchar
                where source_id = {source_id} and original is null and disposition = 'quarantined'
            """)

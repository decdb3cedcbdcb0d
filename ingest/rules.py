"""List the rules that a row must meet beside its own fields: references, and what family and location can mean."""

from __future__ import annotations

from dataclasses import dataclass

from ingest.field_sql import quoted
from ingest.record_model import Field, RecordType


@dataclass(frozen=True)
class Rule:
    """Hold one rule of a record type.

    `breaches` is SQL over `{rows}` (the record's valid rows) and the accepted rows of earlier record types (schema
    `new`); it returns source_id, row_number, field, reason, one row per breach.
    """

    record: str
    about: str
    breaches: str


def reference_rules(record: RecordType) -> list[Rule]:
    """Return a rule for every field that refers to another record: the row waits until that one is on record."""
    return [_reference_rule(record, field) for field in record.fields if field.references is not None]


def _reference_rule(record: RecordType, field: Field) -> Rule:
    parent, parent_field = str(field.references).split(".")
    # Rows are linked to their job (a job to its unit) when they are gathered: no need to look again.
    linked = (record.has_job and field.name == "job") or (record.name == "job" and field.name == "unit")
    missing = (
        f"r.{parent}_id is null" if linked else f"r.{field.column} not in (select {parent_field} from new.{parent})"
    )
    return Rule(
        record.name,
        f"{field.name} names a {parent} on record",
        f"""
        select r.source_id, r.row_number, {quoted(field.name)} as field,
          {quoted(f"its {parent} ")} || '''' || r.{field.column} || ''''
            || if(h.named is not null, ' is itself to put right', ' is not on record (yet)') as reason
        from {{rows}} as r
        left join (select distinct {parent_field} as named from new.held_{parent} where disposition = 'quarantined') as h
          on h.named = r.{field.column}
        where r.{field.column} is not null and {missing}
        """,
    )


_PLACE_OF_JOB = """
with unknown as (
  select r.source_id, r.row_number, r.{column} as named, j.family from {{rows}} as r
  join new.job as j on j.job_id = r.job_id
  where r.{column} is not null and {unlinked} and j.family in (select family from new.{parent})
)
select u.source_id, u.row_number, '{column}' as field,
  'family ' || u.family || ' has no {words} ''' || u.named || '''; did you mean '''
    || arg_max(p.{column}, struct_pack(alike := jaro_winkler_similarity(lower(p.{column}), lower(u.named)),
                                       named := p.{column})) || '''?' as reason
from unknown as u join new.{parent} as p on p.family = u.family
group by u.source_id, u.row_number, u.family, u.named
"""


def _of_family(record: str, column: str, parent: str, words: str) -> Rule:
    unlinked = (
        "r.position_id is null"
        if parent == "position"
        else f"(j.family, r.{column}) not in (select (family, {column}) from new.{parent})"
    )
    sql = _PLACE_OF_JOB.format(column=column, parent=parent, words=words, unlinked=unlinked)
    return Rule(record, f"{column} is one of the family's {words}s", sql)


OTHER_RULES: tuple[Rule, ...] = (
    _of_family("finding", "position", "position", "component position"),
    _of_family("shim", "location", "shim_location", "shim location"),
    _of_family("measurement", "location", "shim_location", "shim location"),
    Rule(
        "shim",
        "a piece can sit at its location",
        """
        select r.source_id, r.row_number, 'thickness' as field,
          'thickness ' || printf('%.3f', r.thickness_um / 1000.0) || ' mm cannot sit at ' || l.location || ' of family '
            || l.family || ', which takes ' || coalesce(printf('%.3f', l.thinnest_um / 1000.0), 'anything') || ' to '
            || coalesce(printf('%.3f mm', l.thickest_um / 1000.0), 'anything') || ' in all' as reason
        from {rows} as r join new.job as j on j.job_id = r.job_id
        join new.shim_location as l on l.family = j.family and l.location = r.location
        where r.thickness_um > l.thickest_um or (not l.stackable and r.thickness_um < l.thinnest_um)
        """,
    ),
    Rule(
        "comeback",
        "a comeback is reported after the work it comes back from was handed over",
        """
        select r.source_id, r.row_number, 'reported' as field,
          'reported ' || r.reported || ', before job ' || r.original_job || ' was handed over on '
            || coalesce(j.delivered, j.closed, j.opened) as reason
        from {rows} as r join new.job as j on j.job = r.original_job
        where r.reported < coalesce(j.delivered, j.closed, j.opened)
        """,
    ),
    Rule(
        "comeback",
        "a job does not come back as itself",
        """
        select source_id, row_number, 'comeback_job' as field,
          'job ' || original_job || ' cannot be its own comeback' as reason
        from {rows} where comeback_job = original_job
        """,
    ),
)


def rules_of(record: RecordType) -> list[Rule]:
    """Return every rule that rows of this record type must meet."""
    return [*reference_rules(record), *(rule for rule in OTHER_RULES if rule.record == record.name)]

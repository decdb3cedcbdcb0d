"""Turn the text of a planned sheet into typed rows with faults, in SQL made from the declarations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

import duckdb

from ingest.digest import digest_sql
from ingest.plan import ColumnPlan, LoadError, SheetPlan
from ingest.record_model import Field, Kind
from ingest.units_of_measure import UNIT_SPELLINGS, steps_per_unit
from ingest.vocabularies import FLAG_WORDS, QUANTITIES
from ingest.writing_style import NumberEvidence, date_order, decimal_mark, number_evidence

EARLIEST, LATEST = "1950-01-01", "2100-01-01"
_NUMBERS = (Kind.MEASURE, Kind.READING, Kind.COUNT)


@dataclass(frozen=True)
class TypedColumn:
    """Hold the SQL of one field: its typed value, and a sentence (or NULL) where the text cannot mean it."""

    field: Field
    value: str
    fault: str
    helpers: tuple[tuple[str, str], ...] = ()  # (name, SQL) computed before `value`, for values that need others


def quoted(text: str) -> str:
    """Return `text` as an SQL string literal."""
    return "'" + text.replace("'", "''") + "'"


def fold(text: str) -> str:
    """Return a word as it is compared: lower case, single spaces, underscores as spaces."""
    return " ".join(text.lower().replace("_", " ").split())


def type_rows(connection: duckdb.DuckDBPyConnection, plan: SheetPlan, source_id: int, person_key: str) -> str:
    """Create the typed table of one source and return its name.

    Columns: source_id, row_number, corrects, fault_field, fault, original (JSON text of the row where it is at
    fault), every declared column, digest. Rows that could not be split into columns are in it as faults.
    Raises LoadError where a column's way of writing numbers or dates is not settled by its own values.
    """
    plan = settle_writing_style(connection, plan)
    name = f"typed_{source_id}"
    columns = [_typed(connection, plan, column, person_key) for column in plan.columns]
    by_name = {column.field.name: column for column in columns}
    first = [f for f in plan.record.fields if f.name not in by_name or not by_name[f.name].helpers]
    then = [f for f in plan.record.fields if f not in first]
    helpers = [f"({sql}) as {alias}" for column in columns for alias, sql in column.helpers]
    values = ",\n  ".join([*(_value(f, by_name) for f in first), *helpers])
    late_values = "".join(f", {_value(f, by_name)}" for f in then)
    faults = _faults(plan, columns)
    needs = " and ".join(f"nullif(trim({c}), '') is not null" for c in plan.needs) or "true"
    pairs = ", ".join(f"{quoted(h)}, c{i}" for i, h in enumerate(plan.table.headings))
    original = f"to_json(json_object({pairs}))::varchar" if pairs else "'{}'"
    columns_kept = ", ".join(f.column for f in plan.record.fields)
    corrects = f"nullif(trim({plan.corrects}), '')" if plan.corrects else "NULL"
    connection.execute(f"""
        create table {name} as
        with rows_read as (select * from {plan.table.raw_table} where {needs}),
        parsed as (select rows_read.*, {values} from rows_read),
        typed as (select *{late_values} from parsed),
        judged as (select *, {faults} as fault_pair from typed),
        kept as (select *, case when fault_pair is not null then {original} end as original from judged)
        select {source_id}::integer as source_id, row_number, {corrects}::varchar as corrects, {columns_kept},
          fault_pair[1] as fault_field, fault_pair[2] as fault, original, {digest_sql(plan.record)} as digest
        from kept
    """)
    _add_refused(connection, plan, name, source_id)
    return name


def _value(field: Field, columns: Mapping[str, TypedColumn]) -> str:
    sql = columns[field.name].value if field.name in columns else "NULL"
    return f"({sql})::{field.sql_type} as {field.column}"


def _add_refused(connection: duckdb.DuckDBPyConnection, plan: SheetPlan, name: str, source_id: int) -> None:
    for row in plan.table.refused:
        connection.execute(
            f"insert into {name} by name select $1::integer as source_id, $2::bigint as row_number, "
            "'(row)' as fault_field, $3::varchar as fault, "
            "to_json(json_object('row', $4::varchar))::varchar as original",
            [source_id, row.row_number, row.reason, row.text],
        )
    if plan.table.refused:
        connection.execute(f"update {name} set digest = {digest_sql(plan.record)} where digest is null")


def _faults(plan: SheetPlan, columns: list[TypedColumn]) -> str:
    """Return SQL for the first fault of a row as [field, sentence], NULL where it has none."""
    tests = []
    named = {column.field.name: column for column in columns}
    for field in plan.record.fields:
        column = named.get(field.name)
        if column is None:
            continue
        tests.append(f"when ({column.fault}) is not null then [{quoted(field.name)}, {column.fault}]")
        if field.required:
            heading = next(c.heading for c in plan.columns if c.field.name == field.name)
            empty = quoted(f"'{heading}' is required, but empty")
            tests.append(f"when {field.column} is null then [{quoted(field.name)}, {empty}]")
    for first, second in plan.record.in_order:
        if first in named and second in named:
            a, b = plan.record.field_named(first).column, plan.record.field_named(second).column
            tests.append(
                f"when {b} < {a} then [{quoted(second)}, {quoted(second + ' ')} || {b}::varchar || "
                f"{quoted(' lies before ' + first + ' ')} || {a}::varchar]"
            )
    return f"case {' '.join(tests)} end" if tests else "NULL::varchar[]"


def _typed(connection: duckdb.DuckDBPyConnection, plan: SheetPlan, column: ColumnPlan, person_key: str) -> TypedColumn:
    field = column.field
    text = quoted(column.fixed) if column.fixed is not None else f"nullif(trim({column.source}), '')"
    heading, name = column.heading or field.name, field.column

    def expected(what: str) -> str:
        return quoted(f"'{heading}': expected {what}, found ") + f" || '''' || {text} || ''''"

    if field.kind is Kind.TEXT:
        return TypedColumn(field, text, "NULL")
    if field.kind is Kind.PERSON:
        return TypedColumn(field, f"md5({quoted(person_key)} || lower({text}))", "NULL")
    if field.kind is Kind.WORD or field.kind is Kind.FLAG:
        words = _words_in_use(connection, plan, column)
        value = _lookup(text, words) if words else "NULL"
        if field.kind is Kind.FLAG:
            what = "yes or no"
            value = f"({value})::boolean"
        else:
            what = f"one of the words of '{field.vocabulary}' ({_some_words(column)})"
        return TypedColumn(field, value, f"case when {text} is not null and {name} is null then {expected(what)} end")
    if field.kind is Kind.DATE:
        value = _date_sql(text, column.date_order, plan.table.typed_cells)
        fault = (
            f"case when {text} is not null and ({name} is null or {name} not between date '{EARLIEST}' and "
            f"date '{LATEST}') then {expected('a date')} end"
        )
        return TypedColumn(field, value, fault)
    return _typed_number(plan, column, text, expected("a number"))


def _typed_number(plan: SheetPlan, column: ColumnPlan, text: str, expected_number: str) -> TypedColumn:
    field = column.field
    number = _number_sql(text, column.decimal or ".")
    heading = column.heading or field.name
    if field.kind is Kind.COUNT:
        value = f"case when ({number}) = floor({number}) then try_cast({number} as integer) end"
        low, high, unit = field.low, field.high, ""
    elif field.kind is Kind.MEASURE:
        assert field.dimension is not None
        unit_name = column.unit or field.dimension.written_as
        value = _in_steps(number, steps_per_unit(field.dimension, unit_name))
        written = steps_per_unit(field.dimension, field.dimension.written_as)
        low = None if field.low is None else float(Decimal(str(field.low)) * written)
        high = None if field.high is None else float(Decimal(str(field.high)) * written)
        unit = f" {field.dimension.written_as}"
    else:
        return _typed_reading(plan, column, text, number, expected_number)
    name = field.column
    tests = [f"when {text} is not null and {name} is null then {expected_number}"]
    for bound, sign, word in ((low, "<", "below"), (high, ">", "above")):
        if bound is not None:
            shown = field.low if sign == "<" else field.high
            sentence = (
                quoted(f"'{heading}': found ")
                + f" || '''' || {text} || '''' || "
                + quoted(f", {word} the {shown:g}{unit} that it can mean")
            )
            tests.append(f"when {name} {sign} {bound!r} then {sentence}")
    return TypedColumn(field, value, f"case {' '.join(tests)} end")


def _typed_reading(plan: SheetPlan, column: ColumnPlan, text: str, number: str, expected_number: str) -> TypedColumn:
    """Type a reading, whose dimension follows from the row's quantity and whose unit from heading or row."""
    heading, name = column.heading or column.field.name, column.field.column
    read, unit = f"number_{name}", f"unit_{name}"
    tests = [
        f"when {text} is not null and ({read} is null or not isfinite({read})) then {expected_number}",
        f"when {read} is not null and {unit} is null then "
        + quoted(f"'{heading}': no unit is given; give one in the heading, the mapping or a unit_written column"),
        f"when {read} is not null and quantity is not null and {name} is null then "
        + quoted(f"'{heading}': '")
        + f" || {unit} || "
        + quoted("' is no unit of ")
        + " || quantity",
    ]
    is_limit = plan.record.name == "specification" or column.field.name in ("lower", "upper", "target")
    for quantity in QUANTITIES:
        step = float(steps_per_unit(quantity.dimension, quantity.dimension.written_as))
        low, high = (-quantity.high if is_limit else quantity.low) * step, quantity.high * step
        meaning = (
            f", outside the {quantity.low:g} to {quantity.high:g} {quantity.dimension.written_as} that "
            f"{quantity.word} can mean; looks like {quantity.looks_like}"
        )
        tests.append(
            f"when quantity = {quoted(quantity.word)} and {name} not between {low!r} and {high!r} then "
            + quoted(f"'{heading}': found ")
            + f" || {text} || ' ' || {unit} || {quoted(meaning)}"
        )
    return TypedColumn(
        column.field,
        _reading_in_steps(read, unit),
        f"case {' '.join(tests)} end",
        helpers=((read, number), (unit, _unit_sql(plan, column))),
    )


def _unit_sql(plan: SheetPlan, column: ColumnPlan) -> str:
    """Return SQL for the unit of a reading: the row's own where it writes one, else the column's."""
    unit = quoted(column.unit) if column.unit else "NULL"
    written = next((c for c in plan.columns if c.field.name == "unit_written"), None)
    if written is None:
        return f"{unit}::varchar"
    cell = quoted(written.fixed) if written.fixed is not None else f"nullif(trim({written.source}), '')"
    spelled = _lookup(f"lower({cell})", UNIT_SPELLINGS)
    return f"case when {cell} is not null then coalesce({spelled}, {cell}) else {unit} end"


def _reading_in_steps(number: str, unit: str) -> str:
    """Return SQL for a reading in steps, NULL where its unit is of another dimension than its quantity."""
    cases = []
    for dimension in {quantity.dimension.name: quantity.dimension for quantity in QUANTITIES}.values():
        words = ", ".join(quoted(q.word) for q in QUANTITIES if q.dimension.name == dimension.name)
        factors = " ".join(f"when {quoted(u)} then {_in_steps(number, f)}" for u, f in dimension.units.items())
        cases.append(f"when quantity in ({words}) then case {unit} {factors} end")
    return f"case {' '.join(cases)} end"


def _in_steps(number: str, factor: Decimal) -> str:
    """Return SQL that converts to whole steps, half to even; numerator first, so that ties stay exact."""
    numerator, denominator = factor.as_integer_ratio()
    if numerator > 10**9:
        return f"try_cast(round_even(({number}) * {float(factor)!r}, 0) as bigint)"
    scaled = f"({number}) * {numerator}" if denominator == 1 else f"({number}) * {numerator} / {denominator}"
    return f"try_cast(round_even({scaled}, 0) as bigint)"


def _number_sql(text: str, decimal: str) -> str:
    """Return SQL for the number that a text writes, NULL where it writes none.

    The other mark is taken as a thousands mark only where it stands between groups of three digits.
    """
    other = "," if decimal == "." else "."
    bare = f"replace(replace(replace({text}, ' ', ''), chr(160), ''), '''', '')"
    groups = rf"[-+]?\d{{1,3}}(\{other}\d{{3}})+(\{decimal}\d*)?"
    grouped = f"replace(replace({bare}, {quoted(other)}, ''), {quoted(decimal)}, '.')"
    plain = text if decimal == "." else f"replace({text}, ',', '.')"
    spaced = f"replace({bare}, {quoted(decimal)}, '.')"
    return (
        f"case when contains({text}, {quoted(other)}) "
        f"then case when regexp_full_match({bare}, {quoted(groups)}) then try_cast({grouped} as double) end "
        f"else coalesce(try_cast({plain} as double), try_cast({spaced} as double)) end"
    )


def _date_sql(text: str, order: str | None, typed_cells: bool) -> str:
    """Return SQL for the date that a text writes: year first, or in the settled order, or a typed cell's serial."""
    iso = f"case when {text} similar to '\\d{{4}}-\\d{{2}}-\\d{{2}}.*' then try_cast({text} as timestamp)::date end"
    d, m = ("%d", "%m") if order != "month" else ("%m", "%d")
    formats = [f"{d}{mark}{m}{mark}{year}" for mark in "./-" for year in ("%Y", "%y")]
    formats += ["%d %b %Y", "%d %B %Y", "%d-%b-%Y", "%Y/%m/%d", "%Y.%m.%d"]
    listed = ", ".join(quoted(f) for f in formats)
    tries = [iso, f"try_strptime({text}, [{listed}])::date"]
    if typed_cells:
        tries.append(
            f"case when {text} similar to '[1-9]\\d{{4}}(\\.\\d+)?' "
            f"then date '1899-12-30' + floor(try_cast({text} as double))::integer end"
        )
    return f"coalesce({', '.join(tries)})"


def _lookup(text: str, words: Mapping[str, str]) -> str:
    whens = " ".join(f"when {quoted(spelling)} then {quoted(word)}" for spelling, word in words.items())
    return f"case {text} {whens} end" if whens else "NULL"


def _words_in_use(connection: duckdb.DuckDBPyConnection, plan: SheetPlan, column: ColumnPlan) -> dict[str, str]:
    """Return the spellings of this column that mean a word, the most frequent first, so that lookup is short."""
    known = {**column.words}
    if column.field.kind is Kind.FLAG:
        known = {**{word: str(value).lower() for word, value in FLAG_WORDS.items()}, **known}
    if column.fixed is not None:
        used = [column.fixed]
    else:
        rows = connection.execute(
            f"select trim({column.source}), count(*) as n from {plan.table.raw_table} "
            f"where {column.source} is not null group by 1 order by n desc, 1 limit 100000"
        ).fetchall()
        used = [row[0] for row in rows]
    return {text: known[fold(text)] for text in used if fold(text) in known}


def _some_words(column: ColumnPlan) -> str:
    return ", ".join(dict.fromkeys(column.words.values()))


def settle_writing_style(connection: duckdb.DuckDBPyConnection, plan: SheetPlan) -> SheetPlan:
    """Return the plan with the decimal mark and date order of every column settled from its values.

    Raises LoadError where a column's values contradict each other or leave two readings open.
    """
    if plan.table.typed_cells:
        columns = [replace(c, decimal=c.decimal or ".") for c in plan.columns]
    else:
        columns = _settle_decimals(connection, plan)
    return replace(plan, columns=tuple(_settle_date(connection, plan, c) for c in columns))


def _settle_decimals(connection: duckdb.DuckDBPyConnection, plan: SheetPlan) -> list[ColumnPlan]:
    open_columns = [c for c in plan.columns if c.field.kind in _NUMBERS and c.source and c.decimal is None]
    evidence: dict[str, NumberEvidence] = {}
    for column in open_columns:
        text = f"trim({column.source})"
        table = plan.table.raw_table
        commas = connection.execute(f"select count(*) from {table} where contains({column.source}, ',')").fetchall()[0][
            0
        ]
        limit = "" if commas else " limit 20000"
        rows = connection.execute(
            f"select distinct {text} from {table} where {column.source} similar to '.*[.,].*'{limit}"
        ).fetchall()
        evidence[column.heading] = number_evidence(row[0] for row in rows)
    mark = decimal_mark(plan.table.place, evidence) if open_columns else "."
    return [replace(c, decimal=mark) if c in open_columns else c for c in plan.columns]


def _settle_date(connection: duckdb.DuckDBPyConnection, plan: SheetPlan, column: ColumnPlan) -> ColumnPlan:
    if column.field.kind is not Kind.DATE or column.source is None or column.date_order is not None:
        return column
    rows = connection.execute(
        f"select distinct trim({column.source}) from {plan.table.raw_table} where {column.source} is not null "
        f"and not (length({column.source}) = 10 and {column.source}[5] = '-')"
    ).fetchall()
    return replace(column, date_order=date_order(plan.table.place, column.heading, [row[0] for row in rows]))


def check_units_known(plan: SheetPlan) -> None:
    """Raise LoadError where a measure's planned unit is no unit of its dimension."""
    for column in plan.columns:
        dimension = column.field.dimension
        if dimension is not None and column.unit is not None and column.unit not in dimension.units:
            raise LoadError(
                f"{plan.table.place}, column '{column.heading}': '{column.unit}' is no unit of {dimension.name}; "
                f"expected one of {', '.join(dimension.units)}"
            )

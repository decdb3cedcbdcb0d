"""Turn the text of a planned sheet into typed rows with faults, in SQL made from the declarations."""

from __future__ import annotations

import difflib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from decimal import Decimal

import duckdb
import polars as pl

from ingest.field_sql import (
    date_sql,
    fold,
    hours_sql,
    lookup_sql,
    number_sql,
    quoted,
    reading_steps_sql,
    steps_sql,
    unit_sql,
)
from ingest.plan import ColumnPlan, SheetPlan
from ingest.record_model import Field, Kind
from ingest.settle_style import settle_writing_style
from ingest.units_of_measure import steps_per_unit
from ingest.vocabularies import FLAG_WORDS, QUANTITIES, Quantity

EARLIEST, LATEST = "1950-01-01", "2100-01-01"
BLANKS = " \t\r\n\u00a0"
MOST_HINTS = 200  # different unknown words of a column that get the nearest known one
_MAY_NEED_TRIMMING = (Kind.TEXT, Kind.PERSON, Kind.DATE)


@dataclass(frozen=True)
class TypedColumn:
    """Hold the SQL of one field: its typed value, and a sentence (or NULL) where the text cannot mean it."""

    field: Field
    value: str
    fault: str
    helpers: tuple[tuple[str, str], ...] = ()  # (name, SQL) computed before `value`, for values that need others


@dataclass(frozen=True)
class TypedRows:
    """Hold the SQL that types one source's rows.

    The SQL gives source_id, row_number, corrects, the declared columns that the source has, and `broken`: NULL, or a
    list of the field at fault, the sentence that says why, and the row's original text as JSON.
    """

    sql: str
    style: str  # how numbers and dates are written in the sheet, as JSON


def type_rows(connection: duckdb.DuckDBPyConnection, plan: SheetPlan, source_id: int, person_key: str) -> TypedRows:
    """Return how the rows of one source are typed. Rows that could not be split into columns come as broken ones.

    Raises LoadError where a column's way of writing numbers or dates is not settled by its own values.
    """
    plan = settle_writing_style(connection, plan)
    texts = _texts(connection, plan)
    reader = _Reader(connection, plan, texts, person_key)
    columns = [reader.read(column) for column in plan.columns]
    by_name = {column.field.name: column for column in columns}
    first = [column for column in columns if not column.helpers]
    then = [column for column in columns if column.helpers]
    helpers = [f"({sql}) as {alias}" for column in columns for alias, sql in column.helpers]
    values = "".join(f", {value}" for value in (*map(_value, first), *helpers))
    late_values = "".join(f", {_value(column)}" for column in then)
    pairs = ", ".join(f"{quoted(h)}, c{i}" for i, h in enumerate(plan.table.headings))
    given = ", ".join(column.field.column for column in columns)
    sql = f"""
        with rows_read as (
          select *{"".join(f", {sql} as {name}" for name, sql in texts.named())} from {plan.table.raw_table}
          where {_counts_as_row(plan, texts)}
        ),
        parsed as (select *{values} from rows_read),
        typed as (select *{late_values} from parsed),
        judged as (select *, {_faults(plan, by_name)} as fault_pair from typed)
        select {source_id}::integer as source_id, row_number, {texts.of(plan.corrects)}::varchar as corrects, {given},
          case when fault_pair is not null
            then [fault_pair[1], fault_pair[2], to_json(json_object({pairs}))::varchar] end as broken
        from judged
    """
    return TypedRows(
        f"({sql}){_refused(connection, plan, source_id)}",
        _style_of(plan),
    )


def _style_of(plan: SheetPlan) -> str:
    """Return how the sheet writes numbers and dates, so that its rows to put right can be handed out unmistakably."""
    numbers = (Kind.MEASURE, Kind.READING, Kind.COUNT)
    decimals = {c.field.name: c.decimal for c in plan.columns if c.field.kind in numbers}
    dates = {c.field.name: c.date_order for c in plan.columns if c.field.kind is Kind.DATE and c.date_order}
    return json.dumps({"decimal": decimals, "date_order": dates})


@dataclass(frozen=True)
class _Texts:
    """Say how each raw column's text is taken: as it stands, or trimmed where blanks stand round it."""

    trimmed: frozenset[str]
    used: tuple[str, ...]

    def named(self) -> list[tuple[str, str]]:
        """Return the trimmed columns, each with its SQL."""
        blanks = " || ".join([quoted(" "), *(f"chr({ord(blank)})" for blank in BLANKS[1:])])
        return [(f"t{c[1:]}", f"nullif(trim({c}, {blanks}), '')") for c in self.used if c in self.trimmed]

    def of(self, column: str | None) -> str:
        """Return the name under which a raw column's text stands."""
        if column is None:
            return "NULL"
        return f"t{column[1:]}" if column in self.trimmed else column


def _texts(connection: duckdb.DuckDBPyConnection, plan: SheetPlan) -> _Texts:
    """Find the columns with blanks round their texts: trimming those that need none would cost as much as reading.

    Words are looked up as they stand, each spelling once, and numbers are read through blanks.
    """
    told = [c.source for c in plan.columns if c.field.kind in _MAY_NEED_TRIMMING]
    if not plan.table.may_have_blanks_around:
        return _Texts(frozenset(), ())
    used = sorted({c for c in (*told, *plan.needs, plan.corrects) if c is not None})
    # Compared as texts, blanks come before '!' and the fixed blank between its own code and the next.
    test = "{0} < '!' or ({0} >= chr(160) and {0} < chr(161)) or {0}[-1] < '!' or {0}[-1] = chr(160)"
    asked = ", ".join(f"bool_or({test.format(column)})" for column in used)
    found = connection.execute(f"select {asked} from {plan.table.raw_table}").fetchall()[0] if used else ()
    return _Texts(frozenset(c for c, blank in zip(used, found, strict=True) if blank), tuple(used))


def _counts_as_row(plan: SheetPlan, texts: _Texts) -> str:
    if not plan.needs:
        return "true"
    named = dict(texts.named())
    return " and ".join(f"{named.get(texts.of(need), need)} is not null" for need in plan.needs)


def _value(column: TypedColumn) -> str:
    return f"({column.value})::{column.field.sql_type} as {column.field.column}"


def _refused(connection: duckdb.DuckDBPyConnection, plan: SheetPlan, source_id: int) -> str:
    """Keep the rows that could not be split in a table of their own; return the SQL that adds them."""
    if not plan.table.refused:
        return ""
    name = f"refused_{source_id}"
    rows = pl.DataFrame(
        {
            "row_number": [row.row_number for row in plan.table.refused],
            "reason": [row.reason for row in plan.table.refused],
            "text": [row.text for row in plan.table.refused],
        },
        schema={"row_number": pl.Int64, "reason": pl.String, "text": pl.String},
    )
    connection.register("refused_rows", rows)
    connection.execute(f"create temp table {name} as select * from refused_rows").fetchall()
    connection.unregister("refused_rows")
    return f"""
        union all by name
        (select {source_id}::integer as source_id, row_number,
          ['(row)', reason, to_json(json_object('row', text))::varchar] as broken from {name})
    """


def _faults(plan: SheetPlan, named: Mapping[str, TypedColumn]) -> str:
    """Return SQL for the first fault of a row as [field, sentence], NULL where it has none."""
    tests = []
    for field in plan.record.fields:
        column = named.get(field.name)
        if column is None:
            continue
        if column.fault != "NULL":
            tests.append(f"when ({column.fault}) is not null then [{quoted(field.name)}, {column.fault}]")
        if field.required:
            heading = next(c.heading for c in plan.columns if c.field.name == field.name)
            empty = quoted(f"'{heading}' is required, but empty")
            tests.append(f"when {field.column} is null then [{quoted(field.name)}, {empty}]")
    for first, second in plan.record.in_order:
        if first in named and second in named:
            tests.append(_order_test(plan.record.field_named(first), plan.record.field_named(second)))
    return f"case {' '.join(tests)} end" if tests else "NULL::varchar[]"


def _order_test(first: Field, second: Field) -> str:
    a, b = first.column, second.column
    if first.kind is Kind.DATE:
        sentence = f"{quoted(second.name + ' ')} || {b}::varchar || {quoted(f' lies before {first.name} ')} || {a}"
    else:
        sentence = quoted(f"{second.name} is less than {first.name}")
    return f"when {b} < {a} then [{quoted(second.name)}, {sentence}]"


def _known_words(column: ColumnPlan) -> dict[str, str]:
    flags = {word: str(value).lower() for word, value in FLAG_WORDS.items()}
    return {**(flags if column.field.kind is Kind.FLAG else {}), **column.words}


@dataclass(frozen=True)
class _Reader:
    """Write the SQL of one sheet's columns."""

    connection: duckdb.DuckDBPyConnection
    plan: SheetPlan
    texts: _Texts
    person_key: str
    found: dict[str, list[str]] = dataclass_field(default_factory=dict)  # the texts of columns already looked at

    def read(self, column: ColumnPlan) -> TypedColumn:
        """Return the column's SQL by the kind of its field."""
        field = column.field
        text = quoted(column.fixed) if column.fixed is not None else self.texts.of(column.source)
        if field.kind is Kind.TEXT:
            words = self.words_in_use(column) if column.words else {}
            return TypedColumn(field, f"coalesce({lookup_sql(text, words)}, {text})" if words else text, "NULL")
        if field.kind is Kind.PERSON:
            return TypedColumn(field, f"md5({quoted(self.person_key)} || lower({text}))", "NULL")
        if field.kind is Kind.WORD or field.kind is Kind.FLAG:
            return self.word(column, text)
        if field.kind is Kind.DATE:
            return self.date(column, text)
        if field.kind is Kind.READING:
            return self.reading(column, text)
        return self.number(column, text)

    def expected(self, column: ColumnPlan, text: str, what: str) -> str:
        heading = column.heading or column.field.name
        return quoted(f"'{heading}': expected {what}, found ") + f" || '''' || {text} || ''''"

    def word(self, column: ColumnPlan, text: str) -> TypedColumn:
        field = column.field
        words = self.words_in_use(column)
        value = lookup_sql(text, words) if words else "NULL"
        if field.kind is Kind.FLAG:
            what, value = "yes or no", f"({value})::boolean"
        else:
            what = f"one of the words of '{field.vocabulary}' ({', '.join(dict.fromkeys(column.words.values()))})"
        sentence = f"{self.expected(column, text, what)} || {self.meant(column, text)}"
        return TypedColumn(field, value, f"case when {field.column} is null and {text} is not null then {sentence} end")

    def words_in_use(self, column: ColumnPlan) -> dict[str, str]:
        """Return the spellings of this column that mean a word, the most frequent first, so that lookup is short."""
        known = _known_words(column)
        return {text: known[fold(text)] for text in self.texts_in_use(column) if fold(text) in known}

    def texts_in_use(self, column: ColumnPlan) -> list[str]:
        """Return the different texts of a column, the most frequent first."""
        if column.fixed is not None:
            return [column.fixed]
        source = str(column.source)
        if source not in self.found:
            rows = self.connection.execute(
                f"select t from (select {source} as t, count(*) as n from {self.plan.table.raw_table} "
                "group by 1) where t is not null order by n desc, t limit 100000"
            ).fetchall()
            self.found[source] = [row[0] for row in rows]
        return self.found[source]

    def meant(self, column: ColumnPlan, text: str) -> str:
        """Return SQL for the known word nearest to an unknown one, '' where none is near."""
        known = _known_words(column)
        unknown = [used for used in self.texts_in_use(column) if used.strip() and fold(used) not in known]
        near = {used: difflib.get_close_matches(fold(used), known, n=1, cutoff=0.75) for used in unknown[:MOST_HINTS]}
        hints = {used: f"; did you mean '{found[0]}'?" for used, found in near.items() if found}
        return f"coalesce({lookup_sql(text, hints)}, '')" if hints else "''"

    def date(self, column: ColumnPlan, text: str) -> TypedColumn:
        name = column.field.column
        sentence = self.expected(column, text, "a date")
        fault = (
            f"case when {text} is not null and ({name} is null or {name} not between date '{EARLIEST}' and "
            f"date '{LATEST}') then {sentence} end"
        )
        return TypedColumn(column.field, date_sql(text, column.date_order, self.plan.table.typed_cells), fault)

    def number(self, column: ColumnPlan, text: str) -> TypedColumn:
        """Type a count or a measure, with the bounds of what it can mean."""
        field, name = column.field, column.field.column
        number = number_sql(text, column.decimal or ".", self.plan.table.typed_cells)
        if field.kind is Kind.COUNT:
            value = f"case when ({number}) = floor({number}) then try_cast({number} as integer) end"
            step, unit = Decimal(1), ""
            what = "a whole number"
        else:
            assert field.dimension is not None
            if (column.unit or field.dimension.written_as) == "h":
                number = f"coalesce({number}, {hours_sql(text)})"
            value = steps_sql(number, steps_per_unit(field.dimension, column.unit or field.dimension.written_as))
            step, unit = steps_per_unit(field.dimension, field.dimension.written_as), f" {field.dimension.written_as}"
            what = "a number"
        heading = column.heading or field.name
        tests = [f"when {name} is null and {text} is not null then {self.expected(column, text, what)}"]
        for bound, sign, word in ((field.low, "<", "below"), (field.high, ">", "above")):
            if bound is not None:
                found = quoted(f"'{heading}': found ") + f" || '''' || {text} || ''''"
                sentence = f"{found} || {quoted(f', {word} the {bound:g}{unit} that it can mean')}"
                tests.append(f"when {name} {sign} {int(Decimal(str(bound)) * step)} then {sentence}")
        return TypedColumn(field, value, f"case {' '.join(tests)} end")

    def reading(self, column: ColumnPlan, text: str) -> TypedColumn:
        """Type a reading, whose dimension follows from the row's quantity and whose unit from heading or row."""
        heading, name = column.heading or column.field.name, column.field.column
        read, unit = f"number_{name}", f"unit_{name}"
        quantities = self.quantities_in_use()
        number = number_sql(text, column.decimal or ".", self.plan.table.typed_cells)
        expected = self.expected(column, text, "a number")
        tests = [
            f"when {text} is not null and ({read} is null or not isfinite({read})) then {expected}",
            f"when {read} is not null and {unit} is null then "
            + quoted(f"'{heading}': no unit is given; give one in the heading, the mapping or a unit_written column"),
            f"when {read} is not null and quantity is not null and {name} is null then "
            + quoted(f"'{heading}': '")
            + f" || {unit} || "
            + quoted("' is no unit of ")
            + " || quantity",
            *(self.meaning_test(column, text, quantity) for quantity in quantities),
        ]
        written = next((c for c in self.plan.columns if c.field.name == "unit_written"), None)
        cell = None
        if written is not None:
            cell = quoted(written.fixed) if written.fixed is not None else self.texts.of(written.source)
        return TypedColumn(
            column.field,
            reading_steps_sql(read, unit, quantities),
            f"case {' '.join(tests)} end",
            helpers=((read, number), (unit, unit_sql(column.unit, cell))),
        )

    def quantities_in_use(self) -> list[Quantity]:
        column = next((c for c in self.plan.columns if c.field.name == "quantity"), None)
        used = set(self.words_in_use(column).values()) if column is not None else set()
        return [quantity for quantity in QUANTITIES if quantity.word in used]

    def meaning_test(self, column: ColumnPlan, text: str, quantity: Quantity) -> str:
        """Return the test whether a reading lies in what its quantity can mean; a limit may be a deviation."""
        field = column.field
        heading, unit = column.heading or field.name, f"unit_{field.column}"
        is_limit = self.plan.record.name == "specification" or field.name in ("lower", "upper", "target")
        written = quantity.dimension.written_as
        step = steps_per_unit(quantity.dimension, written)
        least = -quantity.high if is_limit else quantity.low
        low, high = (int(Decimal(str(bound)) * step) for bound in (least, quantity.high))
        found = quoted(f"'{heading}': found ") + f" || {text} || ' ' || {unit} || "
        bounds = f", outside the {least:g} to {quantity.high:g} {written} that {quantity.word} can mean"
        above = quoted(f"{bounds}; looks like {quantity.looks_like}")
        return (
            f"when quantity = {quoted(quantity.word)} and {field.column} > {high} then {found}{above} "
            f"when quantity = {quoted(quantity.word)} and {field.column} < {low} then {found}{quoted(bounds)}"
        )

"""Write the SQL that reads one text as a number, a date, a word or a unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

from ingest.units_of_measure import UNIT_SPELLINGS, Dimension
from ingest.vocabularies import Quantity

LARGEST_EXACT_FACTOR = 10**9  # numerators up to this keep whole products exact in a double


def quoted(text: str) -> str:
    """Return `text` as an SQL string literal."""
    return "'" + text.replace("'", "''") + "'"


def fold(text: str) -> str:
    """Return a word as it is compared: lower case, single spaces, underscores as spaces."""
    return " ".join(text.lower().replace("_", " ").split())


def lookup_sql(text: str, words: Mapping[str, str]) -> str:
    """Return SQL for the word that a text spells, NULL where it spells none of `words` (spelling -> word)."""
    whens = " ".join(f"when {quoted(spelling)} then {quoted(word)}" for spelling, word in words.items())
    return f"case {text} {whens} end" if whens else "NULL"


def number_sql(text: str, decimal: str, typed_cells: bool = False) -> str:
    """Return SQL for the number that a text writes, NULL where it writes none.

    The other mark is taken as a thousands mark only where it stands between groups of three digits. With typed cells
    a text without a comma has a decimal point whatever the mark, since number cells arrive so, unless it ends in a
    zero behind a group of three, which no number cell does.
    """
    other = "," if decimal == "." else "."
    bare = f"replace(replace(replace({text}, ' ', ''), chr(160), ''), '''', '')"
    groups = rf"[-+]?[1-9]\d{{0,2}}(\{other}\d{{3}})+(\{decimal}\d*)?"
    grouped = f"replace(replace({bare}, {quoted(other)}, ''), {quoted(decimal)}, '.')"
    spaced = f"replace({bare}, {quoted(decimal)}, '.')"
    plain = text if decimal == "." else f"replace({text}, ',', '.')"
    sql = (
        f"case when contains({text}, {quoted(other)}) "
        f"then case when regexp_full_match({bare}, {quoted(groups)}) then try_cast({grouped} as double) end "
        f"else coalesce(try_cast({plain} as double), try_cast({spaced} as double)) end"
    )
    if typed_cells and decimal == ",":
        written = r"[-+]?[1-9]\d{0,2}(\.\d{3})*\.\d\d0"
        number_cell = f"not contains({text}, ',') and not regexp_full_match({text}, {quoted(written)})"
        return f"case when {number_cell} then try_cast({text} as double) else {sql} end"
    return sql


def hours_sql(text: str) -> str:
    """Return SQL for the hours that a text writes as h:mm or h:mm:ss, NULL where it writes none so."""
    hours, minutes, seconds = (f"try_cast(split_part({text}, ':', {place}) as double)" for place in (1, 2, 3))
    return (
        f"case when regexp_full_match({text}, '\\s*\\d+:[0-5]\\d(:[0-5]\\d)?\\s*') "
        f"then {hours} + {minutes} / 60 + coalesce({seconds}, 0) / 3600 end"
    )


def steps_sql(number: str, factor: Decimal) -> str:
    """Return SQL that converts a number to whole steps, half to even, NULL where it is too large or no number.

    The product is first rounded to a millionth of a step, so that a decimal that lies on a tie is seen as one.
    """
    numerator, denominator = factor.as_integer_ratio()
    if numerator > LARGEST_EXACT_FACTOR:
        scaled = f"({number}) * {float(factor)!r}"
    elif denominator == 1:
        scaled = f"({number}) * {numerator}"
    else:
        scaled = f"({number}) * {numerator} / {denominator}"
    return f"try_cast(round_even(round({scaled}, 6), 0) as bigint)"


def reading_steps_sql(number: str, unit: str, quantities: Iterable[Quantity]) -> str:
    """Return SQL for a reading in steps, NULL where its unit is of another dimension than its quantity."""
    by_dimension: dict[str, tuple[Dimension, list[str]]] = {}
    for quantity in quantities:
        by_dimension.setdefault(quantity.dimension.name, (quantity.dimension, []))[1].append(quantity.word)
    cases = []
    for dimension, words in by_dimension.values():
        listed = ", ".join(quoted(word) for word in words)
        factors = " ".join(f"when {quoted(u)} then {steps_sql(number, f)}" for u, f in dimension.units.items())
        cases.append(f"when quantity in ({listed}) then case {unit} {factors} end")
    return f"case {' '.join(cases)} end" if cases else "NULL::bigint"


def unit_sql(column_unit: str | None, written: str | None) -> str:
    """Return SQL for the unit of a reading: what the row's own `written` text spells, else the column's unit."""
    unit = quoted(column_unit) if column_unit else "NULL"
    if written is None:
        return f"{unit}::varchar"
    spelled = lookup_sql(f"rtrim(lower({written}), '.')", UNIT_SPELLINGS)
    return f"case when {written} is not null then coalesce({spelled}, {written}) else {unit} end"


def date_sql(text: str, order: str | None, typed_cells: bool) -> str:
    """Return SQL for the date that a text writes: year first, or in the settled order, or a typed cell's serial."""
    iso = f"case when {text} similar to '\\d{{4}}-\\d{{2}}-\\d{{2}}.*' then try_cast({text} as timestamp)::date end"
    parts = {"month": ("%m", "%d"), "year": None}.get(order or "day", ("%d", "%m"))
    if parts is None:
        formats = [f"%y{mark}%m{mark}%d" for mark in "./-"]
    else:
        formats = [f"{parts[0]}{mark}{parts[1]}{mark}{year}" for mark in "./-" for year in ("%y", "%Y")]
    formats += ["%d %b %Y", "%d %B %Y", "%d-%b-%Y", "%Y/%m/%d", "%Y.%m.%d"]
    listed = ", ".join(quoted(f) for f in formats)
    tries = [iso, f"try_strptime({text}, [{listed}])::date"]
    if typed_cells:
        tries.append(
            f"case when {text} similar to '[1-9]\\d{{4}}(\\.\\d+)?' "
            f"then date '1899-12-30' + floor(try_cast({text} as double))::integer end"
        )
    return f"coalesce({', '.join(tries)})"

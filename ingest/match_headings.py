"""Plan which column of a sheet is which field, from a mapping or from the headings themselves."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass

from ingest.heading_text import (
    bracketed,
    carries_unit,
    count_known,
    fold_heading,
    fold_word,
    known_headings,
    names_of_field,
    split_unit,
)  # fmt: skip
from ingest.mapping import MappedColumn, SheetMapping, WorkshopMapping, units_of
from ingest.plan import ColumnPlan, LoadError, SheetPlan, SourceTable
from ingest.record_model import Field, Kind, RecordType
from ingest.records import RECORDS
from ingest.units_of_measure import AMOUNT, MONEY, spelled_unit
from ingest.vocabularies import FLAG_WORDS, vocabulary_named

NEAR = 0.8
CORRECTS = "corrects"
PLACE_HEADINGS = ("file", "sheet", "row", "reason")  # beside `corrects`: where the row to put right stood, and why
AS_FOUND = "text as found"  # beside `corrects`: the text of a row that could not be split into columns
_CURRENCY = re.compile(r"^([A-Z]{3}|[€£$¥]|net|money)$")
_REPEATED = re.compile(r"#\d+$")
_UNNAMED = re.compile(r"^\(column [A-Z]+\)$")


def plan_sheets(tables: Sequence[SourceTable], mapping: WorkshopMapping | None) -> list[SheetPlan]:
    """Return how each sheet is read, in the order of `tables`, several plans for a sheet that several entries read.

    The headings that no plan of a sheet uses stand in its first plan's `unused_headings`. Raises LoadError where a
    sheet's record type, a heading or a unit cannot be told.
    """
    plans: list[SheetPlan] = []
    for table in tables:
        if mapping is not None and mapping.ignores(table.file, table.sheet):
            continue
        readings = mapping.entries_for(table.file, table.sheet) if mapping else ()
        plans.extend(_plan_table(table, readings, mapping))
    return plans


@dataclass(frozen=True)
class _Matched:
    """Say that a heading means a field, with the unit that the heading spells."""

    heading: str
    field: Field
    unit: str | None
    said: MappedColumn | None = None


def _plan_table(
    table: SourceTable, readings: Sequence[SheetMapping], mapping: WorkshopMapping | None
) -> list[SheetPlan]:  # fmt: skip
    corrects = _corrects(table)
    if not readings:
        made = [_Sheet(table, record_of_sheet(table), None, "").plan(corrects)]
    else:
        name = mapping.path.name if mapping else ""
        possible = [_Sheet(table, e.record, e, name) for e in readings if e.record and _has_needed(table, e, name)]
        if not possible:
            missing = next(need for entry in readings for need in entry.needs)
            raise LoadError(
                f"{table.place}: the columns that {name} needs are not there (such as '{missing}'); "
                f"found {_listed(table.headings)}"
            )
        made = [sheet.plan(corrects) for sheet in possible]
    return _with_unused(table, made, readings, corrects)


def understand(record: RecordType, heading: str) -> tuple[Field, str | None] | None:
    """Return the field of a record type that a heading names in our own words and the unit it spells, or None."""
    plain = _REPEATED.sub("", heading)
    parts, note = split_unit(plain), bracketed(plain)
    for field in record.fields:
        names = names_of_field(field)
        if parts and carries_unit(field) and fold_heading(parts[0]) in names:
            return field, parts[1]
        if fold_heading(plain) in names:
            return field, None
        if note and field.dimension is MONEY and fold_heading(note[0]) in names and _CURRENCY.match(note[1]):
            return field, "money"
    return None


def _corrects(table: SourceTable) -> str | None:
    for index, heading in enumerate(table.headings):
        if fold_heading(heading) == CORRECTS:
            return f"c{index}"
    return None


def _has_needed(table: SourceTable, entry: SheetMapping, file: str) -> bool:
    for need in entry.needs:
        if _column_headed(table, need) is None:
            near = _near(fold_heading(need), {fold_heading(h): h for h in table.headings})
            if near:
                raise LoadError(
                    f"{table.place}: {file}, sheet[{entry.number}].needs names '{need}', which is not a heading "
                    f"there; did you mean '{near}'?"
                )
            return False
    return True


def _column_headed(table: SourceTable, heading: str) -> int | None:
    if heading in table.headings:
        return table.headings.index(heading)
    folded = [_folded(one) for one in table.headings]
    return folded.index(_folded(heading)) if _folded(heading) in folded else None


def _folded(heading: str) -> str:
    """Fold a heading but keep the mark of a second column of the same name."""
    mark = _REPEATED.search(heading)
    return fold_heading(_REPEATED.sub("", heading)) + (mark.group() if mark else "")


def _near(folded: str, known: dict[str, str]) -> str | None:
    found = difflib.get_close_matches(folded, known, n=1, cutoff=NEAR)
    return known[found[0]] if found else None


def _listed(headings: Sequence[str]) -> str:
    shown = ", ".join(f"'{heading}'" for heading in headings[:12])
    return shown + (" ..." if len(headings) > 12 else "") if shown else "no headings"


@dataclass(frozen=True)
class _Sheet:
    """Match one sheet's headings against one record type, with the mapping's entry where there is one."""

    table: SourceTable
    record: RecordType
    entry: SheetMapping | None
    mapping_file: str

    def plan(self, corrects: str | None) -> SheetPlan:
        matched = self.match()
        self.refuse_two_for_one(matched)
        self.refuse_near_mapped(matched)
        fixed = [
            ColumnPlan(f.field, None, f.field.name, f.text, self.unit_or_refuse(f.field, f.unit, f.field.name, matched),
                       self.words(f.field), ".", "year")
            for f in (self.entry.fixed if self.entry else ())
        ]  # fmt: skip
        columns = tuple(self.column(one, matched) for one in matched) + tuple(fixed)
        self.refuse_missing(columns)
        needs = self.entry.needs if self.entry else ()
        return SheetPlan(
            self.record,
            self.table,
            columns,
            tuple(f"c{_column_headed(self.table, need)}" for need in needs),
            self.entry.habits if self.entry else frozenset(),
            self.entry.digest if self.entry else "",
            (),
            corrects,
        )

    def match(self) -> list[_Matched]:
        """Match each heading, the mapping's word before our own."""
        said = {_folded(one.heading): one for one in self.entry.columns} if self.entry else {}
        taken = {one.field.name for one in said.values() if one.field} & self.fields_said_here(said)
        taken |= {one.field.name for one in self.entry.fixed} if self.entry else set()
        matched = []
        for heading in self.table.headings:
            mapped = said.get(_folded(heading))
            if mapped is not None:
                if mapped.field is not None:
                    unit = mapped.unit or self.spelled(heading, mapped.field)
                    matched.append(_Matched(heading, mapped.field, unit, mapped))
                continue
            found = understand(self.record, heading)
            if found and found[0].name not in taken:
                unit = self.fitting_unit(heading, *found)
                matched.append(_Matched(heading, found[0], unit))
        return matched

    def fields_said_here(self, said: dict[str, MappedColumn]) -> set[str]:
        here = [said.get(_folded(heading)) for heading in self.table.headings]
        return {one.field.name for one in here if one and one.field}

    def spelled(self, heading: str, field: Field) -> str | None:
        """Return the unit that a mapped heading spells: beside other words, or by being nothing else."""
        if not carries_unit(field):
            return None
        parts = split_unit(heading)
        unit = parts[1] if parts else spelled_unit(heading)
        return unit if unit in units_of(field) else None

    def fitting_unit(self, heading: str, field: Field, unit: str | None) -> str | None:
        if unit is not None and unit not in units_of(field):
            raise LoadError(
                f"{self.table.place}: heading '{heading}' gives {field.name} in '{unit}'; "
                f"expected one of {', '.join(units_of(field))}"
            )
        return unit

    def column(self, one: _Matched, matched: Sequence[_Matched]) -> ColumnPlan:
        entry, said = self.entry, one.said
        return ColumnPlan(
            one.field,
            f"c{self.table.headings.index(one.heading)}",
            one.heading,
            None,
            self.unit_or_refuse(one.field, one.unit, one.heading, matched),
            self.words(one.field),
            (said.decimal if said else None) or (entry.decimal if entry else None),
            (said.date_order if said else None) or (entry.date_order if entry else None),
        )

    def unit_or_refuse(
        self, field: Field, unit: str | None, heading: str, matched: Sequence[_Matched]
    ) -> str | None:  # fmt: skip
        if unit is not None or not carries_unit(field):
            return unit
        if field.dimension is MONEY:
            return "money"
        if field.dimension is AMOUNT:
            return "pieces"
        fixed_names = {f.field.name: f.text for f in self.entry.fixed} if self.entry else {}
        if field.kind is Kind.READING:
            if any(one.field.name == "unit_written" for one in matched):
                return None
            if "unit_written" in fixed_names:
                return spelled_unit(fixed_names["unit_written"])
        example = field.dimension.written_as if field.dimension else "mm"
        raise LoadError(
            f"{self.table.place}: heading '{heading}' does not say the unit of {field.name}; expected one of "
            f"{', '.join(units_of(field))} in brackets, such as '{heading} ({example})', or a unit in the mapping"
        )

    def words(self, field: Field) -> dict[str, str]:
        """Return every folded spelling that means a word of the field, the mapping's own on top."""
        made: dict[str, str] = {}
        if field.vocabulary is not None:
            for word in vocabulary_named(field.vocabulary).words:
                made.update({fold_word(spelling): word.word for spelling in (*word.spellings, word.word)})
        elif field.kind is Kind.FLAG:
            made = {word: "true" if meaning else "false" for word, meaning in FLAG_WORDS.items()}
        return made | dict(self.entry.words.get(field.name, {}) if self.entry else {})

    def refuse_two_for_one(self, matched: Sequence[_Matched]) -> None:
        first: dict[str, str] = {}
        for one in matched:
            other = first.setdefault(one.field.name, one.heading)
            if other != one.heading:
                raise LoadError(
                    f"{self.table.place}: '{other}' and '{one.heading}' could both be {one.field.name}; "
                    f"rename one or say in a mapping which is meant and ignore the other"
                )

    def refuse_near_mapped(self, matched: Sequence[_Matched]) -> None:
        """Refuse a heading of the mapping that is not there while one nearly like it is left over."""
        if self.entry is None:
            return
        have = {one.field.name for one in matched}
        free = {_folded(h): h for h in self.table.headings if h not in {one.heading for one in matched}}
        for one in self.entry.columns:
            if one.field is None or one.field.name in have or _folded(one.heading) in free:
                continue
            near = _near(_folded(one.heading), free)
            if near:
                raise LoadError(
                    f"{self.table.place}: {self.mapping_file}, sheet[{self.entry.number}].columns names "
                    f"'{one.heading}', which is not a heading there; did you mean '{near}'?"
                )

    def refuse_missing(self, columns: Sequence[ColumnPlan]) -> None:
        have = {column.field.name for column in columns}
        missing = [field for field in self.record.fields if field.required and field.name not in have]
        if missing:
            names = " and ".join(f"'{field.heading}'" for field in missing)
            raise LoadError(
                f"{self.table.place}: a {self.record.name} needs a column {names}; found {_listed(self.table.headings)}"
            )


def _with_unused(
    table: SourceTable, plans: list[SheetPlan], readings: Sequence[SheetMapping], corrects: str | None
) -> list[SheetPlan]:  # fmt: skip
    """Put the headings that no plan uses into the first plan; refuse those that are nearly a field's name."""
    used = {column.heading for plan in plans for column in plan.columns if column.source}
    used |= {table.headings[int(need[1:])] for plan in plans for need in plan.needs}
    said = {_folded(one.heading) for entry in readings for one in entry.columns}
    passed = {CORRECTS, *PLACE_HEADINGS, AS_FOUND} if corrects else set()
    unused = []
    for heading in table.headings:
        folded = _folded(heading)
        if heading in used or folded in said or folded in passed:
            continue
        for plan in plans:
            _refuse_near_field(table, plan, heading)
        unused.append(heading)
    first = plans[0]
    plans[0] = SheetPlan(
        first.record, first.table, first.columns, first.needs, first.habits, first.mapping_digest,
        tuple(unused), first.corrects,
    )  # fmt: skip
    return plans


def _refuse_near_field(table: SourceTable, plan: SheetPlan, heading: str) -> None:
    if _UNNAMED.match(heading):
        return
    have = {column.field.name for column in plan.columns}
    parts = split_unit(heading) or bracketed(heading)
    known = {n: f.heading for f in plan.record.fields if f.name not in have for n in sorted(names_of_field(f))}
    for text in dict.fromkeys((heading, parts[0] if parts else heading)):
        near = _near(fold_heading(text), known)
        if near:
            raise LoadError(
                f"{table.place}: unknown heading '{heading}'; did you mean '{near}'? "
                f"Rename it, or name it in a mapping (ignore = true leaves it out)"
            )


def record_of_sheet(table: SourceTable) -> RecordType:
    """Return the record type that a sheet holds, from its name and its headings.

    Raises LoadError with the nearest record types where neither settles it or where they contradict each other.
    """
    scores = {record.name: count_known(table.headings, known_headings(record)) for record in RECORDS}
    fits = [record for record in RECORDS if _required_found(table, record)]
    named = _named_like(table)
    if named is not None:
        better = [record for record in fits if scores[record.name] > scores[named.name]]
        if better:
            best = max(better, key=lambda record: scores[record.name])
            raise LoadError(
                f"{table.place}: named like {named.name}, but its headings fit {best.name} better; "
                f"rename it or say record = ... in a mapping"
            )
        return named
    enough = min(3, max(2, len(table.headings)))  # one or two common headings, such as 'job', tell nothing
    ranked = sorted((r for r in fits if scores[r.name] >= enough), key=lambda record: -scores[record.name])
    if ranked and (len(ranked) == 1 or scores[ranked[0].name] > scores[ranked[1].name]):
        return ranked[0]
    near = sorted(RECORDS, key=lambda record: (record not in fits, -scores[record.name]))[:3]
    raise LoadError(
        f"{table.place}: cannot tell what its rows are; nearest are {', '.join(record.name for record in near)}. "
        f"Name the sheet after one of them, or say record = ... or ignore = true in a mapping. "
        f"Found {_listed(table.headings)}"
    )


def _required_found(table: SourceTable, record: RecordType) -> bool:
    return all(count_known(table.headings, names_of_field(f)) for f in record.fields if f.required)


def _named_like(table: SourceTable) -> RecordType | None:
    """Return the record type after which the sheet, or the file without sheets, is named; years and numbers aside."""
    for name in (table.sheet, table.file.stem):
        words = " ".join(re.sub(r"\d+", " ", fold_heading(name or "")).split())
        for record in RECORDS:
            if words in {fold_heading(one) for one in (record.name, *record.sheet_names)}:
                return record
    return None

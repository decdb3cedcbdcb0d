"""Read a workshop's mapping file: which of its sheets, headings, units and words mean which of ours."""

from __future__ import annotations

import codecs
import difflib
import hashlib
import json
import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from ingest.heading_text import carries_unit, fold_word
from ingest.plan import LoadError
from ingest.record_model import Field, Kind, RecordType
from ingest.records import RECORDS, record_named
from ingest.units_of_measure import DIMENSIONS, spelled_unit
from ingest.vocabularies import FLAG_WORDS, vocabulary_named

HABITS: dict[str, tuple[str, ...]] = {"full_strip_lists_only_bad": ("finding",)}
DATE_ORDERS = ("day", "month", "year")
DECIMALS = (".", ",")
_TOP_KEYS = ("version", "sheet")
_BLOCK_KEYS = (
    "file", "sheet", "record", "ignore", "heading_row", "delimiter", "quote", "encoding", "decimal", "date_order",
    "needs", "habits", "columns", "fixed", "words",
)  # fmt: skip
_COLUMN_KEYS = ("field", "unit", "decimal", "date_order", "ignore")
_FIXED_KEYS = ("value", "unit")


@dataclass(frozen=True)
class ReadingOptions:
    """Say how a file is to be read where the mapping declares it; None means: find out."""

    heading_row: int | None = None
    delimiter: str | None = None
    quote: str | None = None
    encoding: str | None = None


@dataclass(frozen=True)
class MappedColumn:
    """Say which field a workshop's heading means, and how its values are written; no field means: ignore it."""

    heading: str
    field: Field | None
    unit: str | None = None
    decimal: str | None = None
    date_order: str | None = None


@dataclass(frozen=True)
class FixedValue:
    """Hold the text that a field has in every row of a sheet, with its unit where it needs one."""

    field: Field
    text: str
    unit: str | None = None


@dataclass(frozen=True)
class SheetMapping:
    """Hold one `[[sheet]]` entry: one way of reading matching sheets as one record type, or to ignore them."""

    number: int
    file: str | None
    sheet: str | None
    record: RecordType | None
    reading: ReadingOptions
    decimal: str | None
    date_order: str | None
    needs: tuple[str, ...]
    habits: frozenset[str]
    columns: tuple[MappedColumn, ...]
    fixed: tuple[FixedValue, ...]
    words: Mapping[str, Mapping[str, str]]
    digest: str

    @property
    def ignored(self) -> bool:
        """Return whether matching sheets are to be left out."""
        return self.record is None

    def matches(self, file: Path, sheet: str | None) -> bool:
        """Return whether the entry speaks of this sheet."""
        if self.file is not None and not fnmatchcase(file.name.casefold(), self.file.casefold()):
            return False
        if self.sheet is None:
            return True
        return sheet is not None and fnmatchcase(sheet.casefold(), self.sheet.casefold())


@dataclass(frozen=True)
class WorkshopMapping:
    """Hold a whole mapping file, with the workshop's own version of it."""

    path: Path
    version: str | None
    sheets: tuple[SheetMapping, ...]
    digest: str

    def entries_for(self, file: Path, sheet: str | None) -> tuple[SheetMapping, ...]:
        """Return the entries that speak of this sheet, in the order of the file."""
        return tuple(entry for entry in self.sheets if entry.matches(file, sheet))

    def ignores(self, file: Path, sheet: str | None) -> bool:
        """Return whether the sheet is to be left out: some entry that speaks of it says so."""
        return any(entry.ignored for entry in self.entries_for(file, sheet))

    def reading_options(self, file: Path, sheet: str | None) -> ReadingOptions:
        """Return how a sheet is to be read; raises LoadError where two entries say different things."""
        said: dict[str, Any] = {}
        for entry in self.entries_for(file, sheet):
            for key, value in vars(entry.reading).items():
                if value is not None and said.setdefault(key, value) != value:
                    raise LoadError(
                        f"{self.path.name}: two [[sheet]] entries give {file.name} a different {key}: "
                        f"{said[key]!r} and {value!r}; one file is read in one way"
                    )
        return ReadingOptions(**said)


def read_mapping(path: Path) -> WorkshopMapping:
    """Read and check a mapping file; raises LoadError that names the key and the nearest one that exists."""
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise LoadError(f"the mapping {path} cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise LoadError(f"the mapping {path.name} is not UTF-8 text; save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise LoadError(f"the mapping {path.name} is not valid TOML: {error}") from error
    reader = _Reader(path.name)
    reader.check_keys("", data, _TOP_KEYS)
    blocks = data.get("sheet", [])
    if not isinstance(blocks, list) or not blocks or not all(isinstance(block, dict) for block in blocks):
        raise LoadError(f"{path.name}: expected at least one [[sheet]] entry, found none")
    version = data.get("version")
    if version is not None and (isinstance(version, bool) or not isinstance(version, int | str)):
        raise reader.wrong("version", "a number or text", version)
    return WorkshopMapping(
        path,
        None if version is None else str(version),
        tuple(reader.entry(number, block) for number, block in enumerate(blocks, 1)),
        _digest(data),
    )


def nearest(word: str, known: Collection[str]) -> str:
    """Return '; did you mean ...?' for the nearest known word, or the list of what there is."""
    near = difflib.get_close_matches(word.casefold(), [one.casefold() for one in known], n=1, cutoff=0.6)
    if near:
        return f"; did you mean '{next(one for one in known if one.casefold() == near[0])}'?"
    return f"; expected one of {', '.join(known)}"


def _digest(data: object) -> str:
    return hashlib.sha256(json.dumps(data, sort_keys=True, default=str).encode()).hexdigest()


@dataclass(frozen=True)
class _Reader:
    """Check the parts of a mapping file, naming the file and the key in every refusal."""

    file: str
    place: str = field(default="")

    def wrong(self, key: str, expected: str, found: object) -> LoadError:
        return LoadError(f"{self.file}, {key}: expected {expected}, found {found!r}")

    def check_keys(self, place: str, table: Mapping[str, Any], known: Sequence[str]) -> None:
        for key in table:
            if key not in known:
                where = f"{place}.{key}" if place else key
                raise LoadError(f"{self.file}: there is no key '{where}'{nearest(key, known)}")

    def entry(self, number: int, block: Mapping[str, Any]) -> SheetMapping:
        place = f"sheet[{number}]"
        self.check_keys(place, block, _BLOCK_KEYS)
        record = self.record(place, block)
        columns = self.columns(place, block, record)
        fixed = self.fixed(place, block, record)
        both = {c.field.name for c in columns if c.field} & {f.field.name for f in fixed}
        if both:
            raise LoadError(f"{self.file}: {place} takes '{min(both)}' from a column and also fixes it; keep one")
        return SheetMapping(
            number=number,
            file=self.text(place, block, "file"),
            sheet=self.text(place, block, "sheet"),
            record=record,
            reading=self.reading(place, block),
            decimal=self.choice(place, block, "decimal", DECIMALS),
            date_order=self.choice(place, block, "date_order", DATE_ORDERS),
            needs=self.texts(place, block, "needs"),
            habits=self.habits(place, block, record),
            columns=columns,
            fixed=fixed,
            words=self.words(place, block, record),
            digest=_digest(dict(block)),
        )

    def record(self, place: str, block: Mapping[str, Any]) -> RecordType | None:
        ignore = block.get("ignore", False)
        if not isinstance(ignore, bool):
            raise self.wrong(f"{place}.ignore", "true or false", ignore)
        if ignore:
            others = [key for key in block if key not in ("file", "sheet", "ignore")]
            if others:
                raise LoadError(f"{self.file}: {place} says ignore = true and also {others[0]}; keep one")
            return None
        name = self.text(place, block, "record")
        if name is None:
            raise LoadError(f"{self.file}: {place} says neither record = ... nor ignore = true")
        try:
            return record_named(name)
        except KeyError:
            known = [record.name for record in RECORDS]
            raise LoadError(f"{self.file}, {place}.record: no record type '{name}'{nearest(name, known)}") from None

    def reading(self, place: str, block: Mapping[str, Any]) -> ReadingOptions:
        heading_row = block.get("heading_row")
        if heading_row is not None and (
            isinstance(heading_row, bool) or not isinstance(heading_row, int) or heading_row < 1
        ):
            raise self.wrong(f"{place}.heading_row", "a row number from 1", heading_row)
        delimiter, quote = self.text(place, block, "delimiter"), self.text(place, block, "quote")
        if delimiter is not None and (len(delimiter) != 1 or delimiter in "\r\n\"'"):
            raise self.wrong(f"{place}.delimiter", "one character, such as ; or a tab as \\t", delimiter)
        if quote is not None and (len(quote) > 1 or quote == delimiter or quote in ("\r", "\n", " ")):
            raise self.wrong(f"{place}.quote", 'one character, such as " or nothing', quote)
        return ReadingOptions(heading_row, delimiter, quote, self.encoding(place, block))

    def encoding(self, place: str, block: Mapping[str, Any]) -> str | None:
        name = self.text(place, block, "encoding")
        if name is None:
            return None
        try:
            codecs.lookup(name)
            b"text".decode(name, "ignore")  # names of other codecs, such as base64, are no encodings of text
        except LookupError:
            usual = ("utf-8", "utf-16", "cp1252", "cp850", "latin-1", "iso-8859-15")
            raise LoadError(f"{self.file}, {place}.encoding: no encoding '{name}'{nearest(name, usual)}") from None
        return codecs.lookup(name).name

    def habits(self, place: str, block: Mapping[str, Any], record: RecordType | None) -> frozenset[str]:
        habits = self.texts(place, block, "habits")
        for habit in habits:
            if habit not in HABITS:
                raise LoadError(f"{self.file}, {place}.habits: no habit '{habit}'{nearest(habit, list(HABITS))}")
            if record is not None and record.name not in HABITS[habit]:
                raise LoadError(
                    f"{self.file}, {place}.habits: '{habit}' speaks of {HABITS[habit][0]}, not {record.name}"
                )
        return frozenset(habits)

    def columns(
        self, place: str, block: Mapping[str, Any], record: RecordType | None
    ) -> tuple[MappedColumn, ...]:  # fmt: skip
        table = self.table(place, block, "columns")
        return tuple(
            self.column(f'{place}.columns."{heading}"', heading, said, record) for heading, said in table.items()
        )

    def column(self, place: str, heading: str, said: object, record: RecordType | None) -> MappedColumn:
        if isinstance(said, str):
            said = {"field": said}
        if not isinstance(said, dict):
            raise self.wrong(place, "a field's name or a table such as { field = ..., unit = ... }", said)
        self.check_keys(place, said, _COLUMN_KEYS)
        ignore = said.get("ignore", False)
        if not isinstance(ignore, bool):
            raise self.wrong(f"{place}.ignore", "true or false", ignore)
        if ignore:
            if len(said) > 1:
                raise LoadError(f"{self.file}: {place} says ignore = true and more; keep one")
            return MappedColumn(heading, None)
        name = self.text(place, said, "field")
        if name is None:
            raise LoadError(f"{self.file}: {place} says neither field = ... nor ignore = true")
        found = self.field(place, name, record)
        return MappedColumn(
            heading,
            found,
            self.unit(place, said, found),
            self.choice(place, said, "decimal", DECIMALS),
            self.choice(place, said, "date_order", DATE_ORDERS),
        )

    def fixed(self, place: str, block: Mapping[str, Any], record: RecordType | None) -> tuple[FixedValue, ...]:
        made = []
        for name, said in self.table(place, block, "fixed").items():
            key = f"{place}.fixed.{name}"
            found = self.field(key, name, record)
            if not isinstance(said, dict):
                said = {"value": said}
            self.check_keys(key, said, _FIXED_KEYS)
            value = said.get("value")
            if isinstance(value, bool):
                value = "true" if value else "false"
            elif isinstance(value, date):
                value = value.isoformat()
            elif isinstance(value, int | float):
                value = str(value)
            if not isinstance(value, str) or not value.strip():
                raise self.wrong(key, "a text, number, date or true or false", said.get("value"))
            made.append(FixedValue(found, value, self.unit(key, said, found)))
        return tuple(made)

    def words(
        self, place: str, block: Mapping[str, Any], record: RecordType | None
    ) -> dict[str, dict[str, str]]:  # fmt: skip
        made: dict[str, dict[str, str]] = {}
        for name, table in self.table(place, block, "words").items():
            key = f"{place}.words.{name}"
            found = self.field(key, name, record)
            if not isinstance(table, dict):
                raise self.wrong(key, "a table of your word = our word", table)
            made[name] = {
                fold_word(theirs): self.word(f"{key}.{theirs}", ours, found) for theirs, ours in table.items()
            }
        return made

    def word(self, place: str, ours: object, found: Field) -> str:
        if isinstance(ours, bool | int):
            ours = str(ours).lower()
        if not isinstance(ours, str):
            raise self.wrong(place, "a word", ours)
        if found.kind is Kind.FLAG:
            if fold_word(ours) not in FLAG_WORDS:
                raise LoadError(f"{self.file}, {place}: expected yes or no, found '{ours}'")
            return "true" if FLAG_WORDS[fold_word(ours)] else "false"
        if found.vocabulary is not None:
            codes = vocabulary_named(found.vocabulary).codes()
            if ours not in codes:
                raise LoadError(f"{self.file}, {place}: '{ours}' is not a word for {found.name}{nearest(ours, codes)}")
        elif found.kind is not Kind.TEXT:
            raise LoadError(
                f"{self.file}, {place}: {found.name} is a {found.kind.value}; expected a word, text or flag"
            )
        return ours

    def field(self, place: str, name: str, record: RecordType | None) -> Field:
        assert record is not None
        try:
            return record.field_named(name)
        except KeyError:
            known = [one.name for one in record.fields]
            raise LoadError(
                f"{self.file}, {place}: {record.name} has no field '{name}'{nearest(name, known)}"
            ) from None

    def unit(self, place: str, said: Mapping[str, Any], found: Field) -> str | None:
        text = self.text(place, said, "unit")
        if text is None:
            return None
        if not carries_unit(found):
            raise LoadError(f"{self.file}, {place}: {found.name} is a {found.kind.value} and takes no unit")
        known = units_of(found)
        unit = text if text in known else spelled_unit(text)
        if unit not in known:
            raise LoadError(
                f"{self.file}, {place}: '{text}' is not a unit of {found.name}; expected one of {', '.join(known)}"
            )
        return unit

    def text(self, place: str, table: Mapping[str, Any], key: str) -> str | None:
        value = table.get(key)
        if value is not None and not isinstance(value, str):
            raise self.wrong(f"{place}.{key}", "a text in quotes", value)
        return value

    def texts(self, place: str, table: Mapping[str, Any], key: str) -> tuple[str, ...]:
        value = table.get(key, [])
        if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
            raise self.wrong(f"{place}.{key}", 'a list of texts such as ["..."]', value)
        return tuple(value)

    def table(self, place: str, block: Mapping[str, Any], key: str) -> dict[str, Any]:
        value = block.get(key, {})
        if not isinstance(value, dict):
            raise self.wrong(f"{place}.{key}", "a table", value)
        return value

    def choice(self, place: str, table: Mapping[str, Any], key: str, known: Sequence[str]) -> str | None:
        value = self.text(place, table, key)
        if value is not None and value not in known:
            raise self.wrong(f"{place}.{key}", " or ".join(f'"{one}"' for one in known), value)
        return value


def units_of(found: Field) -> tuple[str, ...]:
    """Return the units in which a measure may be written; for a reading, those of every dimension it may have."""
    if found.dimension is not None:
        return tuple(found.dimension.units)
    return tuple(unit for one in DIMENSIONS if one.name in ("length", "torque") for unit in one.units)

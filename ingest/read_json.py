"""Read JSON (a list of objects, lists by name, columns by name) and JSON lines, numbers exact."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import duckdb

from ingest.plan import LoadError, RefusedRow, SourceTable
from ingest.raw_table import number_text, store_rows

JSON_SUFFIXES = (".json", ".jsonl", ".ndjson")


class _ItemError(ValueError):
    """Say why one object cannot be a row."""


def read_json(connection: duckdb.DuckDBPyConnection, path: Path) -> list[SourceTable]:
    """Read a JSON file into raw tables: one, or one a name where the file holds lists of objects by name.

    A row's number is its place in the list, from 1; in JSON lines, its line. Objects inside a row become columns
    such as `unit.tag`. A line or item that is no object, or that names a key twice, becomes a `RefusedRow`.
    Raises LoadError where the file is not JSON or holds no list of objects.
    """
    text = _text_of(path)
    if path.suffix.lower() != ".json":
        return [_stored(connection, path, None, _lines(text))]
    try:
        data = _parse(text)
    except json.JSONDecodeError as error:
        if error.msg == "Extra data" and len(text.strip().splitlines()) > 1:
            return [_stored(connection, path, None, _lines(text))]
        raise LoadError(f"{path.name}, line {error.lineno}: not valid JSON: {error.msg}") from error
    except RecursionError as error:
        raise LoadError(f"{path.name}: not readable JSON: nested too deeply") from error
    if isinstance(data, list):
        return [_stored(connection, path, None, enumerate(data, 1))]
    pairs = data.pairs if isinstance(data, _Object) else []
    lists = {key: value for key, value in pairs if isinstance(value, list)}
    if not lists or len(lists) != len(pairs):
        if isinstance(data, _Object) and "\n" not in text.strip():
            return [_stored(connection, path, None, _lines(text))]
        raise LoadError(f"{path.name}: expected a list of objects, or lists by name, found {_kind(data)}")
    if all(isinstance(item, _Object) for value in lists.values() for item in value):
        return [_stored(connection, path, key, enumerate(value, 1)) for key, value in lists.items()]
    return [_stored(connection, path, None, enumerate(_from_columns(path, lists), 1))]


class _Object:
    """Hold an object's pairs in order, also where a key stands twice."""

    def __init__(self, pairs: list[tuple[str, Any]]) -> None:
        self.pairs = pairs


class _Number(str):
    """Mark a text that stood in the file as a number."""

    __slots__ = ()


def _text_of(path: Path) -> str:
    data = path.read_bytes()
    if not data.strip():
        raise LoadError(f"{path.name}: the file is empty")
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise LoadError(f"{path.name}, line {line}: JSON has to be UTF-8 text, found another byte") from error


def _parse(text: str) -> Any:
    def number(found: str) -> _Number:
        return _Number(number_text(Decimal(found)))

    def refuse(found: str) -> Any:
        raise json.JSONDecodeError(f"{found} is no JSON number", text, max(text.find(found), 0))

    return json.loads(text, parse_float=number, parse_int=number, parse_constant=refuse, object_pairs_hook=_Object)


def _lines(text: str) -> Iterator[tuple[int, Any]]:
    for number, line in enumerate(text.split("\n"), 1):
        if line.strip():
            try:
                yield number, _parse(line)
            except (json.JSONDecodeError, RecursionError) as error:
                reason = error.msg if isinstance(error, json.JSONDecodeError) else "nested too deeply"
                yield number, RefusedRow(number, line.strip(), f"not valid JSON: {reason}")


def _from_columns(path: Path, columns: dict[str, list[Any]]) -> list[_Object]:
    lengths = {key: len(values) for key, values in columns.items()}
    if len(set(lengths.values())) > 1:
        short, long = min(lengths, key=lambda key: lengths[key]), max(lengths, key=lambda key: lengths[key])
        raise LoadError(
            f"{path.name}: columns differ in length: '{short}' has {lengths[short]} values, "
            f"'{long}' has {lengths[long]}"
        )
    return [_Object(list(zip(columns, values, strict=True))) for values in zip(*columns.values(), strict=True)]


def _stored(
    connection: duckdb.DuckDBPyConnection, path: Path, name: str | None, items: Iterator[tuple[int, Any]] | Any
) -> SourceTable:  # fmt: skip
    headings: dict[str, None] = {}
    rows: list[tuple[int, dict[str, str | None]]] = []
    refused: list[RefusedRow] = []
    for number, item in items:
        if isinstance(item, RefusedRow):
            refused.append(item)
            continue
        try:
            row = _row(item)
        except _ItemError as error:
            refused.append(RefusedRow(number, _shown(item), str(error)))
            continue
        headings.update(dict.fromkeys(row))
        rows.append((number, row))
    if not headings:
        what = f": {refused[0].reason}" if refused else ""
        raise LoadError(
            f"{path.name}{f', list {name!r}' if name else ''}: expected objects with fields, found none{what}"
        )
    cells: Iterator[tuple[int, Sequence[str | None]]] = (
        (number, [row.get(heading) for heading in headings]) for number, row in rows
    )
    return store_rows(connection, path, name, 0, list(headings), cells, refused, typed_cells=True)


def _row(item: Any) -> dict[str, str | None]:
    if not isinstance(item, _Object):
        raise _ItemError(f"expected an object with fields, found {_kind(item)}")
    made: dict[str, str | None] = {}
    for key, value in _flat("", item):
        if key in made:
            raise _ItemError(f"names '{key}' twice")
        made[key] = value
    return made


def _flat(prefix: str, item: _Object) -> Iterator[tuple[str, str | None]]:
    for key, value in item.pairs:
        if isinstance(value, _Object):
            yield from _flat(f"{prefix}{key}.", value)
        elif isinstance(value, list):
            if any(isinstance(one, _Object | list) for one in value):
                raise _ItemError(f"'{prefix}{key}' holds a list of objects; give them a list of their own")
            yield prefix + key, "; ".join(_scalar(one) or "" for one in value)
        else:
            yield prefix + key, _scalar(value)


def _scalar(value: Any) -> str | None:
    if isinstance(value, bool):
        return "true" if value else "false"
    return None if value is None else str(value)


def _plain(value: Any) -> Any:
    if isinstance(value, _Object):
        return {key: _plain(one) for key, one in value.pairs}
    return [_plain(one) for one in value] if isinstance(value, list) else value


def _shown(item: Any) -> str:
    return json.dumps(_plain(item), ensure_ascii=False)


def _kind(value: Any) -> str:
    kinds = ((bool, "true or false"), (_Number, "a number"), (str, "a text"), (list, "a list"), (_Object, "one object"))
    return next((name for kind, name in kinds if isinstance(value, kind)), "nothing")

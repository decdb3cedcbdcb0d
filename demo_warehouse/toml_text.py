"""Write plain tables as TOML, which the standard library reads but does not write."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any


def _key(name: str) -> str:
    bare = name.isascii() and name.replace("_", "").replace("-", "").isalnum()
    return name if bare and name else json.dumps(name, ensure_ascii=False)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items() if v is not None)
        return "{ " + inside + " }" if inside else "{}"
    if isinstance(value, Sequence):
        if any(isinstance(one, Mapping) for one in value):
            return "[\n" + "".join(f"  {_value(one)},\n" for one in value) + "]"
        return "[" + ", ".join(_value(one) for one in value) + "]"
    raise TypeError(f"cannot write {type(value).__name__} as TOML")


def toml_text(tables: Mapping[str, Any], place: str = "") -> str:
    """Return nested tables as TOML text; entries that are None are left out, lists of tables stay on one line each.

    Raises TypeError for a value that TOML does not know.
    """
    lines = [f"{_key(k)} = {_value(v)}" for k, v in tables.items() if not isinstance(v, Mapping) and v is not None]
    text = "\n".join(lines) + ("\n" if lines else "")
    for key, below in tables.items():
        if isinstance(below, Mapping):
            name = f"{place}.{_key(key)}" if place else _key(key)
            text += f"\n[{name}]\n" + toml_text(below, name)
    return text

"""Tell equal rows by a digest of their typed content."""

from __future__ import annotations

from ingest.record_model import RecordType


def digest_sql(record: RecordType, row: str = "") -> str:
    """Return SQL for the digest of a row: of its original text where it is at fault, else of its typed columns.

    The digest is never stored: an engine update may change how it hashes, so each load digests old rows anew.
    Two 64-bit hashes side by side make an accidental match among ten million rows rarer than 1e-24.
    """
    at = f"{row}." if row else ""
    columns = ", ".join(f"{at}{field.column}" for field in record.fields)
    sound = f"(hash({columns})::uhugeint << 64) | hash('salt', {columns})::uhugeint"
    fault = f"(hash({at}original)::uhugeint << 64) | hash('salt', {at}original)::uhugeint"
    return f"case when {at}fault is null then {sound} else {fault} end"


def likeness_sql(record: RecordType, row: str) -> str:
    """Return SQL for one hash that rows of the same key (or, without a key, of the same content) share."""
    named = [record.field_named(name) for name in record.key] or list(record.fields)
    return f"hash({', '.join(f'{row}.{field.column}' for field in named)})"


def key_sql(record: RecordType, row: str) -> str:
    """Return SQL for the natural key of a row as one text."""
    parts = [f"coalesce({row}.{record.field_named(name).column}::varchar, '')" for name in record.key]
    return f"concat_ws(chr(31), {', '.join(parts)})" if parts else "''"

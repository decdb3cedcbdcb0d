"""Word an answer for a terminal: the sentence, a narrow table with people's units, then how it was found."""

from __future__ import annotations

from typing import Any

from analytics.answer import Answer, Column

MOST_ROWS = 20
_SCALES = {
    "share": (100.0, 1, " %"),
    "um": (0.001, 3, " mm"),
    "mm": (1.0, 3, " mm"),
    "money": (1.0, 0, ""),
    "km": (1.0, 0, ""),
}


def told(answer: Answer, most_rows: int = MOST_ROWS) -> str:
    """Return the answer as lines to read."""
    lines = [answer.sentence, "", *_table(answer, most_rows), ""]
    lines.append(f"As of {answer.as_of}, version {answer.warehouse_version} of the job records. {answer.method}")
    lines += [f"- {note}" for note in answer.notes]
    for line in answer.assumptions:
        counts = ", ".join(
            f"{number:,} {word}"
            for number, word in ((line.included, "in"), (line.left_out, "out"))
            if number is not None
        )
        moves = f" Under the other rule ({line.alternative}): {line.moves}." if line.moves else ""
        lines.append(f"- {line.rule}{f' ({counts})' if counts else ''}.{moves}")
    return "\n".join(lines)


def _table(answer: Answer, most_rows: int) -> list[str]:
    columns = [
        c
        for c in answer.columns
        if c.name in answer.rows.columns and answer.rows[c.name].null_count() < answer.rows.height
    ]
    if not columns:
        return []
    rows = answer.rows.head(most_rows).select(c.name for c in columns).rows()
    cells = [[c.heading for c in columns], *([worded(v, c) for v, c in zip(row, columns, strict=True)] for row in rows)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(columns))]
    right = [answer.rows[c.name].dtype.is_numeric() for c in columns]
    lines = [
        "  ".join(cell.rjust(w) if r else cell.ljust(w) for cell, w, r in zip(row, widths, right, strict=True)).rstrip()
        for row in cells
    ]
    left = answer.rows.height - most_rows
    if left > 0:
        lines.append(f"... and {left} more rows (--json or --csv prints all)")
    return lines


def worded(value: Any, column: Column) -> str:
    """Return one value in people's units."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float) and column.unit in _SCALES:
        scale, digits, mark = _SCALES[column.unit]
        return f"{value * scale:,.{digits}f}{mark}"
    if isinstance(value, float):
        return f"{value:,.2f}"
    return str(value).replace("_", " ")

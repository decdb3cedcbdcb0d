"""Write the mapping file that tells the loader how the messy files are to be read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from demo_warehouse.pages import Column, Page, Reading
from demo_warehouse.toml_text import toml_text

VERSION = 3
HEAD = """# How the invented workshop's files are to be read: its headings, units and words for ours.
# Sheets that are not named here have the headings of the workbook to fill in and need no entry.

"""


def _block(page: Page, reading: Reading) -> dict[str, Any]:
    block: dict[str, Any] = {"file": page.file_pattern}
    if page.sheet_pattern:
        block["sheet"] = page.sheet_pattern
    block["record"] = reading.record.name
    if page.title:
        block["heading_row"] = len(page.title) + 1
    block |= dict(page.options)
    if reading.needs:
        block["needs"] = list(reading.needs)
    if reading.habits:
        block["habits"] = list(reading.habits)
    block["columns"] = {column.heading: _said(column) for column in reading.columns}
    if reading.fixed:
        block["fixed"] = dict(reading.fixed)
    words = {c.field: {theirs: ours for ours, theirs in c.words.items()} for c in reading.columns if c.words}
    if words:
        block["words"] = words
    return block


def _said(column: Column) -> object:
    return {"field": column.field, "unit": column.unit} if column.unit else column.field


def mapping_text(pages: Sequence[Page]) -> str:
    """Return the mapping as TOML: one `[[sheet]]` entry per way of reading, each written once."""
    blocks: list[dict[str, Any]] = []
    for page in pages:
        if not page.file_pattern:
            continue
        for reading in page.readings:
            block = _block(page, reading)
            if block not in blocks:
                blocks.append(block)
    text = HEAD + f"version = {VERSION}\n"
    for block in blocks:
        text += "\n[[sheet]]\n" + toml_text(block, "sheet")
    return text

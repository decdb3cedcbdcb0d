"""Write the controls that narrow a page or a question down, as the browser's own fields.

Each carries the name under which its value stands in the address, and `data-usual`, the value that need not stand
there. `assets/controls.js` writes the address when a value changes and sets the values when the address does.
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

FIRST_DAY = "1900-01-01"  # so that a year of which only some digits are typed is no day yet


def choice_control(
    name: str, label: str, choices: Sequence[tuple[str, str]], value: str | None, usual: str | None, none: str | None
) -> Markup:
    """Return a control with one of `choices` (value and words) chosen; `none` are the words for no choice, if it may be.

    A value that is not among the choices is shown as not on record.
    """
    offered = [*([("", none)] if none is not None else []), *choices]
    if value and value not in {choice for choice, _ in offered}:
        offered.append((value, f"{value} (not on record)"))
    options = Markup("").join(
        Markup('<option value="{}"{}>{}</option>').format(choice, _flag("selected", choice == (value or "")), words)
        for choice, words in offered
    )
    return _labelled(label, Markup('<select name="{}" data-usual="{}">{}</select>').format(name, usual or "", options))


def text_control(name: str, label: str, value: str | None, usual: str | None) -> Markup:
    """Return a control for a few words or a figure."""
    field = Markup('<input type="text" autocomplete="off" name="{}" data-usual="{}" value="{}">')
    return _labelled(label, field.format(name, usual or "", value or ""))


def day_control(name: str, label: str, value: str | None) -> Markup:
    """Return a control for a day."""
    field = Markup('<input type="date" min="{}" max="9999-12-31" name="{}" data-usual="" value="{}">')
    return _labelled(label, field.format(FIRST_DAY, name, value or ""))


def _labelled(label: str, field: Markup) -> Markup:
    return Markup('<label class="control">{}{}</label>').format(label, field)


def _flag(name: str, holds: bool) -> Markup:
    return Markup(f" {name}") if holds else Markup()

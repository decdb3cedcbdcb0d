"""Write HTML: attributes that Python cannot spell, and components as text that the browser takes in at once."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from dash.development.base_component import Component
from markupsafe import Markup, escape

_NAMES = {"className": "class", "htmlFor": "for"}
_HUMP = re.compile(r"(?=[A-Z])")
Content = Component | Markup | str | int | float | None


def attributes(**named: str) -> dict[str, Any]:
    """Return `aria_label="..."` as the attribute aria-label, and so on."""
    return {name.replace("_", "-"): value for name, value in named.items()}


def as_html(content: Content | Sequence[Content]) -> Markup:
    """Return HTML components as HTML text, with every word of theirs escaped; Markup stands as it is.

    What callbacks never touch goes to the browser so: as components it would cost the reader's machine ten times as
    much. Raises TypeError for a component that is no plain HTML element.
    """
    if content is None:
        return Markup()
    if isinstance(content, Component):
        return _element(content)
    if isinstance(content, list | tuple):
        return Markup("").join(map(as_html, content))
    return escape(content)


def _element(component: Component) -> Markup:
    written: dict[str, Any] = component.to_plotly_json()  # type: ignore[no-untyped-call]
    if written["namespace"] != "dash_html_components":
        raise TypeError(f"{written['type']} is no plain HTML element")
    properties: dict[str, Any] = written["props"]
    tag = written["type"].lower()
    opening = Markup("").join(
        _attribute(name, value) for name, value in sorted(properties.items()) if name != "children"
    )
    return Markup("<{}{}>{}</{}>").format(Markup(tag), opening, as_html(properties.get("children")), Markup(tag))


def _attribute(name: str, value: Any) -> Markup:
    if value is None or value is False:
        return Markup()
    written = _NAMES.get(name, name if "-" in name else name.lower())
    if value is True:
        return Markup(" {}").format(written)
    return Markup(' {}="{}"').format(written, _style(value) if isinstance(value, Mapping) else value)


def _style(style: Mapping[str, Any]) -> str:
    return "; ".join(f"{_HUMP.sub('-', name).lower()}: {value}" for name, value in style.items())

"""Name HTML attributes that Python cannot spell."""

from __future__ import annotations

from typing import Any


def attributes(**named: str) -> dict[str, Any]:
    """Return `aria_label="..."` as the attribute aria-label, and so on."""
    return {name.replace("_", "-"): value for name, value in named.items()}

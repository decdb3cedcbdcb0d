"""Check the house: its fixed top level, and that the rooms import each other along the arrows only.

dashboards -> analytics -> (warehouse file) <- ingest; only dashboards/command may import ingest and demo_warehouse.
"""

from __future__ import annotations

import ast
import importlib
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ("ingest", "analytics", "dashboards", "demo_warehouse")
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "tests", *ROOMS}
MAY_IMPORT = {"ingest": set(), "analytics": set(), "dashboards": {"analytics"}, "demo_warehouse": {"ingest"}}


def _imports(path: Path) -> Iterator[tuple[int, str]]:
    """Yield the line and the room of every import of a room, also one inside a function."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and not node.level:
            names = [node.module or ""]
        else:
            continue
        yield from ((node.lineno, name.split(".")[0]) for name in names if name.split(".")[0] in (*ROOMS, "tests"))


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_imports_along_the_arrows_only(room: str) -> None:
    wrong = []
    for path in sorted((ROOT / room).rglob("*.py")):
        allowed = MAY_IMPORT[room] | {room}
        if (ROOT / "dashboards" / "command") in path.parents:
            allowed |= {"ingest", "demo_warehouse"}
        wrong += [
            f"{path.relative_to(ROOT)}:{line} imports {name}" for line, name in _imports(path) if name not in allowed
        ]
    assert not wrong, wrong


def test_analytics_holds_no_web_and_dashboards_no_database() -> None:
    banned = {"analytics": {"dash", "flask", "click"}, "ingest": {"dash", "flask", "click"}, "dashboards": {"duckdb"}}
    wrong = []
    for room, names in banned.items():
        for path in sorted((ROOT / room).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                told = [a.name for a in node.names] if isinstance(node, ast.Import) else []
                told += [node.module or ""] if isinstance(node, ast.ImportFrom) and not node.level else []
                wrong += [f"{path.relative_to(ROOT)} imports {n}" for n in told if n.split(".")[0] in names]
    assert not wrong, wrong


@pytest.mark.parametrize("room", ROOMS)
def test_import_names_resolve_inside_this_project(room: str) -> None:
    module = importlib.import_module(room)
    assert module.__file__ is not None
    assert Path(module.__file__).resolve().parent == ROOT / room


def test_the_top_level_is_fixed() -> None:
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode == 0:
        found = {name.split("/")[0] for name in listed.stdout.splitlines() if (ROOT / name).exists()}
    else:  # an unpacked copy without a repository
        found = {path.name for path in ROOT.iterdir()}
    more = {name for name in found if not name.startswith(".")} - TOP_LEVEL - {"layshaft.egg-info", "build"}
    assert not more, f"nothing else belongs at the top level: {sorted(more)}"
    assert TOP_LEVEL - {"README.md", "DEVELOPERS.md"} <= found

"""Write the invented workshop's source files, their mapping and the planted truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from demo_warehouse.clean_files import write_clean_files
from demo_warehouse.messy_files import write_messy_files
from demo_warehouse.simulation import play_workshop
from demo_warehouse.truth import planted_truth, write_truth

TRUTH_FILE = "truth.toml"
NO_DEFECTS: dict[str, Any] = {"planted": [], "expected": []}


@dataclass(frozen=True)
class DemoSummary:
    """Hold what was written: the folder, rows by file name, rows by record type, and the planted defects' number."""

    out: Path
    seed: int
    files: dict[str, int]
    records: dict[str, int]
    defects: int


def write_demo(
    scenario: Path | None = None,
    seed: int | None = None,
    out: Path = Path("demo"),
    progress: Callable[[str], None] | None = None,
    clean: bool = False,
) -> DemoSummary:
    """Play a scenario with a seed and write its files, `truth.toml` and, for the messy files, `mapping.toml`.

    `clean` writes the same workshop as one CSV a record type in the template's shape, without defects.
    Raises ScenarioError for a scenario that cannot be used and OSError for a folder that cannot be written.
    """
    say = progress or (lambda _: None)
    say("Playing ten years of an invented workshop")
    workshop = play_workshop(scenario, seed)
    out.mkdir(parents=True, exist_ok=True)
    say(f"Writing {workshop.records['job'].height} jobs")
    if clean:
        files, defects = write_clean_files(workshop.records, out), NO_DEFECTS
    else:
        files, defects = write_messy_files(workshop, out)
    write_truth(planted_truth(workshop, defects), out / TRUTH_FILE)
    counts = {name: frame.height for name, frame in workshop.records.items()}
    return DemoSummary(out, workshop.seed, files, counts, len(defects["planted"]))

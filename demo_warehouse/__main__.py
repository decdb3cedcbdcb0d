"""Write the invented workshop from the command line: python -m demo_warehouse --out DIR."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from demo_warehouse.demo import write_demo
from demo_warehouse.scenario import ScenarioError


def main(arguments: list[str] | None = None) -> int:
    """Write the demo as asked; return the exit code, 2 with one plain sentence for an expected failure."""
    parser = argparse.ArgumentParser(prog="python -m demo_warehouse", description=__doc__)
    parser.add_argument("--scenario", type=Path, help="TOML file laid over the default scenario")
    parser.add_argument("--seed", type=int, help="seed of every random number (default: the scenario's)")
    parser.add_argument("--out", type=Path, required=True, help="folder for the files")
    parser.add_argument("--clean", action="store_true", help="one CSV a record type, without defects")
    given = parser.parse_args(arguments)
    try:
        summary = write_demo(given.scenario, given.seed, given.out, progress=print, clean=given.clean)
    except (ScenarioError, OSError) as error:
        print(str(error), file=sys.stderr)
        return 2
    rows = sum(summary.files.values())
    print(f"{len(summary.files)} files with {rows} rows and {summary.defects} planted defects in {summary.out}")
    return 0


if __name__ == "__main__":
    sys.exit(main())

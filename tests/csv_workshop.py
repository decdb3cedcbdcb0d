"""Load small workshops that tests write as CSV texts, and look at what became of every row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import duckdb

from ingest.load import LoadReport, load
from ingest.records import record_named
from ingest.versions import WarehouseFolder

BASE = {
    "families.csv": "family,kind\nK4,gearbox\nA7,axle drive\n",
    "positions.csv": """
        family,position,component
        K4,2nd ring,synchroniser ring
        K4,main bearing,bearing
        A7,pinion bearing,bearing
    """,
    "shim locations.csv": """
        family,location,sits,quantity,thicker_moves,thinnest (mm),thickest (mm),stackable
        K4,front,shims,end float,decreases,0.1,2.0,yes
        A7,behind pinion head,shims,pinion depth,increases,0.5,3.0,yes
        A7,left side,graded spacer,backlash,decreases,3.0,6.0,no
    """,
    "units.csv": "unit,family\nU1,K4\nU2,K4\nU3,A7\n",
    "jobs.csv": """
        job,unit,kind,opened,torn_down,closed,delivered
        J1,U1,full rebuild,2020-03-01,2020-03-02,2020-03-08,2020-03-09
        J2,U2,full rebuild,2020-04-01,2020-04-02,2020-04-08,2020-04-09
        J3,U3,full rebuild,2020-05-01,2020-05-02,2020-05-08,2020-05-09
    """,
}


def lines(text: str) -> str:
    """Return a text without the margin that its place in a test gives it."""
    return "\n".join(line.strip() for line in text.strip().splitlines()) + "\n"


@dataclass
class CsvWorkshop:
    """Load files, one folder a load, into one warehouse."""

    folder: Path
    loads: int = field(default=0)

    @property
    def records(self) -> Path:
        """Return the warehouse folder."""
        return self.folder / "records"

    def write(self, files: Mapping[str, str]) -> Path:
        """Write texts as the files of the next load and return their folder."""
        self.loads += 1
        place = self.folder / f"load {self.loads}"
        place.mkdir(parents=True)
        for name, text in files.items():
            (place / name).write_text(lines(text), encoding="utf-8")
        return place

    def load(self, files: Mapping[str, str], mapping: str | None = None, **options: Any) -> LoadReport:
        """Write texts as files and load them all at once, accounting for every row."""
        place = self.write(files)
        if mapping is None:
            return self.load_paths([place], **options)
        path = self.folder / f"mapping {self.loads}.toml"
        path.write_text(mapping, encoding="utf-8")
        return self.load_paths([place], path, **options)

    def load_paths(self, paths: list[Path], mapping: Path | None = None, **options: Any) -> LoadReport:
        """Load files, and check that every row of every source is one of the four things."""
        report = load(self.records, paths, mapping, **options)
        for source in report.sources:
            assert source.read == source.accepted + source.duplicate + source.superseded + source.quarantined, source
        standing = dict(report.standing)
        assert standing.pop("read") == sum(standing.values())
        return report

    @property
    def version(self) -> int | None:
        """Return the published version."""
        return WarehouseFolder(self.records).current

    def ask(self, sql: str) -> list[tuple[Any, ...]]:
        """Return the rows of a query on the published version."""
        version = self.version
        assert version is not None
        connection = duckdb.connect(str(WarehouseFolder(self.records).version_file(version)), read_only=True)
        try:
            return connection.execute(sql).fetchall()
        finally:
            connection.close()

    def accepted(self, record: str, *columns: str) -> list[tuple[Any, ...]]:
        """Return the accepted rows' columns (all declared ones where none is named), sorted."""
        chosen = ", ".join(columns or [f.column for f in record_named(record).fields])
        return sorted(self.ask(f"select {chosen} from {record} where not from_habit"), key=repr)

    def held(self, record: str) -> dict[tuple[str, int], tuple[str, str | None, str | None]]:
        """Return what every row that is not accepted is: (load folder/file, row) -> (disposition, field, reason)."""
        rows = self.ask(
            f"select s.file, h.row_number, h.disposition, h.field, h.reason from held_{record} as h "
            "join source as s using (source_id)"
        )
        return {("/".join(Path(file).parts[-2:]), row): (what, at, why) for file, row, what, at, why in rows}

    def dispositions(self, record: str) -> dict[tuple[str, int], str]:
        """Return the disposition of every row that is not accepted."""
        return {place: told[0] for place, told in self.held(record).items()}

    def references(self, record: str) -> list[tuple[str, str | None]]:
        """Return the rows to put right as (reference, original text)."""
        return sorted(
            self.ask(
                f"select 'S' || source_id || ':' || row_number, original from held_{record} "
                "where disposition = 'quarantined'"
            )
        )

"""Check what every row becomes, against a plain account of the rules and whatever the order of files and rows."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.csv_workshop import BASE, CsvWorkshop


@dataclass(frozen=True)
class Row:
    """Hold one row as text cells, and the load and file in which it stands."""

    record: str
    cells: tuple[str, ...]
    load: int
    file: int


HEADINGS = {
    "unit": "unit,family",
    "job": "job,unit,kind,opened,closed",
    "finding": "job,position,grade",
    "labour": "job,operation,worked (h)",
}
PLACES = st.tuples(st.integers(0, 2), st.integers(0, 1))
ROWS = st.one_of(
    st.tuples(st.just("unit"), st.tuples(st.sampled_from(["U1", "U2"]), st.sampled_from(["K4", "K4", "A7"]))),
    st.tuples(
        st.just("job"),
        st.tuples(
            st.sampled_from(["J1", "J2"]), st.sampled_from(["U1", "U2", "U2", ""]),
            st.sampled_from(["full rebuild", "full rebuild", "magic"]), st.just("2020-01-10"),
            st.sampled_from(["2020-01-20", "2020-01-20", "2020-01-05", ""]),
        ),
    ),
    st.tuples(
        st.just("finding"),
        st.tuples(
            st.sampled_from(["J1", "J2"]), st.sampled_from(["2nd ring", "main bearing", "2nd rng"]),
            st.sampled_from(["1", "3", "9"]),
        ),
    ),
    st.tuples(
        st.just("labour"),
        st.tuples(
            st.sampled_from(["J1", "J2"]), st.sampled_from(["strip", "build"]), st.sampled_from(["1.5", "2.0", "x"])
        ),
    ),
)  # fmt: skip
LOADS = st.lists(st.tuples(ROWS, PLACES), min_size=1, max_size=40).map(
    lambda drawn: [Row(record, cells, *place) for (record, cells), place in drawn]
)


def _files(rows: Sequence[Row], load: int, names: str, backwards: bool) -> dict[str, str]:
    told: dict[str, list[str]] = defaultdict(list)
    for row in reversed(rows) if backwards else rows:
        if row.load == load:
            told[f"{names[row.file]} {row.record}.csv"].append(",".join(row.cells))
    return {name: "\n".join([HEADINGS[name[2:-4]], *lines]) for name, lines in told.items()}


def _load_all(folder: Path, rows: Sequence[Row], names: str = "ab", backwards: bool = False) -> CsvWorkshop:
    shop = CsvWorkshop(folder)
    shop.load({name: BASE[name] for name in ("families.csv", "positions.csv")})
    for load in range(3):
        files = _files(rows, load, names, backwards)
        if files:
            shop.load(files)
    return shop


def _winners(rows: Sequence[Row]) -> dict[str, tuple[str, ...]]:
    """Return the content that stands for each key, the first cells being the key's: the latest without contradiction.

    Contents of one key contradict each other within a load.
    """
    width = 2 if rows and rows[0].record == "finding" else 1
    settled: dict[str, dict[tuple[str, ...], int]] = defaultdict(dict)
    for load in range(3):
        seen: dict[str, set[tuple[str, ...]]] = defaultdict(set)
        for row in rows:
            if row.load == load:
                seen["|".join(row.cells[:width])].add(row.cells)
        for key, contents in seen.items():
            if len(contents) == 1:
                settled[key].setdefault(next(iter(contents)), load)
    return {key: max(loads, key=lambda content: loads[content]) for key, loads in settled.items()}


def _expected(rows: Sequence[Row]) -> dict[str, Counter[tuple[str, ...]]]:
    """Say by plain rules which rows are accepted, over all loads."""
    units = _winners([r for r in rows if r.record == "unit"])
    jobs = _winners(
        [
            r for r in rows
            if r.record == "job" and r.cells[1] in units and r.cells[2] != "magic" and r.cells[4] != "2020-01-05"
        ]
    )  # fmt: skip
    family = {job: units[content[1]][1] for job, content in jobs.items()}
    positions = {"K4": ("2nd ring", "main bearing"), "A7": ("pinion bearing",)}
    findings = _winners(
        [
            r for r in rows
            if r.record == "finding" and r.cells[0] in jobs and r.cells[2] != "9"
            and r.cells[1] in positions[family[r.cells[0]]]
        ]
    )  # fmt: skip
    by_file: dict[tuple[int, int], Counter[tuple[str, ...]]] = defaultdict(Counter)
    for row in rows:
        if row.record == "labour" and row.cells[0] in jobs and row.cells[2] != "x":
            by_file[row.load, row.file][row.cells] += 1
    labour: Counter[tuple[str, ...]] = Counter()
    for counted in by_file.values():
        labour |= counted
    told = {"unit": units, "job": jobs, "finding": findings}
    return {record: Counter(held.values()) for record, held in told.items()} | {"labour": labour}


COLUMNS = {
    "unit": "unit, family",
    "job": "job, unit, replace(kind, '_', ' '), opened::varchar, coalesce(closed::varchar, '')",
    "finding": "job, position, grade",
    "labour": "job, operation, printf('%.1f', worked_min / 60.0)",
}


def _accepted(shop: CsvWorkshop) -> dict[str, Counter[tuple[str, ...]]]:
    return {record: Counter(shop.ask(f"select {sql} from {record}")) for record, sql in COLUMNS.items()}


def _check_rules_and_order(rows: Sequence[Row]) -> None:
    with TemporaryDirectory() as one, TemporaryDirectory() as other:
        shop = _load_all(Path(one), rows)
        assert _accepted(shop) == _expected(rows)
        turned = _load_all(Path(other), rows, names="zy", backwards=True)
        assert _accepted(turned) == _accepted(shop)
        counts = (
            "select record, sum(accepted), sum(duplicate), sum(superseded), sum(quarantined) from standing group by 1"
        )
        assert sorted(turned.ask(counts)) == sorted(shop.ask(counts))


@settings(max_examples=3, deadline=None, derandomize=True)
@given(LOADS)
def test_rows_become_what_the_rules_say_in_any_order(rows: list[Row]) -> None:
    _check_rules_and_order(rows)


@pytest.mark.long
@settings(max_examples=150, deadline=None)
@given(LOADS)
def test_rows_become_what_the_rules_say_in_any_order_at_length(rows: list[Row]) -> None:
    _check_rules_and_order(rows)


def test_a_row_whose_job_is_to_put_right_is_told_so(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    jobs = "job,unit,kind,opened\nJ7,nowhere,full_rebuild,2020-01-01\n"
    shop.load({**BASE, "more jobs.csv": jobs, "findings.csv": "job,position,grade\nJ7,2nd ring,1\nJ8,2nd ring,1\n"})
    reasons = {place[1]: what[2] for place, what in shop.held("finding").items()}
    assert reasons == {2: "its job 'J7' is itself to put right", 3: "its job 'J8' is not on record (yet)"}


def test_two_contents_of_one_key_in_one_load_are_both_put_aside(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "findings.csv": "job,position,grade\nJ1,2nd ring,1\nJ1,2nd ring,3\nJ1,main bearing,2\n"})
    assert shop.accepted("finding", "position", "grade") == [("main bearing", "2")]
    held = shop.held("finding")
    assert {place[1]: what[:2] for place, what in held.items()} == {
        2: ("quarantined", "position"),
        3: ("quarantined", "position"),
    }
    assert held["load 1/findings.csv", 2][2] == "the same key with other content stands in findings.csv, row 3"
    assert held["load 1/findings.csv", 3][2] == "the same key with other content stands in findings.csv, row 2"
    shop.load({"findings.csv": "job,position,grade\nJ1,2nd ring,3\n"})  # says which of the two holds
    assert ("2nd ring", "3") in shop.accepted("finding", "position", "grade")
    assert shop.dispositions("finding") == {
        ("load 1/findings.csv", 2): "superseded",
        ("load 2/findings.csv", 2): "duplicate",
    }


def test_a_later_load_supersedes_and_an_older_file_never_reverts_it(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    older, newer = "job,position,grade\nJ1,2nd ring,1\n", "job,position,grade\nJ1,2nd ring,3\n"
    shop.load({**BASE, "findings.csv": older})
    shop.load({"findings.csv": newer})
    assert shop.accepted("finding", "grade") == [("3",)]
    assert shop.dispositions("finding") == {("load 1/findings.csv", 2): "superseded"}
    version = shop.version
    report = shop.load({"findings copy.csv": older})
    assert not report.published
    assert shop.version == version
    assert shop.accepted("finding", "grade") == [("3",)]


def test_an_older_file_with_a_settled_contradiction_changes_nothing(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    contradicting = {"findings.csv": "job,position,grade\nJ1,2nd ring,1\nJ1,2nd ring,3\n"}
    shop.load({**BASE, **contradicting})
    shop.load({"findings.csv": "job,position,grade\nJ1,2nd ring,2\n"})
    assert set(shop.dispositions("finding").values()) == {"superseded"}
    assert not shop.load(contradicting).published
    assert shop.accepted("finding", "grade") == [("2",)]


def test_the_day_of_entry_goes_before_the_order_of_loads(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "findings.csv": "job,position,grade,entered\nJ1,2nd ring,3,2020-06-01\n"})
    shop.load({"findings.csv": "job,position,grade,entered\nJ1,2nd ring,1,2020-05-01\n"})
    assert shop.accepted("finding", "grade") == [("3",)]
    both = CsvWorkshop(tmp_path / "at once")
    both.load(
        {
            **BASE,
            "a findings.csv": "job,position,grade,entered\nJ1,2nd ring,3,2020-06-01\n",
            "b findings.csv": "job,position,grade,entered\nJ1,2nd ring,1,2020-05-01\n",
        }
    )
    assert both.accepted("finding", "grade") == [("3",)]


def test_one_of_two_rows_of_a_load_without_a_day_of_entry_settles_nothing(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load(
        {
            **BASE,
            "a findings.csv": "job,position,grade,entered\nJ1,2nd ring,3,2020-06-01\n",
            "b findings.csv": "job,position,grade\nJ1,2nd ring,1\n",
        }
    )
    assert shop.accepted("finding") == []
    assert set(shop.dispositions("finding").values()) == {"quarantined"}


def test_two_equal_shims_are_two_and_the_larger_count_of_a_file_holds(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    heading, line = "job,location,stage,thickness (mm)", "J1,front,as built,0.10"
    shop.load({**BASE, "shims.csv": "\n".join([heading, line, line])})
    assert len(shop.accepted("shim")) == 2
    assert not shop.load({"shims again.csv": "\n".join([heading, line])}).published
    shop.load({"shims more.csv": "\n".join([heading, line, line, line])})
    assert len(shop.accepted("shim")) == 3
    at_once = CsvWorkshop(tmp_path / "at once")
    at_once.load({**BASE, "a shims.csv": "\n".join([heading, line, line]), "b shims.csv": "\n".join([heading, line])})
    assert len(at_once.accepted("shim")) == 2


def _saved_again(place: Path, again: Path) -> list[Path]:
    """Save the same tables as workbooks, JSON lines, Parquet and differently quoted, shuffled text."""
    again.mkdir()
    for number, path in enumerate(sorted(place.glob("*.csv"))):
        frame = pl.read_csv(path, infer_schema=False).sample(fraction=1, shuffle=True, seed=3)
        name = again / f"{path.stem}"
        if number % 4 == 0:
            frame.write_excel(f"{name}.xlsx", worksheet=path.stem)
        elif number % 4 == 1:
            frame.write_ndjson(f"{name}.jsonl")
        elif number % 4 == 2:
            frame.write_parquet(f"{name}.parquet")
        else:
            frame.write_csv(f"{name}.csv", separator=";", quote_style="always")
    return [again]


def test_the_same_content_saved_again_changes_nothing(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    files = {
        **BASE,
        "findings.csv": "job,position,grade\nJ1,2nd ring,1\nJ1,main bearing,bad\nJ9,2nd ring,2\nJ2,2nd ring,1\n",
        "shims.csv": "job,location,stage,thickness (mm)\nJ1,front,as built,0.10\nJ1,front,as built,0.10\n",
        "labour.csv": "job,operation,worked (h)\nJ1,strip,1.5\nJ1,strip,2.25\n",
    }
    shop.load(files)
    version, standing = shop.version, shop.ask("select * from standing order by source_id")
    names = ("read", "accepted", "duplicate", "superseded", "quarantined")
    for paths in ([tmp_path / "load 1"], _saved_again(tmp_path / "load 1", tmp_path / "saved again")):
        report = shop.load_paths(paths)
        assert not report.published
        assert all(source.read == source.duplicate for source in report.sources), report.sources
        assert report.standing == dict(
            zip(names,
                shop.ask(f"select {', '.join(f'sum({name})' for name in names)} from standing")[0],
                strict=True)
        )  # fmt: skip
    assert shop.version == version
    assert shop.ask("select * from standing order by source_id") == standing


def test_of_a_file_that_grew_only_the_new_rows_are_accepted(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    heading, first = "job,operation,worked (h)", ["J1,strip,1.5", "J1,build,3", "J1,build,x"]
    shop.load({**BASE, "labour.csv": "\n".join([heading, *first])})
    report = shop.load({"labour.csv": "\n".join([heading, "J2,strip,1", *first, "J2,build,2"])})
    (source,) = report.sources
    assert (source.read, source.accepted, source.duplicate, source.quarantined) == (5, 2, 3, 0)
    assert len(shop.accepted("labour")) == 4


MAPPING = """
[[sheet]]
file = "shims*"
record = "shim"
[sheet.columns]
"Dicke" = { field = "thickness", unit = "UNIT" }
"""


def test_a_mended_mapping_supersedes_what_the_old_one_read(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    files = {"shims.csv": "job,location,stage,Dicke\nJ1,front,as built,1.5\nJ2,front,as built,1.5\n"}
    shop.load(BASE)
    shop.load(files, MAPPING.replace("UNIT", "thou"))
    assert shop.accepted("shim", "job", "thickness_um") == [("J1", 38), ("J2", 38)]
    shop.load(files, MAPPING.replace("UNIT", "mm"))
    assert shop.accepted("shim", "job", "thickness_um") == [("J1", 1500), ("J2", 1500)]
    assert shop.dispositions("shim") == {("load 2/shims.csv", 2): "superseded", ("load 2/shims.csv", 3): "superseded"}
    events = shop.ask("select row_number, was, disposition, reason from row_event where was is not null order by 1")
    assert events == [(row, "accepted", "superseded", "read again under a mended mapping") for row in (2, 3)]
    straight = CsvWorkshop(tmp_path / "straight")
    straight.load(BASE)
    straight.load(files, MAPPING.replace("UNIT", "mm"))
    assert straight.accepted("shim") == shop.accepted("shim")


def test_a_sheet_first_taken_for_another_record_leaves_nothing_of_it(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    files = {"hours.csv": "job,operation,technician\nJ1,strip,T1\n"}
    reading = (
        '[[sheet]]\nfile = "hours*"\nrecord = "RECORD"\n[sheet.columns]\n"operation" = "FIELD"\n'
        '"technician" = { ignore = true }\n'
    )
    shop.load(BASE)
    shop.load(files, reading.replace("RECORD", "outside_work").replace("FIELD", "process"))
    assert len(shop.accepted("outside_work")) == 1
    shop.load(files, reading.replace("RECORD", "labour").replace("FIELD", "operation"))
    assert shop.accepted("outside_work") == []
    assert len(shop.accepted("labour")) == 1


def test_a_finding_waits_for_its_job_and_is_promoted_when_it_comes(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    shop.load({**BASE, "findings.csv": "job,position,grade\nJ9,2nd ring,3\n"})
    assert shop.held("finding")["load 1/findings.csv", 2] == (
        "quarantined",
        "job",
        "its job 'J9' is not on record (yet)",
    )
    shop.load({"jobs.csv": "job,unit,kind,opened\nJ9,U1,full rebuild,2021-02-01\n"})
    assert shop.accepted("finding", "job", "grade") == [("J9", "3")]
    assert shop.ask("select record, row_number, was, disposition, load_id from row_event where was is not null") == [
        ("finding", 2, "quarantined", "accepted", 2)
    ]


def test_children_follow_a_job_that_is_no_longer_on_record(tmp_path: Path) -> None:
    shop = CsvWorkshop(tmp_path)
    jobs = {"jobs.csv": "job,unit,Art,opened\nJ5,U1,GA,2021-02-01\n"}
    mapping = '[[sheet]]\nfile = "jobs*"\nrecord = "job"\n[sheet.columns]\n"Art" = "kind"\n[sheet.words.kind]\nWORDS'
    shop.load({name: text for name, text in BASE.items() if name != "jobs.csv"})
    shop.load(jobs, mapping.replace("WORDS", '"GA" = "full_rebuild"'))
    shop.load({"findings.csv": "job,position,grade,ring_gap (mm)\nJ5,2nd ring,3,0.75\n"})
    assert len(shop.accepted("finding")) == 1
    shop.load(jobs, mapping.replace("WORDS", '"AT" = "full_rebuild"'))  # GA is now no word at all
    assert shop.accepted("job") == []
    assert shop.accepted("finding") == []
    (told,) = shop.references("finding")
    assert told[1] is not None
    assert '"ring_gap (mm)":"0.75"' in told[1], "an old row is told in the template's units"
    shop.load(jobs, mapping.replace("WORDS", '"GA" = "part_rebuild"'))
    assert shop.accepted("job", "kind") == [("part_rebuild",)]
    assert len(shop.accepted("finding")) == 1

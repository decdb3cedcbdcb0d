"""Keep which alarms people have acknowledged, in one small file beside the job records, so that reloads keep them."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from analytics.question import Question, QuestionError
from analytics.watch_acknowledged import Acknowledged, written_acknowledged

FILE = "entered.sqlite"
SCHEMA_VERSION = 1
OPTION = "acknowledged"  # the option by which a question takes acknowledgements
LONGEST_NOTE = 500  # characters
_SCHEMA = """
create table if not exists acknowledgement (
  chart text not null, raised text not null, acknowledged_on text not null, note text not null, by text not null,
  entered_at text not null, primary key (chart, raised)
)
"""


class Acknowledgements:
    """Read and write the acknowledgements that belong to one folder of job records; keyed by chart and day raised."""

    def __init__(self, folder: Path) -> None:
        """Look after the file in `folder`; it is made with the first acknowledgement."""
        self.path = folder / FILE

    def every(self) -> tuple[Acknowledged, ...]:
        """Return all acknowledgements, by chart and day raised; none where nothing was entered yet."""
        if not self.path.is_file():
            return ()
        with self._open() as file:
            rows = file.execute(
                "select chart, raised, acknowledged_on, note, by from acknowledgement order by chart, raised"
            ).fetchall()
        day = dt.date.fromisoformat
        return tuple(Acknowledged(chart, day(raised), day(on), note, by) for chart, raised, on, note, by in rows)

    def acknowledge(self, one: Acknowledged) -> None:
        """Write one acknowledgement; a second one of the same alarm replaces its note.

        Raises QuestionError where the note is empty or too long.
        """
        note = one.note.strip()
        if not note:
            raise QuestionError("say in a few words what was done about it; an alarm is acknowledged with a note")
        if len(note) > LONGEST_NOTE:
            raise QuestionError(f"a note has room for {LONGEST_NOTE} characters; this one has {len(note)}")
        with self._open() as file:
            file.execute(
                "insert into acknowledgement values (?, ?, ?, ?, ?, datetime('now')) "
                "on conflict (chart, raised) do update set note = excluded.note, "
                "acknowledged_on = excluded.acknowledged_on, by = excluded.by, entered_at = excluded.entered_at",
                (one.chart, one.raised.isoformat(), one.acknowledged_on.isoformat(), note, one.by),
            )

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        file = sqlite3.connect(self.path, timeout=10)
        try:
            made = int(file.execute("pragma user_version").fetchone()[0])
            if made > SCHEMA_VERSION:
                raise QuestionError(
                    f"'{self.path}' was made by a newer Layshaft (version {made}; this one reads {SCHEMA_VERSION}): "
                    "update this installation"
                )
            if made < SCHEMA_VERSION:
                file.execute("pragma journal_mode = wal")
                file.execute(_SCHEMA)
                file.execute(f"pragma user_version = {SCHEMA_VERSION}")
            with file:
                yield file
        finally:
            file.close()


def with_acknowledged(question: Question, options: Mapping[str, str], folder: Path) -> dict[str, str]:
    """Return the options with what has been acknowledged put in, where the question takes it and none was given."""
    filled = dict(options)
    if any(option.name == OPTION for option in question.options) and OPTION not in filled:
        told = written_acknowledged(Acknowledgements(folder).every())
        if told:
            filled[OPTION] = told
    return filled

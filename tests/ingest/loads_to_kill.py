"""Run loads in children of this process, each as far as a point at which it waits, and kill them when asked to.

Reads one request a line on stdin: a JSON list of mode, warehouse folder, files' folder and point starts a load, which
says "started", then "reached" where it got to its point or "done" where it never did; an empty list kills it, dead or
alive, and says "ended STATUS". Only this process, which has not yet waited for the child, kills it, so that its number
cannot be another's by then. Started as a script, so that every child begins from loaded modules; no thread runs here
before a child is forked.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

from ingest import versions
from ingest.load import load


def _say(text: str) -> None:
    os.write(1, f"{text}\n".encode())


def _wait_to_be_killed() -> None:
    _say("reached")
    time.sleep(60)


def load_to_step(folder: Path, files: Path, point: int) -> None:
    """Load as far as the given one of the load's own steps."""
    steps: list[str] = []

    def progress(step: str) -> None:
        steps.append(step)
        if len(steps) == point:
            _wait_to_be_killed()

    load(folder, [files], progress=progress)


def load_to_lasting_call(folder: Path, files: Path, point: int) -> None:
    """Load as far as the given call that makes something last: a rename or a flush to the disk."""
    calls: list[str] = []

    def counted(real: Callable[..., object]) -> Callable[..., object]:
        def stop_before(*arguments: object, **named: object) -> object:
            calls.append(real.__name__)
            if len(calls) == point:
                _wait_to_be_killed()
            return real(*arguments, **named)

        return stop_before

    versions.os.replace = counted(os.replace)  # type: ignore[attr-defined]
    versions.os.fsync = counted(os.fsync)  # type: ignore[attr-defined]
    load(folder, [files])


MODES = {"step": load_to_step, "lasting call": load_to_lasting_call}


def _run(mode: str, folder: str, files: str, point: int) -> None:
    """Load in this child of the process and leave it."""
    status = 1
    try:
        MODES[mode](Path(folder), Path(files), point)
        _say("done")
        status = 0
    finally:
        os._exit(status)


def main() -> None:
    """Answer requests until stdin ends."""
    child = 0
    for line in sys.stdin:
        request = json.loads(line)
        if request:
            _say("started")
            child = os.fork()
            if child == 0:
                _run(*request)
        else:
            os.kill(child, signal.SIGKILL)
            _say(f"ended {os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])}")


if __name__ == "__main__":
    main()

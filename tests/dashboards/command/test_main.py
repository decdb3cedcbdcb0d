"""Check that a command starts with what it needs only, and says what it takes where that is not given."""

from __future__ import annotations

import subprocess
import sys

import pytest

from analytics.questions import every_question
from dashboards.command.main import main


@pytest.mark.parametrize(
    ("imports", "left_out"),
    [
        ("dashboards.command", "altair dash demo_warehouse ingest.load scipy xlsxwriter"),
        ("dashboards.command, analytics.questions", "altair dash demo_warehouse ingest.load scipy.stats xlsxwriter"),
    ],
)
def test_what_one_subcommand_alone_needs_is_loaded_by_it(imports: str, left_out: str) -> None:
    script = f"import sys, {imports}; print(*set(sys.modules).intersection({left_out.split()}))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.strip(), done.stderr) == (0, "", "")


def test_the_command_alone_prints_its_help(capsys: pytest.CaptureFixture[str]) -> None:
    main([])
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith("Usage: ")
    assert "acknowledge" in out


def test_show_without_a_question_lists_them(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["show", "--json"])
    assert ended.value.code == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == f"layshaft: name the question to answer; there are: {', '.join(every_question())}\n"


@pytest.mark.parametrize("text", ["20260101", "2026-W10", "2026-1-1"])
def test_days_are_written_one_way(capsys: pytest.CaptureFixture[str], text: str) -> None:
    for command in (["show", "failure-rates"], ["acknowledge", "a chart", "a note"]):
        with pytest.raises(SystemExit) as ended:
            main([*command, "--as-of", text])
        assert ended.value.code == 2
        assert f"'{text}' is no day; expected one like 2024-05-31" in capsys.readouterr().err

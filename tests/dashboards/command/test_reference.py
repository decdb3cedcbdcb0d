"""The README lists every command, option and question as the program has them."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner

from analytics.questions import every_question
from dashboards.command.main import layshaft
from dashboards.command.reference import with_reference

README = Path(__file__).parents[3] / "README.md"


def test_readme_lists_commands_and_questions_as_they_are() -> None:
    readme = README.read_text()
    assert readme == with_reference(readme), "run: .venv/bin/python -m dashboards.command.reference"


def test_every_command_has_help_and_stands_in_the_readme() -> None:
    readme = README.read_text()
    assert list(layshaft.commands) == ["demo", "load", "check", "show", "acknowledge", "serve", "template"]
    for name, command in layshaft.commands.items():
        shown = CliRunner().invoke(layshaft, [name, "--help"])
        assert shown.exit_code == 0
        assert f"layshaft {name}" in readme
        for parameter in command.params:
            for spelling in parameter.opts:
                if spelling.startswith("--"):
                    assert spelling in shown.output
                    assert f"`{spelling}`" in readme


def test_every_question_is_listed_by_show() -> None:
    shown = CliRunner().invoke(layshaft, ["show", "--help"]).output
    for name in every_question():
        assert name in shown

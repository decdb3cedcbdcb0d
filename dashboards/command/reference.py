"""Write the parts of the README that list commands, options and questions, so that they cannot go stale."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import click

from analytics.questions import every_question
from dashboards.command.main import layshaft


def commands_listed() -> str:
    """Return the commands with every argument and option, as Markdown."""
    lines = []
    for name, command in layshaft.commands.items():
        arguments = " ".join(
            p.make_metavar(click.Context(command)) for p in command.params if isinstance(p, click.Argument)
        )
        lines.append(f"**`layshaft {name}{' ' + arguments if arguments else ''}`**: {command.help}\n")
        for option in command.params:
            if isinstance(option, click.Option):
                names = ", ".join(f"`{spelling}`" for spelling in option.opts)
                lines.append(f"- {names}: {option.help}")
        lines.append("")
    return "\n".join(lines).strip()


def questions_listed() -> str:
    """Return the questions with their options, as Markdown."""
    lines = []
    for question in every_question().values():
        lines.append(f"- **`{question.name}`** (for the {question.for_whom}): {question.about}.")
        for option in (option for option in question.options if option.shown):
            choices = f" ({', '.join(option.choices)})" if option.choices else ""
            lines.append(f"  - `--{option.name}`: {option.about}{choices}.")
    return "\n".join(lines)


def with_reference(readme: str) -> str:
    """Return the README with both lists made anew between their marks."""
    for mark, text in (("commands", commands_listed()), ("questions", questions_listed())):
        found = re.search(rf"(<!-- {mark} -->\n).*?(<!-- /{mark} -->)", readme, flags=re.DOTALL)
        if found is None:
            raise ValueError(f"the README has no place marked '<!-- {mark} -->'")
        readme = readme[: found.end(1)] + text + "\n" + readme[found.start(2) :]
    return readme


if __name__ == "__main__":
    path = Path(sys.argv[1] if len(sys.argv) > 1 else "README.md")
    path.write_text(with_reference(path.read_text()))

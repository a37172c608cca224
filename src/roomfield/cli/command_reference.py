"""Every command with its options and exit codes, written from the commands themselves.

Run ``python -m roomfield.cli.command_reference docs/commands.md``.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import typer

from roomfield.cli import console
from roomfield.cli.job_order import JOB_ORDER
from roomfield.cli.main import app

_HEAD = """# Commands

Written from the commands by `python -m roomfield.cli.command_reference docs/commands.md`; do not edit by hand.

Every command that answers takes `--json`; power densities are then in W/m². A fault is one sentence on standard
error: what is wrong, where, and how to mend it. `ROOMFIELD_RECORD` and `ROOMFIELD_SURVEY` stand in for `--record` and
`--survey`. What is printed is in the language of `roomfield --language XX COMMAND` or `ROOMFIELD_LANGUAGE`, else of
the survey, else of the computer, as far as there is a catalogue; helps as well. Keys and codes of
JSON are the same in every language, the sentences in it follow it. With `ROOMFIELD_TRACE=1` a defect shows where it
happened.
"""


def text() -> str:
    """The whole document, Markdown."""
    group: Any = typer.main.get_command(app)
    parts = [_HEAD, _exit_codes()]
    for heading, names in JOB_ORDER:
        parts.append(f"## {heading}\n")
        parts += [_command(name, group.commands[name]) for name in names]
    return "\n".join(parts)


def _exit_codes() -> str:
    listed = (console.__doc__ or "").partition("----------\n")[2].strip().splitlines()
    rows = [line.split(maxsplit=1) for line in listed if line.strip()]
    lines = ["## Exit codes", "", "| code | meaning |", "| --- | --- |"]
    return "\n".join([*lines, *(f"| {code} | {meaning} |" for code, meaning in rows), ""])


def _command(name: str, command: Any) -> str:
    shown = [p for p in command.params if p.name != "help"]
    arguments = [p for p in shown if p.param_type_name == "argument"]
    usage = " ".join(
        ["roomfield", name, "[OPTIONS]", *(p.name.upper() if p.required else f"[{p.name.upper()}]" for p in arguments)]
    )
    lines = [f"### {name}", "", " ".join((command.help or "").split()), "", f"    {usage}", ""]
    if shown:
        lines += ["| what | default | meaning |", "| --- | --- | --- |", *(_row(p) for p in shown), ""]
    return "\n".join(lines)


def _row(parameter: Any) -> str:
    is_argument = parameter.param_type_name == "argument"
    what = parameter.name.upper() if is_argument else ", ".join(f"`{o}`" for o in parameter.opts)
    default = "needed" if parameter.required else _default(parameter.default)
    return f"| {what} | {default} | {_cell(parameter.help or '')} |"


def _default(value: object) -> str:
    if value is None or value is False or value == "" or callable(value):
        return ""
    return f"`{value}`"


def _cell(words: str) -> str:
    return " ".join(words.split()).replace("|", "\\|")


def main(arguments: list[str]) -> int:
    """Write the document to the file that is named."""
    if len(arguments) != 1:
        typer.echo("roomfield: name the file to write, such as docs/commands.md.", err=True)
        return 2
    Path(arguments[0]).write_text(text(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

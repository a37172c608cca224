"""The commands in the order of the job: first steps, the visit, the causes, the remedy, the office."""

from __future__ import annotations

import re
from typing import Any

from typer.core import TyperGroup

JOB_ORDER: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("First steps", ("demo", "new", "plan", "place", "take-in", "assess", "report", "serve")),
    (
        "The visit",
        ("visit", "aim", "assignment", "transmitter", "state", "bring-masts", "meter", "meter-check", "accessory",
         "sheet", "photo", "practice"),
    ),
    ("More to take in", ("take-spectrum", "take-bearings", "listen", "coach", "night", "log", "stations", "points")),
    ("Causes", ("sources", "shares", "locate", "map", "next", "person", "day")),
    ("Remedy and proof", ("actions", "action", "predict", "plans", "agree", "follow-up", "verify", "changed")),
    ("Hand over", ("sign-off", "check-report", "pack", "unpack", "stamp")),
    ("What the record holds", ("list", "show", "change", "remove", "amend", "withdraw", "history")),
    (
        "The office",
        ("backup", "check", "delete", "lock", "unlock", "identity", "rights", "hand-over", "client-data"),
    ),
    ("Looking up", ("references", "add-references", "languages", "version")),
)  # fmt: skip
"""Headings of the list of commands, each with its commands; every command stands under one of them."""
_FIRST_CLAUSE = re.compile(r"[\s\u00a0]*[:;]\s|\.\s*\Z|\.\s")


def summary(text: str) -> str:
    """The first clause of a help, up to its first colon, semicolon or full stop; never cut within.

    Parameters
    ----------
    text : str
        A help, in any language.
    """
    return _FIRST_CLAUSE.split(re.sub(r"\s*\n\s*", " ", text), maxsplit=1)[0].strip()


class JobGroup(TyperGroup):
    """The command line, whose list of commands follows the job."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Names in the order of the job."""
        return [name for _, names in JOB_ORDER for name in names]

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """The list of commands under its headings, each with the first clause of its help."""
        widest = max(len(name) for name in self.list_commands(ctx))
        for heading, names in JOB_ORDER:
            with formatter.section(heading):
                formatter.write_dl([(name.ljust(widest), summary(self.commands[name].help or "")) for name in names])

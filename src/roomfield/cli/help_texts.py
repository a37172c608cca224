"""Helps of commands and options in the language of the terminal; English stands in for what its catalogue lacks."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from typing import Any

import typer

from roomfield.cli.job_order import JOB_ORDER
from roomfield.cli.terminal_language import begin, terminal_language
from roomfield.errors import UnknownNameError

EXTRAS = ("env var: ", "default: ", "required")
HEADINGS = (
    "Usage: ", "Options", "Arguments", "Show this message and exit.", *(one for one, _ in JOB_ORDER), *EXTRAS
)  # fmt: skip
"""What stands around the helps themselves."""
_BRACKET = re.compile(r"\[[^\[\]]*\]\Z")


def spoken_command(app: typer.Typer, words: Sequence[str]) -> Any:
    """The whole command line, with its helps in the terminal's language if a help is asked for.

    Parameters
    ----------
    app : Typer
    words : sequence of str
        What was typed after the name of the program.
    """
    command: Any = typer.main.get_command(app)
    if words and "--help" not in words:
        return command
    _begin_as_typed(words)
    language = terminal_language()
    if language != "en":
        for one in (command, *command.commands.values()):
            _translate(one, language)
    return command


def _begin_as_typed(words: Sequence[str]) -> None:
    """A help is shown before options are read, so that the language is looked for among the words."""
    named = [word.partition("=")[2] for word in words if word.startswith("--language=")]
    named += [after for word, after in pairwise(words) if word == "--language"]
    try:
        begin(named[-1] if named else "")
    except UnknownNameError:
        begin("")


def _translate(command: Any, language: str) -> None:
    command.help = _told(language, command.help)
    command.short_help = None
    for parameter in command.params:
        parameter.help = _told(language, getattr(parameter, "help", None))
    command.context_class = _spoken_context(command.context_class, language)


def _told(language: str, text: str | None) -> str | None:
    from roomfield.show.words.told import help_catalogue

    return help_catalogue(language).get(_flat(text), text) if text else text


def _flat(text: str) -> str:
    return " ".join(text.split()) if text.strip() not in {one.strip() for one in HEADINGS} else text


@cache
def _spoken_context(context: type, language: str) -> type:
    """The context of a command whose helps are laid out in a language.

    Typer carries a copy of click in some editions and not in others: what is derived from is asked for, not imported.
    """
    plain: Any = context
    return type("SpokenContext", (context,), {"formatter_class": _spoken_formatter(plain.formatter_class, language)})


def _spoken_formatter(formatter: Any, language: str) -> type:
    def word(text: str) -> str:
        return _told(language, text) or text

    def bracket(found: re.Match[str]) -> str:
        text = found[0]
        for extra in EXTRAS:
            text = text.replace(extra, word(extra))
        return text

    class SpokenFormatter(formatter):  # type: ignore[misc]
        """Headings, and what stands in brackets behind a help, in that language."""

        def write_usage(self, prog: str, args: str = "", prefix: str | None = None) -> None:
            super().write_usage(prog, args, word("Usage: ") if prefix is None else prefix)

        def write_heading(self, heading: str) -> None:
            super().write_heading(word(heading))

        def write_dl(self, rows: Sequence[tuple[str, str]], *sizes: int, **named: int) -> None:
            told = [(name, _BRACKET.sub(bracket, word(text))) for name, text in rows]
            super().write_dl(told, *sizes, **named)

    return SpokenFormatter

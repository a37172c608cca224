"""The command line: parse, one call, print."""

from __future__ import annotations

import logging
import os
import sys
from typing import Annotated

import typer

from roomfield import __version__
from roomfield.cli import (
    assess_and_report,
    coach_command,
    day_commands,
    demo_command,
    keeping,
    listen_command,
    log_commands,
    meter_commands,
    model_questions,
    night_command,
    office_commands,
    photo_command,
    plan_commands,
    point_commands,
    practice_command,
    records,
    reference_lists,
    remedies,
    serving,
    survey_setup,
    take_in,
    thing_commands,
)
from roomfield.cli.console import say_defect, say_error, say_stopped, say_system, say_usage
from roomfield.cli.help_texts import spoken_command
from roomfield.cli.job_order import JobGroup
from roomfield.cli.terminal_language import VARIABLE, begin
from roomfield.errors import RoomfieldError, UnknownNameError

_WRITING = ("assess", "report", "sheet")
"""Commands whose sentences are in the survey's language if none is asked for."""
LOG_LEVELS = ("debug", "info", "warning", "error")

app = typer.Typer(
    name="roomfield",
    cls=JobGroup,
    help="From hand-meter readings in a home to an exposure report that stands up.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _say_version(asked: bool) -> None:
    if asked:
        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def _every_command(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_say_version, is_eager=True, help="Print the version.")
    ] = False,
    log_level: Annotated[
        str, typer.Option(help="Tell on the error stream what each package notes: debug, info or warning.")
    ] = "",
    language: Annotated[
        str,
        typer.Option(
            help="Language of what is printed, such as en, de or fr (also ROOMFIELD_LANGUAGE); else the survey's own, "
            "else the computer's."
        ),
    ] = "",
) -> None:
    """From hand-meter readings in a home to an exposure report that stands up."""
    begin(language)
    wanted = language or os.environ.get(VARIABLE, "")
    if wanted:
        context.default_map = {name: {"language": wanted} for name in _WRITING}
    if log_level:
        _log_from(log_level)


for group in (
    demo_command,
    records,
    keeping,
    office_commands,
    thing_commands,
    meter_commands,
    plan_commands,
    survey_setup,
    take_in,
    assess_and_report,
    day_commands,
    listen_command,
    photo_command,
    log_commands,
    night_command,
    coach_command,
    practice_command,
    model_questions,
    point_commands,
    remedies,
    serving,
    reference_lists,
):
    group.register(app)


@app.command()
def version() -> None:
    """Print the version."""
    typer.echo(__version__)


def run() -> None:
    """Run the command line; every fault becomes one sentence and an exit code."""
    _log_if_asked()
    os.umask(0o077)  # records, reports and packages are a client's: whatever is written is its owner's alone
    try:
        sys.exit(spoken_command(app, sys.argv[1:])(prog_name="roomfield", standalone_mode=False) or 0)
    except RoomfieldError as fault:
        sys.exit(say_error(fault))
    except BrokenPipeError:
        sys.exit(0)
    except (KeyboardInterrupt, typer.Abort):
        sys.exit(say_stopped())
    except OSError as fault:
        _show_trace_if_asked()
        sys.exit(say_system(fault))
    except Exception as fault:
        if isinstance(getattr(fault, "exit_code", None), int):
            sys.exit(say_usage(fault))
        _show_trace_if_asked()
        sys.exit(say_defect(fault))


def _log_if_asked() -> None:
    """Tell on the error stream what each package notes, if ROOMFIELD_LOG names a level such as ``debug``."""
    if os.environ.get("ROOMFIELD_LOG", "").lower() in LOG_LEVELS:
        _log_from(os.environ["ROOMFIELD_LOG"])


def _log_from(level: str) -> None:
    if level.lower() not in LOG_LEVELS:
        raise UnknownNameError("level of the log", level, LOG_LEVELS)
    logging.basicConfig(format="%(name)s %(levelname)s: %(message)s")
    logging.getLogger("roomfield").setLevel(level.upper())


def _show_trace_if_asked() -> None:
    """Let the fault through with its trace if ROOMFIELD_TRACE is set; to be called while it is handled."""
    if os.environ.get("ROOMFIELD_TRACE"):
        raise

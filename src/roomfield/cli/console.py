"""How the command line speaks: tables, JSON, progress, one-line errors and exit codes.

Exit codes
----------
0   done
2   the command itself is not understood (also for unknown options)
3   something given cannot be used: file, value, name
4   the record cannot be opened, read or written
5   stored or packed bytes do not match their checksum
6   asked too early: another step comes first
70  a defect of the program itself
130 stopped by the user
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Annotated, Any

import typer

from roomfield.cli.terminal_language import terminal_language
from roomfield.cli.terminal_numbers import tell
from roomfield.errors import IntegrityError, RejectedRows, RoomfieldError, RowFault, StoreError, TooEarlyError

_CODES: tuple[tuple[type[RoomfieldError], int], ...] = (
    (StoreError, 4),
    (IntegrityError, 5),
    (TooEarlyError, 6),
    (RoomfieldError, 3),
)
_MOST_ROWS = 120
_MOST_FAULTS = 40

ProgressCall = Callable[[float], None]


DEFAULT_RECORD = "roomfield.sqlite"
Record = Annotated[
    str,
    typer.Option(
        "--record",
        envvar="ROOMFIELD_RECORD",
        help="The record: an SQLite file, a folder, a survey document (.json) or a PostgreSQL URL.",
    ),
]
SurveyId = Annotated[
    str,
    typer.Option(
        "--survey",
        envvar="ROOMFIELD_SURVEY",
        help="Id of the survey; may be left out if the record holds only one.",
    ),
]
VisitId = Annotated[str, typer.Option("--visit", help="Id of the visit; the first one if left out.")]
AsJson = Annotated[bool, typer.Option("--json", help="Answer as JSON on standard output.")]


def echo(text: str = "", *, err: bool = False) -> None:
    """Print a text in the language of the terminal.

    Parameters
    ----------
    text : str
        In English, with its values.
    err : bool
        Whether it goes to the error stream.
    """
    typer.echo(tell(text), err=err)


def answer(as_json: bool, plain: Any, show: Callable[[], None]) -> None:
    """Print JSON if it was asked for, else show it to a person.

    Parameters
    ----------
    plain : object
        Made of dictionaries, lists, strings and numbers.
    show : callable
        Prints it for a person.
    """
    if as_json:
        typer.echo(json.dumps(_finite(plain), ensure_ascii=False, indent=2, allow_nan=False))
    else:
        show()


def _finite(value: Any) -> Any:
    """JSON knows no infinity: an open end becomes null."""
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return None
    if isinstance(value, Mapping):
        return {str(key): _finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(item) for item in value]
    return value


def table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table; long ones are cut and say so."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    sheet = Table(title=tell(title) or None, title_justify="left", box=box.SIMPLE_HEAD)
    for column in columns:
        sheet.add_column(tell(column))
    for row in rows[:_MOST_ROWS]:
        sheet.add_row(*[one_line(cell).replace("[", "\\[") for cell in row])
    Console(highlight=False).print(sheet)
    if len(rows) > _MOST_ROWS:
        echo(f"... and {len(rows) - _MOST_ROWS} more; --json gives all.")


def lines(rows: Sequence[Sequence[str]], nothing: str) -> None:
    """Print rows whole, one a line: in columns on a terminal, with tabs between them in a pipe; nothing is cut.

    Parameters
    ----------
    nothing : str
        What is said if there are none.
    """
    shown = [[one_line(cell) for cell in row] for row in rows]
    if not shown:
        echo(nothing, err=True)
    if not sys.stdout.isatty():
        for row in shown:
            typer.echo("\t".join(row))
        return
    from rich.cells import cell_len

    widths = [max(cell_len(row[n]) for row in shown) for n in range(len(shown[0]))] if shown else []
    for row in shown:
        padded = (cell + " " * (width - cell_len(cell)) for cell, width in zip(row, widths, strict=True))
        typer.echo("  ".join(padded).rstrip())


def grouped(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]], right: Collection[int] = ()) -> None:
    """Print a table whose first column stands as a line of its own above the rows it belongs to.

    Parameters
    ----------
    columns : sequence of str
        Headings; the first one belongs to the lines above.
    rows : sequence of sequence of str
        Rows with the same first cell stand together.
    right : collection of int
        Numbers of the columns that are set to the right.
    """
    from rich.cells import cell_len

    heads = [tell(column) for column in columns]
    shown = [[one_line(cell) for cell in row] for row in rows[:_MOST_ROWS]]
    widths = [max(cell_len(row[n]) for row in [heads, *shown]) for n in range(1, len(columns))]

    def line(cells: Sequence[str]) -> str:
        padded = []
        for number, (cell, width) in enumerate(zip(cells[1:], widths, strict=True), start=1):
            space = " " * (width - cell_len(cell))
            padded.append(space + cell if number in right else cell + space)
        return ("  " + "  ".join(padded)).rstrip()

    echo(f"\n{title}")
    typer.echo(line(heads))
    before = None
    for row in shown:
        if row[0] != before:
            typer.echo(row[0])
        before = row[0]
        typer.echo(line(row))
    if len(rows) > _MOST_ROWS:
        echo(f"... and {len(rows) - _MOST_ROWS} more; --json gives all.")


def one_line(text: str) -> str:
    """Text without line ends and control characters, which would break a table or a terminal."""
    return "".join(c if c.isprintable() else " " for c in text)


@contextmanager
def progress(what: str) -> Iterator[ProgressCall]:
    """A progress bar on standard error, from 0 to 1; silent where there is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    with Progress(
        TextColumn(tell(what)),
        BarColumn(),
        TimeRemainingColumn(),
        console=console,
        disable=not console.is_terminal,
        transient=True,
    ) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda share: bar.update(task, completed=share)


def row_words(row: RowFault) -> str:
    """A rejected row in one line."""
    return one_line(tell(f"line {row.line}, {row.column}: {row.value!r} - {row.reason}"))


def spoken_fault(fault: RoomfieldError) -> str:
    """One line in the language of the terminal: where, what, how to mend, and the call that does it."""
    from roomfield.cli.mending_calls import call_for
    from roomfield.show.words.told import terminal_teller

    language, call = terminal_language(), call_for(fault.mend)
    after = f" -> {call}" if call else ""
    if language == "en":
        return fault.sentence() + after
    told = terminal_teller(language)
    what, mend = (told(part) if part else "" for part in (fault.what, fault.mend))
    return " ".join(part for part in (f"{fault.where}: {what}" if fault.where else what, mend) if part) + after


def say_error(fault: RoomfieldError) -> int:
    """Print one sentence on standard error and give the exit code."""
    typer.echo(f"roomfield: {one_line(spoken_fault(fault))}", err=True)
    if isinstance(fault, RejectedRows):
        for row in fault.faults[:_MOST_FAULTS]:
            typer.echo(f"  {row_words(row)}", err=True)
        if len(fault.faults) > _MOST_FAULTS:
            echo(f"  ... and {len(fault.faults) - _MOST_FAULTS} more", err=True)
    sys.stderr.flush()
    return next(code for kind, code in _CODES if isinstance(fault, kind))


def say_stopped() -> int:
    """Say that the user stopped the command."""
    echo("roomfield: stopped before it was done; nothing half-made was kept.", err=True)
    return 130


def say_usage(fault: Exception) -> int:
    """Say in one sentence what of a command is not understood, and where its help is; the bare name shows the help."""
    if type(fault).__name__ == "NoArgsIsHelpError":
        typer.echo(str(getattr(fault, "message", "")), err=True)
        return 2
    words = str(getattr(fault, "format_message", lambda: str(fault))()).strip()
    context = getattr(fault, "ctx", None)
    command = " ".join(["roomfield", *str(getattr(context, "command_path", "")).split()[1:]])
    if words:
        echo(f"roomfield: {one_line(words).rstrip('.')}. Try '{command} --help'.", err=True)
    return int(getattr(fault, "exit_code", 2))


def say_system(fault: OSError) -> int:
    """Say in one sentence what the operating system refused."""
    where = f"{fault.filename}: " if fault.filename else ""
    what = (fault.strerror or str(fault)).lower()
    echo(one_line(f"roomfield: {where}{what}. Check the path, its rights and the free space."), err=True)
    return 4


def say_defect(fault: Exception) -> int:
    """Own up to a defect in one sentence; the trace is shown only if it is asked for."""
    name = type(fault).__name__
    echo(
        one_line(
            f"roomfield: a defect of the program ({name}: {str(fault)[:200]}). Every write is made whole or not at "
            "all. Set ROOMFIELD_TRACE=1 and try again to see where; please report it."
        ),
        err=True,
    )
    return 70

"""Which column is what: the mapping of a log file, with what was guessed, on what evidence, and how sure."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field, fields, replace
from typing import Any

from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.logs.clock import ELAPSED_FORMS, parse_moment, zone_from_name
from roomfield.logs.layout import Layout
from roomfield.logs.scale import POWER_DENSITY_UNIT, Quantity, Scale, Unit, find_unit, stored_unit

KINDS = ("average", "peak", "highest_held", "unknown")
"""What one logged value is: the mean, the peak or the held maximum of its interval; or not stated."""

OUTLYING = ("", "leave out", "keep")
"""What becomes of a few readings far away from all others in time."""

DECIMALS = (".", ",", "., grouped")


@dataclass(frozen=True)
class Guess:
    """One thing that was guessed.

    Parameters
    ----------
    what : str
        Field of the mapping.
    answer : str
        What was guessed.
    evidence : str
        The heading or the sample it rests on.
    confidence : float
        From 0 (a coin) to 1 (written in the file).
    """

    what: str
    answer: str
    evidence: str
    confidence: float


@dataclass(frozen=True)
class Question:
    """One thing that only the person who made the log can say.

    Parameters
    ----------
    what : str
        Field of the mapping.
    text : str
        The question.
    choices : tuple of str
        Likely answers; others may be given.
    needs_answer : bool
        Whether even a confirmation cannot do without an answer.
    """

    what: str
    text: str
    choices: tuple[str, ...] = ()
    needs_answer: bool = False


@dataclass(frozen=True)
class Mapping:
    """How the rows of a file become a series.

    Parameters
    ----------
    layout : Layout
        Where the rows lie.
    time_columns : tuple of str
        One column of time stamps, or date and time of day.
    time_form : str
        Form of the stamps.
    value_column : str
        Column of levels.
    zone : str
        Zone of the stamps: IANA name, ``UTC`` or offset; empty if every stamp carries its own.
    unit : str
        Unit of the values; empty if it stands in the values or in `unit_column`.
    unit_column, status_column : str
        Columns naming the unit, or overload; empty if there are none.
    units_in_values : bool
        Whether cells end in a unit.
    decimal : str
        Decimal mark.
    kind : str
        One of `KINDS`.
    keep_unit : bool
        Store field strengths as they are instead of as power density.
    floor, overload : float or None
        Ends of the meter's range, in the unit of the file; readings at or beyond them are marked, not dropped.
    start : str
        Start of the log (ISO 8601), for stamps that count from it.
    spread_repeats : bool
        Several readings share one printed stamp and are to be spread evenly up to the next.
    skip_unreadable : bool
        Leave out rows that cannot be read (they are counted) instead of refusing the file.
    outlying : str
        What becomes of a few readings whose stamps lie half a year or more away from all others: ``leave out`` or
        ``keep``; empty refuses the file and shows them.
    guesses, questions : tuple
        What was guessed, and what is still open.
    confirmed : bool
        Whether a person has seen and confirmed the mapping.
    """

    layout: Layout
    time_columns: tuple[str, ...]
    time_form: str
    value_column: str
    zone: str = ""
    unit: str = ""
    unit_column: str = ""
    status_column: str = ""
    units_in_values: bool = False
    decimal: str = "."
    kind: str = "unknown"
    keep_unit: bool = False
    floor: float | None = None
    overload: float | None = None
    start: str = ""
    spread_repeats: bool = False
    skip_unreadable: bool = False
    outlying: str = ""
    guesses: tuple[Guess, ...] = field(default=(), compare=False)
    questions: tuple[Question, ...] = ()
    confirmed: bool = False

    def confirm(self, **answers: Any) -> Mapping:
        """This mapping, confirmed, with corrections.

        Parameters
        ----------
        **answers
            Any field by name; open questions that have no likely answer must be among them.

        Raises
        ------
        TooEarlyError
            If a question that only a person can answer is still open.
        UnknownNameError, InputError
            If an answer names no column, unit, zone or kind.
        """
        allowed = {f.name for f in fields(self)} - {"guesses", "questions", "confirmed"}
        for name in answers:
            if name not in allowed:
                raise UnknownNameError("field of a mapping", name, allowed)
        if isinstance(answers.get("time_columns"), str):
            answers["time_columns"] = (answers["time_columns"],)
        open_still = [q for q in self.questions if q.needs_answer and not answers.get(q.what)]
        if open_still:
            raise TooEarlyError(_asked(open_still), mend=f"Answer with confirm({open_still[0].what}=...).")
        confirmed = replace(self, **answers, questions=(), confirmed=True)
        confirmed.check()
        return confirmed

    def describe(self) -> str:
        """What was guessed, from what, and how sure; then what is open. One line each."""
        guessed = [f"{g.what}: {g.answer} (from {g.evidence}; sure to {g.confidence:.0%})" for g in self.guesses]
        return "\n".join([*guessed, *(f"open: {question.text}" for question in self.questions)])

    def check(self) -> None:
        """Refuse a mapping that cannot be carried out.

        Raises
        ------
        UnknownNameError, InputError
            If a column, unit, zone, kind or start is wrong.
        """
        named = [*self.time_columns, self.value_column, self.unit_column, self.status_column]
        for column in filter(None, named):
            if column not in self.layout.columns:
                raise UnknownNameError("column", column, self.layout.columns)
        if self.kind not in KINDS:
            raise UnknownNameError("kind", self.kind, KINDS)
        if self.decimal not in DECIMALS:
            raise UnknownNameError("decimal mark", self.decimal, DECIMALS)
        if self.outlying not in OUTLYING:
            raise UnknownNameError("answer for outlying stamps", self.outlying, OUTLYING[1:])
        if self.zone:
            zone_from_name(self.zone)
        if self.start or self.time_form in ELAPSED_FORMS:
            parse_moment(self.start, "start of the log")
        if not (self.units_in_values or self.unit_column):
            self.file_unit()

    def require_confirmed(self, where: str) -> None:
        """Refuse to go on while questions are open.

        Parameters
        ----------
        where : str
            Name of the file, for the message.

        Raises
        ------
        TooEarlyError
            If the mapping is ambiguous and nobody has confirmed it.
        """
        if self.questions and not self.confirmed:
            mend = "Look at the mapping's guesses and questions, then call confirm() with the answers."
            raise TooEarlyError(_asked(self.questions), where=where, mend=mend)

    def file_unit(self) -> Unit:
        """The unit of the file's values.

        Raises
        ------
        InputError
            If it is not known or not a unit.
        """
        found = find_unit(self.unit)
        if found is None:
            raise InputError(
                f"{self.unit!r} is not a unit of a log.",
                where="unit",
                mend="Give one such as uW/m2, V/m or dBm.",
            )
        return found

    def stored_unit(self) -> Unit:
        """The unit in which the series is stored."""
        if self.units_in_values or self.unit_column:
            found = find_unit(self.unit)
            if found is None:
                return Unit(POWER_DENSITY_UNIT, Quantity.POWER_DENSITY, Scale.POWER)
        else:
            found = self.file_unit()
        return stored_unit(found, self.keep_unit)

    def fingerprint(self) -> str:
        """Hash of everything that decides what is stored."""
        core = {k: v for k, v in asdict(self).items() if k not in ("guesses", "questions", "confirmed")}
        if not self.outlying:
            del core["outlying"]  # so that a log that was kept before this could be said is known again
        return hashlib.sha256(json.dumps(core, sort_keys=True, default=str).encode()).hexdigest()

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready form; `from_dict` reads it back."""
        return asdict(self)

    @staticmethod
    def from_dict(data: dict[str, Any]) -> Mapping:
        """A mapping from its JSON form.

        Parameters
        ----------
        data : dict
            As `to_dict` gives it.
        """
        values = dict(data)
        layout = dict(values["layout"])
        values["layout"] = Layout(**{**layout, "columns": tuple(layout["columns"])})
        values["time_columns"] = tuple(values["time_columns"])
        values["guesses"] = tuple(Guess(**g) for g in values.get("guesses", ()))
        values["questions"] = tuple(
            Question(**{**q, "choices": tuple(q["choices"])}) for q in values.get("questions", ())
        )
        return Mapping(**values)


def _asked(questions: list[Question] | tuple[Question, ...]) -> str:
    return " ".join(question.text for question in questions)

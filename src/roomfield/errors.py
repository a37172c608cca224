"""The tree of what can go wrong.

RoomfieldError                 every fault a user can cause or mend
├── InputError                 something given to us cannot be used as it is
│   ├── FormatError            a file or document is not of the form it should have
│   ├── RangeError             a value lies outside what a formula or table covers
│   └── RejectedRows           a table was refused; lists every faulty row
├── UnknownNameError           a name that is not in the table of valid choices
├── KindMismatchError          peak, highest held and average were about to be mixed
├── TooEarlyError              a question asked before the step that answers it
├── IntegrityError             stored or packed bytes do not match their checksum
└── StoreError                 the record cannot be opened, read or written
    ├── ConflictError          somebody else changed it since it was read
    └── RightsError            this account may not do it

Every message says what, where and how to mend it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass


class Said(str):
    """A sentence that knows how it was made: English text, its phrase key, and the values that fill it.

    Parameters
    ----------
    key : str
        The English wording with ``{name}`` for every value; the other languages know the sentence by it.
    **values
        What stands in the places, already written as text where its form matters.
    """

    key: str
    values: dict[str, str]

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, str]]:
        """What makes it again, for copies and other processes."""
        return (self.key,), self.values

    def __new__(cls, key: str, /, **values: object) -> Said:
        """Fill the places of a phrase."""
        filled = {name: str(value) for name, value in values.items()}
        made = super().__new__(cls, key.format(**filled))
        made.key, made.values = key, filled
        return made


class RoomfieldError(Exception):
    """A fault the user can understand and mend.

    Parameters
    ----------
    what : str
        What is wrong, with the offending value.
    where : str
        File, row, field or object; empty if there is only one candidate.
    mend : str
        What to do about it.
    """

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        self.what = what
        self.where = where
        self.mend = mend
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """One line: where, what, how to mend."""
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head} {self.mend}".strip() if self.mend else head


class InputError(RoomfieldError):
    """Something given to us cannot be used as it is."""


class FormatError(InputError):
    """A file or document is not of the form it should have."""


class RangeError(InputError):
    """A value lies outside what a formula or a table covers."""

    def __init__(
        self,
        name: str,
        asked: float,
        allowed: tuple[float, float],
        unit: str,
        *,
        where: str = "",
        mend: str = "",
    ) -> None:
        self.name, self.asked, self.allowed, self.unit = name, asked, allowed, unit
        what = Said(
            "{name} is {asked}; allowed is {low} to {high}.",
            name=name, asked=f"{asked:g} {unit}", low=f"{allowed[0]:g}", high=f"{allowed[1]:g} {unit}",
        )  # fmt: skip
        super().__init__(what, where=where, mend=mend)


@dataclass(frozen=True)
class RowFault:
    """One rejected row of a table: its line in the file, the column and the reason."""

    line: int
    column: str
    value: str
    reason: str


class RejectedRows(InputError):
    """A table was refused as a whole; every faulty row is listed and nothing was taken in."""

    def __init__(self, faults: Sequence[RowFault], *, where: str = "", mend: str = "") -> None:
        self.faults = tuple(faults)
        one = "{count} row cannot be read; nothing was imported."
        many = "{count} rows cannot be read; nothing was imported."
        what = Said(one if len(self.faults) == 1 else many, count=len(self.faults))
        super().__init__(what, where=where, mend=mend)


class UnknownNameError(RoomfieldError):
    """A name that is not in the table of valid choices."""

    def __init__(self, kind: str, name: str, choices: Iterable[str], *, where: str = "") -> None:
        self.kind, self.name, self.choices = kind, name, tuple(sorted(choices))
        listed = ", ".join(self.choices[:12]) + (" ..." if len(self.choices) > 12 else "")
        what = Said("there is no {kind} named {name}.", kind=kind, name=repr(name))
        mend = Said("Choose one of: {names}.", names=listed) if listed else Said("There is none to choose from yet.")
        super().__init__(what, where=where, mend=mend)


class KindMismatchError(RoomfieldError):
    """Peak, highest held and average were about to be compared as if they were the same."""


class TooEarlyError(RoomfieldError):
    """A question asked before the step that answers it; the message names that step."""


class IntegrityError(RoomfieldError):
    """Stored or packed bytes do not match their checksum."""


class StoreError(RoomfieldError):
    """The record cannot be opened, read or written."""


class ConflictError(StoreError):
    """Somebody else changed the record since it was read; nothing was written.

    Parameters
    ----------
    expected, found : int
        The revision that the writer had read, and the one that is stored now.
    changed : iterable of str
        Parts of the record that changed in between.
    """

    def __init__(self, expected: int, found: int, changed: Iterable[str], *, where: str = "") -> None:
        self.expected, self.found, self.changed = expected, found, tuple(changed)
        listed = ", ".join(self.changed) or "other parts"
        super().__init__(
            Said(
                "it is at revision {found} now, and this change was made on revision {expected} "
                "({listed} changed in between); nothing was written.",
                found=found,
                expected=expected,
                listed=listed,
            ),
            where=where,
            mend="Load it again, look at what changed, and repeat the change.",
        )


class RightsError(StoreError):
    """This account may not do it, or this person may not do it alone."""

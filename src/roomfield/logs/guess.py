"""Guessing the mapping of a log from its headings and a sample of its rows."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

from roomfield.errors import FormatError
from roomfield.logs import clock, reading
from roomfield.logs.layout import Sample, look_at
from roomfield.logs.mapping import KINDS, Guess, Mapping, Question
from roomfield.logs.scale import Quantity, Unit, find_unit
from roomfield.table_files.cells import FLOOR_WORDS
from roomfield.table_files.decimal_sign import guess_decimal
from roomfield.table_files.headings import split_unit
from roomfield.table_files.kind_words import kind_in

_TIME_WORDS = re.compile(
    r"time|date|zeit|datum|uhr|stamp|heure|fecha|hora|data|ora|tid|epoch|elapsed|seconds|when|temps|tijd|moment",
    re.IGNORECASE,
)
_VALUE_WORDS = re.compile(
    r"power|density|dichte|level|pegel|value|wert|field|feld|strength|exposure|reading|messwert|rss|rsl|rx|signal"
    r"|puissance|densit|valeur|champ|valor|campo|^s$|^e$|^p$|^pd$|avg|average|mean|mittel|peak|spitze|max|hold|rms",
    re.IGNORECASE,
)
_OTHER_WORDS = re.compile(
    r"\blat|\blon|temp|humid|batt|volt(?!s? ?/ ?m)|\bid\b|_id|index|number|\bno\b|count|azimuth|height|speed|channel"
    r"|\bfreq|duration|pressure|sat\b|altitude|line|row|off$",
    re.IGNORECASE,
)
_STATUS_WORDS = re.compile(r"status|overload|\bovl|flag|range|error|remark|quality|warn", re.IGNORECASE)
_BRACKETED = re.compile(r"[\[(<{]\s*([^\])>}]+?)\s*[\])>}]")


def guess_mapping(path: str | Path, *, sheet: str = "") -> Mapping:
    """Guess how the rows of a log file become a series.

    Parameters
    ----------
    path : str or Path
        CSV, TSV or other delimited text (also gzip-compressed), Parquet or XLSX.
    sheet : str
        Sheet of a workbook; empty takes the first that is not empty.

    Returns
    -------
    Mapping
        With its guesses and open questions; show both, then call `Mapping.confirm`.

    Raises
    ------
    FormatError
        If the file is not a table with a time and a value in each row.
    """
    path = Path(path)
    sample = look_at(path, sheet)
    if not sample.head:
        raise FormatError("it has headings but no rows.", where=path.name, mend="Export the log again.")
    return _Guesser(sample, path.name).mapping()


class _Guesser:
    def __init__(self, sample: Sample, where: str) -> None:
        self.sample, self.where = sample, where
        self.names = sample.layout.columns
        self.cells = [sample.column(i) for i in range(len(self.names))]
        self.guesses: list[Guess] = []
        self.questions: list[Question] = []

    def mapping(self) -> Mapping:
        times, form, zoned = self._time()
        value = self._value(times)
        decimal = self._decimal(value)
        unit_column, in_values, unit = self._unit(value)
        status = self._status(times, value)
        return Mapping(
            layout=self.sample.layout,
            time_columns=tuple(self.names[i] for i in times),
            time_form=form,
            value_column=self.names[value],
            zone=self._zone(times, form, zoned),
            unit=unit.name if unit else "",
            unit_column=unit_column,
            status_column=status,
            units_in_values=in_values,
            decimal=decimal,
            kind=self._kind(value, unit),
            spread_repeats=self._repeats(times),
            guesses=tuple(self.guesses),
            questions=tuple(self.questions),
        )

    def _noted(self, what: str, answer: str, evidence: str, confidence: float) -> None:
        self.guesses.append(Guess(what, answer, evidence, round(confidence, 2)))

    def _ask(self, what: str, text: str, choices: tuple[str, ...] = (), needs_answer: bool = False) -> None:
        self.questions.append(Question(what, text, choices, needs_answer))

    def _time(self) -> tuple[tuple[int, ...], str, bool]:
        found: list[tuple[float, tuple[int, ...], tuple[clock.TimeForm, ...]]] = []
        for i, heading in enumerate(self.names):
            forms = clock.fitting_forms(self.cells[i])
            named = bool(_TIME_WORDS.search(heading))
            if forms and (named or forms[0].name not in clock.ELAPSED_FORMS):
                found.append((1.0 + named - 0.05 * i - (forms[0].name in clock.ELAPSED_FORMS), (i,), forms))
        for i in range(len(self.names) - 1):
            both = [f"{a} {b}" for a, b in zip(self.cells[i], self.cells[i + 1], strict=True)]
            forms = () if clock.fitting_forms(self.cells[i]) else clock.fitting_forms(both)
            if forms:
                both_named = sum(bool(_TIME_WORDS.search(self.names[j])) for j in (i, i + 1))
                found.append((1.0 + both_named / 2 - 0.05 * i, (i, i + 1), forms))
        if not found:
            raise FormatError(
                f"no column of time stamps was found among {', '.join(self.names[:8])}.",
                where=self.where,
                mend="Write times as 2026-03-01 20:00:00, or name the column and its form in the mapping.",
            )
        score, times, forms = max(found, key=lambda item: item[0])
        heading = " + ".join(self.names[i] for i in times)
        self._noted("time_columns", heading, f"{self.cells[times[0]][0]!r} under {heading!r}", min(score / 2, 1.0))
        distinct = _distinct(forms)
        if len(distinct) > 1:
            self._ask("time_form", "Is the day or the month written first?", tuple(f.name for f in distinct))
        self._noted("time_form", forms[0].name, f"{self.cells[times[0]][0]!r}", 1.0 / len(distinct))
        if forms[0].name in clock.ELAPSED_FORMS:
            self._elapsed(heading)
            return times, self._elapsed_form(heading), False
        return times, forms[0].name, forms[0].zone_in_values

    def _elapsed(self, heading: str) -> None:
        self._ask("start", f"{heading!r} counts from the start of the log; when was that?", needs_answer=True)

    def _elapsed_form(self, heading: str) -> str:
        unit = re.search(r"\b(ms|min|h|s)\b", heading.replace("_", " "), re.IGNORECASE)
        return f"elapsed_{unit.group(1).lower()}" if unit else "elapsed_s"

    def _zone(self, times: tuple[int, ...], form: str, zoned: bool) -> str:
        if zoned:
            self._noted("zone", "in the values", f"{self.cells[times[0]][0]!r}", 1.0)
            return ""
        if form in clock.ELAPSED_FORMS:
            return "UTC"
        heading = " ".join(self.names[i] for i in times)
        for text, sure in ((heading, 1.0), (self.sample.layout.preamble, 0.9)):
            named = clock.zone_named_in(text)
            if named:
                self._noted("zone", named, text.strip()[:80], sure)
                return named
        self._ask("zone", "In which time zone was the meter's clock?", ("UTC", "Europe/Zurich", "+01:00"), True)
        return ""

    def _value(self, times: tuple[int, ...]) -> int:
        scored = []
        unit_column = any(_names_units(cells) for cells in self.cells)
        for i, heading in enumerate(self.names):
            if i in times or not _mostly_numbers(self.cells[i]):
                continue
            unit = _unit_in(heading) or _unit_beside(self.cells[i])
            bare = _BRACKETED.sub("", heading)
            score = 1.0 + 2.0 * bool(unit) + bool(_VALUE_WORDS.search(bare)) - 2.0 * bool(_OTHER_WORDS.search(bare))
            if heading.strip().casefold() in ("value", "level", "wert", "reading"):
                score += 2.6 if unit_column and not unit else 0.6
            scored.append((score, -i))
        if not scored:
            raise FormatError(
                f"no column of numbers was found among {', '.join(self.names[:8])}.",
                where=self.where,
                mend="A log needs a level in each row.",
            )
        scored.sort(reverse=True)
        best, index = scored[0][0], -scored[0][1]
        rivals = [self.names[-i] for score, i in scored if score > best - 0.5]
        if len(rivals) > 1:
            self._ask("value_column", "Which column is the level to be analysed?", tuple(rivals))
        evidence = f"{self.cells[index][0]!r} under {self.names[index]!r}"
        self._noted("value_column", self.names[index], evidence, min(best / 4, 1.0) / len(rivals))
        return index

    def _decimal(self, value: int) -> str:
        cells = [cell for cell in self.cells[value] if any(c.isdigit() for c in cell)]
        found = guess_decimal(cells)
        if found.sign == "." or not any("," in cell for cell in cells):
            answer = "., grouped" if found.grouped else "."
            self._noted("decimal", answer, found.because or (repr(cells[0]) if cells else "no sample"), 0.95)
            return answer
        if not found.sign and not all("," in cell for cell in cells):
            first = next(cell for cell in cells if "," in cell)
            question = f"Does {first!r} have a decimal comma, or one between thousands?"
            self._ask("decimal", question, (",", "., grouped"))
        self._noted("decimal", ",", found.because, 0.9)
        return ","

    def _unit(self, value: int) -> tuple[str, bool, Unit | None]:
        heading = self.names[value]
        unit = _unit_in(heading)
        if unit:
            self._noted("unit", unit.name, f"heading {heading!r}", 1.0)
            return "", False, unit
        beside = _unit_beside(self.cells[value])
        if beside:
            self._noted("unit", beside.name, f"written in the cells: {self.cells[value][0]!r}", 1.0)
            return "", True, beside
        for i, cells in enumerate(self.cells):
            if i != value and _names_units(cells):
                named = find_unit(next(filter(None, cells)))
                self._noted("unit", named.name if named else "", f"column {self.names[i]!r}", 1.0)
                return self.names[i], False, named
        for word in re.split(r"[\s,;:()\[\]]+", self.sample.layout.preamble):
            unit = find_unit(word) if "/" in word or word.startswith("dB") else None
            if unit:
                self._noted("unit", unit.name, f"{word!r} above the table", 0.7)
                return "", False, unit
        self._ask("unit", f"In which unit is {heading!r}?", ("uW/m2", "mW/m2", "V/m", "dBm"), needs_answer=True)
        return "", False, None

    def _status(self, times: tuple[int, ...], value: int) -> str:
        words = reading.BEYOND_WORDS | FLOOR_WORDS
        for i, heading in enumerate(self.names):
            if i in times or i == value:
                continue
            seen = {cell.casefold() for cell in self.cells[i]}
            if _STATUS_WORDS.search(heading) and (seen & words or not any(map(_is_number, seen - {""}))):
                self._noted("status_column", heading, f"heading {heading!r}", 0.6)
                return heading
        return ""

    def _kind(self, value: int, unit: Unit | None) -> str:
        for text, sure in ((self.names[value], 0.9), (self.sample.layout.preamble, 0.6)):
            kind = kind_in(text)
            if kind is not None:
                self._noted("kind", kind.value, text.strip()[:80], sure)
                return kind.value
        self._noted("kind", "unknown", f"heading {self.names[value]!r} does not say", 0.0)
        if unit is None or unit.quantity is not Quantity.RELATIVE_LEVEL:
            self._ask("kind", "Is one value the average, the peak or the held maximum of its interval?", KINDS)
        return "unknown"

    def _repeats(self, times: tuple[int, ...]) -> bool:
        head = [" ".join(row[i] for i in times) for row in self.sample.head]
        counts = list(Counter(head).values())[1:-1]
        if len(counts) < 4 or sum(count > 1 for count in counts) < 0.8 * len(counts):
            return False
        often = sorted(counts)[len(counts) // 2]
        self._ask(
            "spread_repeats",
            f"About {often} rows share each printed time; spread them evenly?",
            ("yes", "no"),
        )
        self._noted("spread_repeats", "yes", f"{often} rows at {head[0]!r}", 0.8)
        return True


def _distinct(forms: tuple[clock.TimeForm, ...]) -> list[clock.TimeForm]:
    """One form for each way of reading the date; fractions of a second make no difference."""
    seen: dict[str, clock.TimeForm] = {}
    for form in forms:
        seen.setdefault(re.sub(r"[.,]%f", "", form.name), form)
    return list(seen.values())


def _unit_in(heading: str) -> Unit | None:
    """The unit of a heading: one of a level as in every table, or one of a receiver's level, such as dBm."""
    _, unit, _ = split_unit(heading)
    tails = [heading.rsplit(mark, 1)[-1] for mark in (" ", "_", ",") if mark in heading]
    for text in [unit, *_BRACKETED.findall(heading), *tails]:
        found = find_unit(text) if len(text) > 1 else None
        if found:
            return found
    return None


def _names_units(cells: tuple[str, ...]) -> bool:
    filled = [cell for cell in cells if cell]
    return bool(filled) and all(find_unit(cell) for cell in filled)


def _unit_beside(cells: tuple[str, ...]) -> Unit | None:
    found = [match.group(3) for cell in cells if (match := reading.CELL.match(cell)) and match.group(3)]
    units = [find_unit(text) for text in found[:50]]
    return units[0] if units and all(units) else None


def _is_number(cell: str) -> bool:
    match = reading.CELL.match(cell)
    return match is not None and (not match.group(3) or find_unit(match.group(3)) is not None)


def _mostly_numbers(cells: tuple[str, ...]) -> bool:
    filled = [cell for cell in cells if cell and cell.casefold() not in reading.MISSING_WORDS]
    marks = reading.BEYOND_WORDS | FLOOR_WORDS
    good = sum(_is_number(cell) for cell in filled)
    words = sum(cell.casefold() in marks for cell in filled)
    return bool(filled) and good > 0 and good + words >= 0.8 * len(filled)

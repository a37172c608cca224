"""The chain of a survey: every entry and every change with author, time and the hash of the one before.

Whoever changes a row behind the program's back breaks a hash; whoever writes the whole chain anew changes its head,
and the head is printed in every report and travels in every package. Hashes are SHA-256 (FIPS 180-4) over JSON.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

BEGINNING = "0" * 64
"""What the first link names as the hash before it."""
_CHUNK = 500
_OLD_WORDS = {"max_hold": "highest_held"}


@dataclass(frozen=True)
class Link:
    """One entry or change.

    Parameters
    ----------
    number : int
        1 for the first link of a survey, then one more each time.
    at : str
        By the clock of the computer, ISO 8601.
    by, device : str
        Who, and on which device, as far as it was set.
    what : str
        In a few words.
    content : str
        JSON: digests of the rows added (by table: how many, which columns) and of the parts written (by name).
    previous : str
        Hash of the link before.
    sha256 : str
        Hash of all of the above.
    signer, signature : str
        Public key and signature (Ed25519) of the hash, hexadecimal; empty if there is no key.
    account : str
        Login on the server that wrote it, which the server itself sees to; empty in a file. Not part of the hash.
    """

    survey_id: str
    number: int
    at: str
    by: str
    device: str
    what: str
    content: str
    previous: str
    sha256: str = ""
    signer: str = ""
    signature: str = ""
    account: str = ""

    def sealed(self) -> Link:
        """The link with its hash."""
        fields = (self.survey_id, self.number, self.at, self.by, self.device, self.what, self.content, self.previous)
        return replace(self, sha256=text_digest(_json(fields)))


@dataclass(frozen=True)
class ChainFault:
    """What does not fit in a chain.

    Parameters
    ----------
    number : int
        The link; 0 for the chain as a whole.
    what : str
        In words.
    """

    number: int
    what: str


def text_digest(text: str) -> str:
    """SHA-256 of a text in UTF-8."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def rows_digest(rows: Iterable[Mapping[str, Any]], columns: Sequence[str]) -> str:
    """SHA-256 over rows, column by column in the order given.

    Parameters
    ----------
    rows : iterable of mapping
        Plain values by column.
    columns : sequence of str
        Those that count; a column that a later schema adds does not disturb the digest.
    """
    digest, waiting = hashlib.sha256(), []
    for row in rows:
        waiting.append([_as_now(row[name]) for name in columns])
        if len(waiting) == _CHUNK:
            digest.update(b"".join(_json(one).encode("utf-8") + b"\n" for one in waiting))
            waiting = []
    digest.update(b"".join(_json(one).encode("utf-8") + b"\n" for one in waiting))
    return digest.hexdigest()


def content_of(rows: Mapping[str, Sequence[Mapping[str, Any]]], parts: Mapping[str, str]) -> str:
    """What a link says of the rows that were added and the parts that were written.

    Parameters
    ----------
    rows : mapping of str to rows
        By table; rows of one table have the same columns.
    parts : mapping of str to str
        Bodies by name.
    """
    added = {
        table: {"count": len(some), "columns": (columns := sorted(some[0])), "sha256": rows_digest(some, columns)}
        for table, some in sorted(rows.items())
        if some
    }
    return _json({"rows": added, "parts": {name: text_digest(body) for name, body in sorted(parts.items())}})


def chain_faults(links: Sequence[Link]) -> Iterator[ChainFault]:
    """Breaks between the links themselves: numbers, hashes, order."""
    before = BEGINNING
    if not links:
        yield ChainFault(0, "there is no chain")
    for expected, link in enumerate(links, 1):
        if link.number != expected:
            yield ChainFault(link.number, f"it should be number {expected}: a link is missing or too many")
        if link.previous != before:
            yield ChainFault(link.number, "it does not follow from the link before")
        if link.sealed().sha256 != link.sha256:
            yield ChainFault(link.number, "what it says was changed after it was written")
        before = link.sha256


def content_faults(
    links: Sequence[Link], rows: Mapping[str, Sequence[Mapping[str, Any]]], parts: Mapping[str, str]
) -> Iterator[ChainFault]:
    """Whether rows and parts are those that the chain was made from.

    Parameters
    ----------
    rows : mapping of str to rows
        All rows of the survey by table, in the order in which they were added.
    parts : mapping of str to str
        Present bodies by name.
    """
    seen = dict.fromkeys(rows, 0)
    written: dict[str, tuple[int, str]] = {}
    for link in links:
        said = _said(link)
        for table, one in said["rows"].items():
            first = seen.get(table, 0)
            some = rows.get(table, ())[first : first + one["count"]]
            seen[table] = first + one["count"]
            if not _same(some, one):
                yield ChainFault(link.number, f"rows of {table} that it added are missing or were changed")
        written |= {name: (link.number, digest) for name, digest in said["parts"].items()}
    for table, some in rows.items():
        if len(some) > seen[table]:
            yield ChainFault(0, f"{len(some) - seen[table]} rows of {table} were added past the chain")
    for name, body in parts.items():
        number, digest = written.get(name, (0, ""))
        if text_digest(body) != digest:
            yield ChainFault(number, f"the part {name} was changed past the chain")


def _same(rows: Sequence[Mapping[str, Any]], said: Mapping[str, Any]) -> bool:
    if len(rows) != said["count"] or any(not set(said["columns"]) <= set(row) for row in rows[:1]):
        return False
    return rows_digest(rows, said["columns"]) == str(said["sha256"])


def _said(link: Link) -> dict[str, Any]:
    try:
        said = json.loads(link.content)
        return {"rows": dict(said["rows"]), "parts": dict(said["parts"])}
    except (ValueError, KeyError, TypeError):
        return {"rows": {}, "parts": {}}


def _as_now(value: Any) -> Any:
    """A value as the present release writes it: words of earlier schemas stand in old rows for ever."""
    if isinstance(value, float) and value == 0.0:
        return 0.0  # a database may drop the sign of zero
    return _OLD_WORDS.get(value, value) if isinstance(value, str) else value


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True)

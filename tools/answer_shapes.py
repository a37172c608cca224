"""Shapes of what commands answer with ``--json``, as JSON Schema (draft 2020-12).

Run ``python tools/answer_shapes.py docs/schema/answers.json``. The shapes are taken from answers about the demo survey,
which is invented: a member that is in every item of a list is required, one that may be null has both types. A test makes
them anew, so that no member changes its name or type without this file and the change log saying so.
"""

from __future__ import annotations

import contextlib
import io
import json
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from genson import SchemaBuilder

from roomfield.cli import main
from roomfield.demo.invented_survey import demo_survey
from roomfield.store.repository import open_store

QUESTIONS = (
    "actions",
    "assess",
    "changed follow-up",
    "check",
    "day",
    "list places",
    "list readings",
    "list transmitters",
    "locate",
    "next",
    "plans 1000 --at sleeping",
    "predict --do router_night_off",
    "shares",
    "show place cot",
    "sources",
    "verify follow-up",
)
"""Commands that answer and change nothing, with the arguments that they are asked with."""


def name_of(question: str) -> str:
    """The command of a question, with what it lists or shows."""
    command, *arguments = question.split()
    return f"{command} {arguments[0]}" if command in ("list", "show") else command


def answer_of(question: str, record: str) -> Any:
    """What a command answers about a record, as data.

    Raises
    ------
    RuntimeError
        If it does not answer.
    """
    shown = io.StringIO()
    before, sys.argv = sys.argv, ["roomfield", *question.split(), "--record", record, "--json"]
    try:
        with contextlib.redirect_stdout(shown):
            main.run()
    except SystemExit as stopped:
        if stopped.code:
            raise RuntimeError(f"roomfield {question}: exit code {stopped.code}") from None
    finally:
        sys.argv = before
    return json.loads(shown.getvalue())


def shapes(record: str, questions: Iterable[str] = QUESTIONS) -> dict[str, Any]:
    """One schema whose ``$defs`` hold the shape of each command's answer.

    Parameters
    ----------
    record : str
        Of the demo survey.
    questions : iterable of str
        Command lines without record and ``--json``.
    """
    found = {}
    for question in questions:
        builder = SchemaBuilder(schema_uri=None)
        builder.add_object(answer_of(question, record))
        found[name_of(question)] = builder.to_schema()
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "What commands answer with --json",
        "description": "Taken from answers about the demo survey, which is invented. Power densities in W/m², times ISO 8601, lengths in m.",
        "$defs": found,
    }


def written(schema: dict[str, Any]) -> str:
    """The file's content."""
    return json.dumps(schema, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        record = str(Path(folder) / "roomfield.sqlite")
        open_store(record).create(demo_survey())
        Path(sys.argv[1]).write_text(written(shapes(record)), encoding="utf-8")

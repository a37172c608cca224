"""Writes the published JSON Schema: ``python -m roomfield.exchange.json_schema docs/schema/survey-2.json``."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from roomfield.exchange.survey_document import document_schema


def schema_text() -> str:
    """The JSON Schema of the survey document as it is published."""
    return json.dumps(document_schema(), indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def main(arguments: list[str]) -> int:
    """Write the schema to the path given."""
    if len(arguments) != 1:
        print("usage: python -m roomfield.exchange.json_schema PATH", file=sys.stderr)
        return 2
    Path(arguments[0]).write_text(schema_text(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

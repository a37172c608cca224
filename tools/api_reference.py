"""The Python entrances with their parameters, written from the docstrings.

Run ``python tools/api_reference.py docs/python-reference.md``.
"""

from __future__ import annotations

import inspect
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

import docstring_parser

import roomfield

MODULES = {
    "roomfield.references.limits": ("lookup", "select", "limit_set", "limit_sets", "smallest_in_band"),
    "roomfield.references.guidelines": ("guideline_set", "guideline_sets", "categories"),
    "roomfield.references.materials": ("material", "materials", "editions"),
    "roomfield.quantities.convert": (
        "density_from_unit", "density_from_eirp", "power_density_from_field", "field_from_power_density",
        "decibels_from_ratio", "ratio_from_decibels",
    ),
    "roomfield.field.transmission": ("stack_optics", "sheet_optics", "stack_amplitudes"),
    "roomfield.field.propagation": ("unit_density", "paths", "grid_density"),
    "roomfield.field.hand_scan": ("scan_gain", "largest_of", "scan_cells"),
    "roomfield.field.points": ("infer_points",),
    "roomfield.field.locate_points": ("locate_points",),
    "roomfield.instrument": ("to_level",),
    "roomfield.signals": ("analyse",),
}  # fmt: skip
"""What works without a survey, by module; `roomfield` itself comes first."""
HEAD = """# Python reference

Written from the docstrings by `python tools/api_reference.py docs/python-reference.md`; do not edit by hand. Units are SI:
W/m², W, Hz, m, s; angles in degrees where a name ends in `_deg`. How the pieces go together: [python.md](python.md).
"""


def text() -> str:
    """The whole document, Markdown."""
    own = [name for name in roomfield.__all__ if name != "__version__"]
    parts = [HEAD, _module("roomfield", own)]
    parts += [_module(name, members) for name, members in MODULES.items()]
    return "\n".join(parts).rstrip() + "\n"


def _module(name: str, members: list[str] | tuple[str, ...]) -> str:
    module = import_module(name)
    return "\n".join([f"## {name}", "", *(_member(member, getattr(module, member)) for member in members)])


def _member(name: str, value: Any) -> str:
    parsed = docstring_parser.parse(inspect.getdoc(value) or "", style=docstring_parser.DocstringStyle.NUMPYDOC)
    lines = [f"### {name}", ""]
    if not inspect.isclass(value):
        lines += ["```text", _signature(name, value), "```", ""]
    lines += [part + "\n" for part in (parsed.short_description, parsed.long_description) if part]
    lines += [f"- `{p.arg_name}`{_kind(p.type_name)}: {_flat(p.description)}" for p in parsed.params]
    lines += (
        ["", f"Gives{_kind(parsed.returns.type_name)}: {_flat(parsed.returns.description)}"] if parsed.returns else []
    )
    lines += ["", *(f"- raises {r.type_name}: {_flat(r.description)}" for r in parsed.raises)] if parsed.raises else []
    lines += ["", *(f"```text\n{_example(e)}\n```" for e in parsed.examples)] if parsed.examples else []
    return "\n".join([*lines, ""])


def _signature(name: str, value: Any) -> str:
    parameters = [p.replace(annotation=inspect.Parameter.empty) for p in inspect.signature(value).parameters.values()]
    return f"{name}{inspect.Signature(parameters)}"


def _example(found: Any) -> str:
    return "\n".join(part for part in (found.snippet, found.description) if part)


def _kind(type_name: str | None) -> str:
    return f" ({_flat(type_name)})" if type_name else ""


def _flat(words: str | None) -> str:
    return " ".join((words or "").split())


def main(arguments: list[str]) -> int:
    """Write the document to the file named."""
    if len(arguments) != 1:
        print(__doc__)
        return 2
    Path(arguments[0]).write_text(text(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

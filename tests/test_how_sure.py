"""Figures of the tool's quality are listed in one place, with their data and the command that makes them again."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[1] / "docs"
ONE_PLACE = (DOCS / "how-sure.md").read_text(encoding="utf-8")
COMMAND = re.compile(r"python -m benchmarks\.(\w+)((?: --\w+)*)")
NO_QUALITY = {
    "inference_speed": "speed",
    "plans": "speed",
    "web": "speed",
    "spine": "speed",
    "install_size": "size of the installation",
    "growth": "speed and memory",
    "make_dwelling": "makes data",
    "signals_maker": "makes parameters",
    "signals_crowded": "makes parameters",
    "faults": "damaged files and killed processes",
}
SPEED = ("--speed", "--stations")


def scored(text: str) -> set[str]:
    """Benchmarks named in a page that say how good the tool is."""
    return {
        name
        for name, options in COMMAND.findall(text)
        if name not in NO_QUALITY and not any(option in options for option in SPEED)
    }


@pytest.mark.parametrize("page", sorted(DOCS.glob("*.md")), ids=lambda page: page.name)
def test_a_page_with_figures_leads_to_the_one_place_that_lists_them(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    if page.name == "how-sure.md" or not scored(text):
        return
    assert "](how-sure.md)" in text
    assert scored(text) <= scored(ONE_PLACE)


def test_every_listed_figure_names_data_command_and_what_was_in_view() -> None:
    table = ONE_PLACE.partition("## The figures")[2].partition("\n\n`DIR`")[0]
    rows = [line.strip("| ").split(" | ") for line in table.splitlines() if line.startswith("| ")][2:]
    assert len(rows) >= 15
    for row in rows:
        assert len(row) == 4 and all(row), row
        assert re.match(r"\**(measured|ray-traced|invented|published)", row[1]), row[0]
        assert "python -m" in row[2] or row[2].startswith(("the same", "none that prints it")), row[0]
    assert re.search(r"State of all figures: \d{1,2} \w+ \d{4}", ONE_PLACE)


def test_a_figure_elsewhere_is_found() -> None:
    assert scored("`python -m benchmarks.maps --data DIR` and `python -m benchmarks.logs --speed`") == {"maps"}

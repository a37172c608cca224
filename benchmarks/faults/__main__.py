"""Try faults with a seed, and say in a table what was tried and what failed.

    python -m benchmarks.faults [--kills 1100] [--files 500] [--requests 2000] [--seed 1] [--only kills]

A failure is a trace, a defect, more than 20 s, more than 1 GB, half an import, nonsense accepted, or an error that does
not say what, where and how to mend it. Needs a system that can fork. Exit code 1 if anything failed.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from rich.console import Console
from rich.table import Table

from benchmarks.faults import circumstances, kills, mutations
from benchmarks.faults.tried import Tried


def main() -> int:
    """Parse, try, tell."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=1100)
    parser.add_argument("--files", type=int, default=500, help="damaged files of each kind")
    parser.add_argument("--requests", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=("kills", "files", "circumstances"))
    given = parser.parse_args()
    found: list[Tried] = []
    with tempfile.TemporaryDirectory(prefix="roomfield-faults-") as name:
        folder = Path(name)
        if given.only in (None, "kills"):
            found += kills.run(folder / "kills", given.kills, given.seed)
        if given.only in (None, "files"):
            found += mutations.run(folder / "files", given.files, given.seed)
        if given.only in (None, "circumstances"):
            found += circumstances.run(folder / "around", given.requests, given.seed)
    _tell(found)
    return int(any(tried.failures for tried in found))


def _tell(found: list[Tried]) -> None:
    table = Table("tried", "times", "failed", "how it ended")
    for tried in found:
        ended = ", ".join(f"{word} {count}" for word, count in sorted(tried.notes.items()))
        table.add_row(tried.name, str(tried.count), str(len(tried.failures)), ended)
    table.add_row("in all", str(sum(t.count for t in found)), str(sum(len(t.failures) for t in found)), "")
    console = Console(highlight=False)
    console.print(table)
    for tried in found:
        for failure in tried.failures[:12]:
            console.print(f"{tried.name}: {failure}", markup=False)


if __name__ == "__main__":
    raise SystemExit(main())

"""What a fresh installation weighs: python -m benchmarks.install_size [extra ...]

Makes a virtual environment in a temporary folder, installs roomfield into it from this folder with the extras
named, and prints megabytes and distributions, the heaviest first. pip itself is not counted.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
WEIGH = """
import importlib.metadata as m
rows = []
for d in m.distributions():
    if d.name.lower() in ("pip", "setuptools"):
        continue
    paths = [d.locate_file(f) for f in d.files or ()]
    sizes = [(p.suffix == ".pyc", p.stat().st_size) for p in map(__import__("pathlib").Path, paths) if p.is_file()]
    rows.append((sum(s for _, s in sizes), sum(s for c, s in sizes if c), d.name))
for size, _, name in sorted(rows, reverse=True)[:10]:
    print(f"{size / 1e6:7.0f} MB  {name}")
print(f"{sum(r[0] for r in rows) / 1e6:7.0f} MB  in {len(rows)} distributions, "
      f"{sum(r[1] for r in rows) / 1e6:.0f} MB of it bytecode that Python can make again")
"""


def main(extras: list[str]) -> int:
    """Install, weigh, throw away."""
    with tempfile.TemporaryDirectory(prefix="roomfield-size-") as folder:
        venv.EnvBuilder(with_pip=True).create(folder)
        python = next(p for p in (Path(folder) / "bin/python", Path(folder) / "Scripts/python.exe") if p.exists())
        wanted = f"{ROOT}[{','.join(extras)}]" if extras else str(ROOT)
        subprocess.run([python, "-m", "pip", "install", "--quiet", wanted], check=True)
        return subprocess.run([python, "-c", WEIGH], check=False).returncode


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))

"""Two commands for a fresh machine.

python3 start.py demo    make the demo survey and its report, and say where the PDF lies
python3 start.py test    run the tests

Both make a virtual environment in .venv first, if it is not there yet. Needs Python 3.11 or newer.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent
ENVIRONMENT = ROOT / ".venv"
PYTHON = ENVIRONMENT / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
STAMP = ENVIRONMENT / "installed-from"
EXTRAS = {"demo": "job", "test": "job,postgres,science,stations,test"}
"""What is installed for each command besides what everybody needs; the demo goes without the test kit."""


def prepare(extras: str) -> None:
    """Make the environment; install again when the list of requirements has changed or more extras are asked for."""
    wanted = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    there = STAMP.read_text().split() if PYTHON.exists() and STAMP.exists() else []
    if there[:1] == [wanted]:
        missing = set(extras.split(",")) - set(there[1:])
        if not missing:
            return
        extras = ",".join(sorted({*there[1:], *missing}))
    print("Preparing .venv (once; a few minutes) ...", flush=True)
    if not PYTHON.exists():
        venv.EnvBuilder(with_pip=True).create(ENVIRONMENT)
    install = [str(PYTHON), "-m", "pip", "install", "--quiet", "--editable", f".[{extras}]"]
    subprocess.run(install, cwd=ROOT, check=True)
    STAMP.write_text(" ".join([wanted, *extras.split(",")]))


def main(arguments: list[str]) -> int:
    """Prepare, then hand over to the command."""
    if sys.version_info < (3, 11):  # noqa: UP036 - the script itself runs on older versions, to say so
        print(f"roomfield needs Python 3.11 or newer; this is {sys.version.split()[0]}.")
        return 2
    commands = {
        "demo": ["-m", "roomfield", "demo"],
        "test": ["-m", "pytest", "--numprocesses", "auto", "--dist", "worksteal"],
    }
    if not arguments or arguments[0] not in commands:
        print(__doc__)
        return 2
    try:
        prepare(EXTRAS[arguments[0]])
    except (subprocess.CalledProcessError, OSError) as error:
        print(f"The environment could not be prepared: {error}. Delete .venv and try again.")
        return 1
    command = [str(PYTHON), *commands[arguments[0]], *arguments[1:]]
    return subprocess.run(command, cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))

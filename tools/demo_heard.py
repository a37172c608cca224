"""Write down what the ear makes of the demo's recordings, for the demo in memory.

    python tools/demo_heard.py

Hears them as a record made on disk does and writes ``src/roomfield/demo/heard.json``. To be run again when the ear
changes: a test compares the two.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from roomfield.survey import Recording
from roomfield.survey.json_codec import to_json
from roomfield.workbench.record.demo_record import demo_job

TARGET = Path(__file__).parents[1] / "src" / "roomfield" / "demo" / "heard.json"


def main() -> None:
    """Hear, and write."""
    with TemporaryDirectory() as folder:
        heard = demo_job(folder).survey.recordings
    bare = tuple(replace(one, id=f"recording-{n}", media_sha256="") for n, one in enumerate(heard, start=1))
    text = to_json(bare, tuple[Recording, ...])
    TARGET.write_text(json.dumps(json.loads(text), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    print(TARGET)


if __name__ == "__main__":
    main()

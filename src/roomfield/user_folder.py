"""Where this computer's user keeps what is set once."""

from __future__ import annotations

import os
from pathlib import Path


def settings_folder() -> Path:
    """Folder of the user's settings; it need not exist."""
    root = os.environ.get("XDG_CONFIG_HOME") or os.environ.get("APPDATA") or str(Path.home() / ".config")
    return Path(root) / "roomfield"

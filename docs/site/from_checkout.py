"""Let the Python reference be read from this checkout, whatever its folder is called.

The tools that read docstrings look for a folder of the package's name: a link of that name, made
for the time of the build, is one.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
_made: list[tempfile.TemporaryDirectory[str]] = []


def on_startup(**_: Any) -> None:
    """Make the link, and have it found before any other cuspwise."""
    folder = tempfile.TemporaryDirectory(prefix="cuspwise-docs-")
    Path(folder.name, "cuspwise").symlink_to(ROOT, target_is_directory=True)
    sys.path.insert(0, folder.name)
    _made.append(folder)


def on_shutdown(**_: Any) -> None:
    """Take it away; what it leads to stays."""
    for folder in _made:
        sys.path.remove(folder.name)
        folder.cleanup()
    _made.clear()

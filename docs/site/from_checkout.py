"""Let the Python reference be read from this checkout, whatever its folder is called.

The tools that read docstrings look for a folder of the package's name, and read all modules below
it. So, for the time of the build, there is one of links to what the reference shows, and to nothing
else: an environment in the checkout would be read for a minute.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
SHOWN = ("__init__.py", "__init__.pyi", "standalone_core")
_made: list[tempfile.TemporaryDirectory[str]] = []


def on_startup(**_: Any) -> None:
    """Make the links, and have them found before any other cuspwise."""
    folder = tempfile.TemporaryDirectory(prefix="cuspwise-docs-")
    package = Path(folder.name, "cuspwise")
    package.mkdir()
    for name in SHOWN:
        (package / name).symlink_to(ROOT / name)
    sys.path.insert(0, folder.name)
    _made.append(folder)


def on_shutdown(**_: Any) -> None:
    """Take them away; what they lead to stays."""
    for folder in _made:
        sys.path.remove(folder.name)
        folder.cleanup()
    _made.clear()

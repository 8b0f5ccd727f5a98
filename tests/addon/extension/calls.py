"""How the tests call an operator of the extension."""

from __future__ import annotations

import re
import sys
from types import SimpleNamespace
from typing import Any

import pytest

OF_LINES = re.compile(
    r"(?<!\w)--\w|\.toml|\[\w+\]|'cuspwise |study files?\b|\bCSV\b|\boptions?\b|command line|"
    r"\b[a-z]\w* = "
)
"""What only somebody who writes files and gives options understands."""


def call(case: SimpleNamespace, name: str, *args: Any, **options: Any) -> Any:
    """Call ``bpy.ops.cuspwise.NAME``; whatever it refuses, it does so in Blender's words."""
    try:
        return getattr(case.bpy.ops.cuspwise, name)(*args, **options)
    except RuntimeError as error:
        if OF_LINES.search(str(error).rpartition("RuntimeError: ")[2]):
            pytest.fail(f"not in Blender's words: {error}")
        raise


def our_modules(folder: str) -> list[Any]:
    """The modules of the extension that are loaded."""
    return [m for name, m in sys.modules.items() if f".cuspwise.{folder}" in name]

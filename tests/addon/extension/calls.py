"""How the tests call an operator of the extension."""

from __future__ import annotations

import sys
from types import SimpleNamespace
from typing import Any


def call(case: SimpleNamespace, name: str, *args: Any, **options: Any) -> Any:
    """Call ``bpy.ops.cuspwise.NAME``."""
    return getattr(case.bpy.ops.cuspwise, name)(*args, **options)


def our_modules(folder: str) -> list[Any]:
    """The modules of the extension that are loaded."""
    return [m for name, m in sys.modules.items() if f".cuspwise.{folder}" in name]

"""How the tests call an operator of the extension."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any


def call(case: SimpleNamespace, name: str, *args: Any, **options: Any) -> Any:
    """Call ``bpy.ops.cuspwise.NAME``."""
    return getattr(case.bpy.ops.cuspwise, name)(*args, **options)

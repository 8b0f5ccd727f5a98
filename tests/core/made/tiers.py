"""Cases of a test that only the slow tier tries."""

from __future__ import annotations

from typing import Any

import pytest


def slow(*values: Any, id: str | None = None) -> Any:
    """A case that the README's command leaves out: the quick ones stand beside it."""
    return pytest.param(*values, marks=pytest.mark.slow, id=id)

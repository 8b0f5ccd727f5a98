"""The versions of Cuspwise and of what it computes with."""

from __future__ import annotations

import platform

import numpy as np

from .version import VERSION


def versions_used() -> dict[str, str]:
    """Return the versions, by name."""
    import scipy

    return {
        "cuspwise": VERSION,
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "python": platform.python_version(),
    }

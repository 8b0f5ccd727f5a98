"""The tests that try many cases of a kind, with 200 of each: for false alarms, above all."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

COUNT = 200
TESTS = ("test_verdict_alarms", "test_mesh_double_layer", "test_mesh_intersections")


def run(count: int = COUNT) -> int:
    """Run them and return pytest's exit code, 0 if all pass."""
    root = Path(__file__).parents[2]
    files = [str(root / "tests" / "core" / f"{name}.py") for name in TESTS]
    environment = {**os.environ, "CUSPWISE_CASES": str(count)}
    command = [sys.executable, "-m", "pytest", "-o", "timeout=3600", *files]
    return subprocess.run(command, cwd=root, env=environment, check=False).returncode

"""The benchmarks' peers: what is said where one cannot be loaded."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"
MISSING = "libusb-1.0.so.0: cannot open shared object file: No such file or directory"


def test_a_peer_without_its_system_library_is_answered_with_what_to_install(
    tmp_path: Path,
) -> None:
    """Before anything is measured, and without a traceback."""
    (tmp_path / "open3d.py").write_text(f"raise ImportError({MISSING!r})\n")
    done = subprocess.run(
        [sys.executable, str(BENCHMARKS), "--short"],
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert done.stdout == ""
    assert done.stderr.splitlines() == [
        f"open3d is installed but cannot be loaded: {MISSING}",
        "Install its system libraries (Debian, Ubuntu): apt-get install"
        " libusb-1.0-0 libudev1 libidn2-0 libgl1 libegl1 libx11-6 libgomp1",
    ]

"""Check the types of core and add-on, both by mypy's strict rules: ``python tools/check_types.py``.

The add-on imports the core by going up a folder, so mypy must see the checkout as the package
``cuspwise``, whatever the checkout is called: a link in ``build/types`` gives it that name. What
Blender offers is known from stubs of its Python interface, which the extra ``lint`` installs.
"""

from __future__ import annotations

import importlib.metadata
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
STUBS = "fake-bpy-module-4.5"
PACKAGES = ("cuspwise.standalone_core", "cuspwise.addon")


def main() -> int:
    """Run mypy; return its exit code."""
    for needed in ("mypy", STUBS):
        try:
            importlib.metadata.version(needed)
        except importlib.metadata.PackageNotFoundError:
            print(f"{needed} is not installed. Run: pip install -e '.[lint]'", file=sys.stderr)
            return 2
    folder = ROOT / "build" / "types"
    folder.mkdir(parents=True, exist_ok=True)
    link = folder / "cuspwise"
    if link.resolve() != ROOT:
        link.unlink(missing_ok=True)
        link.symlink_to(ROOT, target_is_directory=True)
    command = [sys.executable, "-m", "mypy", "--config-file", str(ROOT / "pyproject.toml")]
    command += ["--cache-dir", str(ROOT / ".mypy_cache")]
    for package in PACKAGES:
        command += ["-p", package]
    return subprocess.run(command, cwd=folder, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())

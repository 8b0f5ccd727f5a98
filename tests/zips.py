"""The extension's zip for a Python: given by ``CUSPWISE_ZIP``, or built."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
HERE = {"linux": "linux-x64", "win32": "windows-x64", "darwin": "macos-arm64"}


def python_here() -> str:
    """The Python that runs this, as the zips name it."""
    return f"{sys.version_info.major}.{sys.version_info.minor}"


def zip_for(python: str, factory: pytest.TempPathFactory) -> Path:
    """The zip for a Python among those that ``CUSPWISE_ZIP`` names (files, or folders of them).

    Built where it names none at all.
    """
    given = os.environ.get("CUSPWISE_ZIP", "")
    if not given:
        return build(python, factory.mktemp("zip"))
    named = [Path(one) for one in given.split(os.pathsep)]
    zips = [z for one in named for z in (sorted(one.glob("*.zip")) if one.is_dir() else [one])]
    for one in zips:
        if _python_of(one) == python:
            return one
    raise FileNotFoundError(f"CUSPWISE_ZIP names no zip for Python {python}: {given}")


def build(python: str, out: Path) -> Path:
    """Build this machine's zip for a Python."""
    command = [sys.executable, str(ROOT / "tools" / "build_extension.py"), "--out", str(out)]
    command += ["--platform", HERE[sys.platform], "--python", python]
    subprocess.run(command, check=True)
    return next(out.glob("*.zip"))


def _python_of(file: Path) -> str:
    with zipfile.ZipFile(file) as archive:
        found: str = json.loads(archive.read("zips.json"))["python"]
    return found

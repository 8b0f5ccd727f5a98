"""Blender's own packer, where there is one: what it makes must be what we made."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

from extension_archive import BuildError


def find_packer(blender: str | None) -> list[str] | None:
    """Return the command line of Blender's packer: of the named one or, if there is one, of bpy."""
    if blender is not None:
        program = shutil.which(blender)
        if program is None:
            raise BuildError(
                f"{blender}: there is no such program. Give the path of Blender's program file to "
                "--blender, or leave it out: the zips are built without Blender, too."
            )
        return [program, "--factory-startup", "--command", "extension"]
    found = importlib.util.find_spec("bpy")
    for place in (found.submodule_search_locations or ()) if found else ():
        for script in Path(place).glob("*/scripts/addons_core/bl_pkg/cli/blender_ext.py"):
            return [sys.executable, str(script)]
    return None


def compare(packer: list[str], folder: Path, made: Path) -> None:
    """Let Blender's packer pack the same folder and check ours; refuse if it sees a difference."""
    with tempfile.TemporaryDirectory() as temporary:
        other = Path(temporary) / "other.zip"
        _run([*packer, "build", "--source-dir", str(folder), "--output-filepath", str(other)])
        _run([*packer, "validate", str(made)])
        if not other.is_file():
            raise BuildError(f"{packer[0]} packed nothing: is it Blender 4.2 or later?")
        differing = sorted({name for name, _ in contents_of(made) ^ contents_of(other)})
    if differing:
        raise BuildError(f"{made} is not what Blender's packer makes: {', '.join(differing)}.")


def contents_of(archive: Path) -> set[tuple[str, bytes]]:
    """Return names and contents of an archive."""
    with zipfile.ZipFile(archive) as opened:
        return {(name, opened.read(name)) for name in opened.namelist()}


def _run(command: list[str]) -> None:
    try:
        ran = subprocess.run(command, capture_output=True, text=True, check=False)
    except OSError as problem:
        raise BuildError(f"{command[0]} does not run: {problem.strerror}.") from problem
    if ran.returncode:
        lines = [line for line in (ran.stdout + ran.stderr).splitlines() if line.strip()]
        said = lines[-1].strip() if lines else f"exit code {ran.returncode}"
        raise BuildError(f"Blender's packer ({command[0]}) refuses: {said}")

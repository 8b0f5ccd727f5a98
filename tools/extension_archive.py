"""Pack a folder as Blender's packer does, with any Python, and the same on every run."""

from __future__ import annotations

import os
import tomllib
import zipfile
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from extension_manifest import problems_of

MANIFEST = "blender_manifest.toml"
LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the earliest date that an archive can hold
READABLE = 0o100644 << 16


class BuildError(Exception):
    """Why no zip was made, and what to do."""


def pack(folder: Path, target: Path) -> None:
    """Write a folder with a manifest as an archive, if all rules of manifests are kept."""
    try:
        manifest = tomllib.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except ValueError as problem:
        raise BuildError(f"{folder / MANIFEST}: it cannot be read: {problem}") from problem
    names = names_in(folder, manifest)
    problems = problems_of(manifest, names)
    if problems:
        raise BuildError("\n".join(f"{MANIFEST}: {problem}" for problem in problems))
    beside = target.with_name(f".{target.name}")
    try:
        with zipfile.ZipFile(beside, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
            for name in names:
                entry = zipfile.ZipInfo(name, LONG_AGO)
                entry.external_attr, entry.create_system = READABLE, 3
                packed = name.endswith(".whl")  # which compressing would not make smaller
                entry.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
                archive.writestr(entry, (folder / name).read_bytes())
        beside.replace(target)
    finally:
        beside.unlink(missing_ok=True)


def names_in(folder: Path, manifest: dict[str, Any]) -> list[str]:
    """Return what belongs in the archive: all files but those that the manifest excludes.

    The manifest and its wheels belong there whatever is excluded.
    """
    patterns = manifest.get("build", {}).get("paths_exclude_pattern", [])
    found = {MANIFEST}
    listed = (name.removeprefix("./") for name in manifest.get("wheels", []))
    found.update(name for name in listed if (folder / name).is_file())
    for place, folders, files in os.walk(folder):
        inside = Path(place).relative_to(folder)
        folders[:] = [
            name for name in folders if not is_excluded(inside / name, patterns, folder=True)
        ]
        found.update(
            (inside / name).as_posix() for name in files if not is_excluded(inside / name, patterns)
        )
    return sorted(found)


def is_excluded(path: Path, patterns: list[str], *, folder: bool = False) -> bool:
    """Return whether a pattern of the manifest excludes a path, by the rules of ``.gitignore``.

    Parts above the path are asked first; ``!`` and ``**`` are not among what we use.
    """
    for pattern in patterns:
        if pattern.startswith("!") or "**" in pattern:
            raise BuildError(f'{MANIFEST}: the pattern "{pattern}" is not understood here.')
        parts = pattern.strip("/").split("/")
        tail = path.parts if pattern.startswith("/") else path.parts[-len(parts) :]
        asked = folder or not pattern.endswith("/")
        if asked and len(tail) == len(parts) and all(map(fnmatchcase, tail, parts)):
            return True
    return False

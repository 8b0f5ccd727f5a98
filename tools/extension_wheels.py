"""Which wheels each zip of the extension holds, and how they are fetched."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from extension_archive import BuildError


@dataclass(frozen=True)
class Target:
    """The Blenders with one Python: their versions in a zip's name, and their compiled wheels."""

    blenders: str
    compiled: tuple[str, ...]


_SAME = ("lxml==5.4.0", "markupsafe==3.0.2", "kiwisolver==1.5.1", "pillow==13.0.0")
PYTHONS = {
    # Those of blender.org bring numpy 1.24 to 1.26; newer scipy and matplotlib ask for more.
    "3.11": Target("4.2-to-5.0", (*_SAME, "scipy==1.15.3", "matplotlib==3.10.9")),
    # numpy 2.2 and later; older scipy warns of numpy 2.5. Distributions pair this Python with
    # older Blenders, too.
    "3.13": Target("5.1-or-later", (*_SAME, "scipy==1.17.1", "matplotlib==3.11.2")),
}
# trimesh reads 3MF with lxml and networkx, openpyxl writes with lxml. What matplotlib and openpyxl
# ask for beyond this (contours, time zones, XML without lxml) is never loaded here.
PURE = (
    "trimesh==4.6.8",
    "networkx==3.4.2",
    "jinja2==3.1.6",
    "openpyxl==3.1.5",
    "cycler==0.12.1",
    "fonttools==4.68.0",
    "packaging==26.4",
    "pyparsing==3.3.3",
    "python-dateutil==4.0.0",
)
_LINUX = ("2_28_x86_64", "2_27_x86_64", "2_17_x86_64", "2014_x86_64")
PLATFORMS = {
    "linux-x64": tuple(f"manylinux{'' if tag[:4] == '2014' else '_'}{tag}" for tag in _LINUX),
    "windows-x64": ("win_amd64",),
    "macos-arm64": ("macosx_12_0_arm64", "macosx_11_0_arm64"),
    "macos-x64": tuple(f"macosx_10_{minor}_x86_64" for minor in (15, 14, 13, 12, 10, 9)),
}


def wheels_for(platform: str, python: str, folder: Path) -> list[Path]:
    """Return a zip's wheels, each once; fetch those that are not in the folder yet."""
    compiled = _all_of(
        PYTHONS[python].compiled,
        folder / f"{platform}-py{python}",
        ["--python-version", python, *_options("--platform", PLATFORMS[platform])],
    )
    # Made for the oldest Python, they run on all.
    pure = _all_of(PURE, folder / "any", ["--python-version", min(PYTHONS), "--platform", "any"])
    return sorted([*compiled, *pure], key=lambda wheel: wheel.name.lower())


def _options(name: str, values: tuple[str, ...]) -> list[str]:
    return [part for value in values for part in (name, value)]


def _all_of(requirements: tuple[str, ...], folder: Path, target: list[str]) -> list[Path]:
    missing = [one for one in requirements if _found(one, folder) is None]
    if missing:
        _download(missing, folder, target)
    wheels = [_found(one, folder) for one in requirements]
    return [wheel for wheel in wheels if wheel is not None]


def _found(requirement: str, folder: Path) -> Path | None:
    """Return the wheel of the very version asked for."""
    wanted = [_plain(part) for part in requirement.split("==")]
    for wheel in sorted(folder.glob("*.whl")):
        if [_plain(part) for part in wheel.name.split("-")[:2]] == wanted:
            return wheel
    return None


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "_", name).lower()


def _download(requirements: list[str], folder: Path, target: list[str]) -> None:
    command = [sys.executable, "-m", "pip", "download", "--disable-pip-version-check", "--quiet"]
    command += ["--no-deps", "--only-binary=:all:", "--dest", str(folder), *target, *requirements]
    ran = subprocess.run(command, capture_output=True, text=True, check=False)
    lost = [one for one in requirements if _found(one, folder) is None]
    if ran.returncode or lost:
        lines = [line for line in ran.stderr.splitlines() if line.strip()] or ["pip says nothing"]
        said = next((line for line in reversed(lines) if line.startswith("ERROR")), lines[-1])
        raise BuildError(
            f"The wheels {', '.join(lost or requirements)} could not be fetched ({said.strip()}). "
            f"Connect this machine to the network, or put them into {folder}."
        )

"""Build the Blender extension: one zip per platform and Python, with the wheels Blender lacks.

``python tools/build_extension.py`` builds all of them with any Python from 3.11 that has pip, which
fetches the wheels (once; they stay in ``build/wheels``). The zips are the same, byte for byte, on
every run. Where Blender's own packer is at hand, in the Python that runs this (bpy) or in the
program given by ``--blender``, each zip must also be what that packer makes of the same folder.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
import tomllib
from pathlib import Path

from extension_archive import BuildError, pack
from extension_packer import compare, find_packer
from extension_wheels import PLATFORMS, PYTHONS, wheels_for

ROOT = Path(__file__).resolve().parents[1]
MANIFEST = "blender_manifest.toml"
SOURCES = (
    "__init__.py",
    "__init__.pyi",
    MANIFEST,
    "LICENSE",
    "addon",
    "standalone_core",
)
ZIPS = "zips.json"  # in a zip: which Python it is for, and the names of the others; see wrong_zip
MAX_BYTES = 80_000_000  # what a user is to fetch, at most


def main(arguments: list[str] | None = None) -> int:
    """Build what the arguments ask for; return the exit code."""
    chosen = _parser().parse_args(arguments)
    try:
        packer = find_packer(chosen.blender)
        chosen.out.mkdir(parents=True, exist_ok=True)
        for platform in chosen.platform or PLATFORMS:
            for python in chosen.python or PYTHONS:
                wheels = wheels_for(platform, python, chosen.wheels)
                built = build(platform, python, wheels, packer, chosen.out)
                print(f"{built}  {built.stat().st_size / 1e6:.1f} MB", flush=True)
    except (BuildError, OSError) as problem:
        print(problem, file=sys.stderr)
        return 1
    return 0


def build(
    platform: str, python: str, wheels: list[Path], packer: list[str] | None, out: Path
) -> Path:
    """Lay out and pack one platform's zip for one Python; return it."""
    target = out / zip_name(platform, python)
    with tempfile.TemporaryDirectory() as temporary:
        stage = Path(temporary)
        lay_out(stage, platform, python, wheels)
        pack(stage, target)
        if packer is not None:
            compare(packer, stage, target)
    if target.stat().st_size > MAX_BYTES:
        raise BuildError(f"{target} has more than {MAX_BYTES / 1e6:.0f} MB: leave out a wheel.")
    return target


def lay_out(stage: Path, platform: str, python: str, wheels: list[Path]) -> None:
    """Fill the folder that is packed: sources, wheels, and the manifest that names them."""
    (stage / "wheels").mkdir()
    for name in SOURCES:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, stage / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy2(source, stage / name)
    for wheel in wheels:
        shutil.copy2(wheel, stage / "wheels")
    zips = {"python": python, "zips": {one: zip_name(platform, one) for one in PYTHONS}}
    (stage / ZIPS).write_text(json.dumps(zips, indent=1) + "\n", encoding="utf-8")
    _complete_manifest(stage / MANIFEST, platform, wheels)


def zip_name(platform: str, python: str) -> str:
    """Name a zip by what its users know: their Blender and their machine."""
    content = tomllib.loads((ROOT / MANIFEST).read_text(encoding="utf-8"))
    blenders = PYTHONS[python].blenders
    return f"{content['id']}-{content['version']}-blender-{blenders}-{platform}.zip"


def _complete_manifest(path: Path, platform: str, wheels: list[Path]) -> None:
    """Name platform and wheels, which the manifest in the repository leaves open."""
    listed = "".join(f'  "./wheels/{wheel.name}",\n' for wheel in wheels)
    added = f'platforms = ["{platform}"]\nwheels = [\n{listed}]\n\n'
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[permissions]", f"{added}[permissions]", 1), encoding="utf-8")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--platform", action="append", choices=PLATFORMS, help="default: all")
    parser.add_argument("--python", action="append", choices=PYTHONS, help="default: all")
    parser.add_argument("--out", type=Path, default=ROOT / "dist", help="where the zips go")
    parser.add_argument("--wheels", type=Path, default=ROOT / "build" / "wheels")
    parser.add_argument("--blender", help="Blender program whose packer must agree")
    return parser


if __name__ == "__main__":
    sys.exit(main())

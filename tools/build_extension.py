"""Build the Blender extension: one zip per platform, with the wheels that Blender lacks.

``python tools/build_extension.py`` fetches the wheels with pip (once; they stay in
``build/wheels``), lays sources and manifest into a folder of their own, and calls Blender's own
packer. The packer is found in Blender's Python module (bpy) of the Python that runs this, or in
the program given by ``--blender``.
"""

from __future__ import annotations

import argparse
import importlib.util
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SOURCES = (
    "__init__.py",
    "__init__.pyi",
    "blender_manifest.toml",
    "LICENSE",
    "addon",
    "standalone_core",
)

# Blender 4.2 to 5.0 have Python 3.11, later ones 3.13.
PYTHONS = ("3.11", "3.13")
# scipy 1.15.3 runs on every numpy from 1.24 (Blender 4.2) to 2.4.
COMPILED = ("scipy==1.15.3", "lxml==5.4.0", "markupsafe==3.0.2")
PURE = ("trimesh==4.6.8", "networkx==3.4.2", "jinja2==3.1.6")
PLATFORMS = {
    "linux-x64": ("manylinux2014_x86_64", "manylinux_2_17_x86_64"),
    "windows-x64": ("win_amd64",),
    "macos-arm64": ("macosx_12_0_arm64", "macosx_11_0_arm64"),
    "macos-x64": ("macosx_10_14_x86_64", "macosx_10_13_x86_64", "macosx_10_9_x86_64"),
}


def main(arguments: list[str] | None = None) -> int:
    """Build what the arguments ask for; return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--platform", action="append", choices=PLATFORMS, help="default: all")
    parser.add_argument("--python", action="append", choices=PYTHONS, help="default: all")
    parser.add_argument("--out", type=Path, default=ROOT / "dist")
    parser.add_argument("--wheels", type=Path, default=ROOT / "build" / "wheels")
    parser.add_argument("--blender", help="Blender program whose packer to use")
    chosen = parser.parse_args(arguments)
    packer = _packer(chosen.blender)
    chosen.out.mkdir(parents=True, exist_ok=True)
    for platform in chosen.platform or PLATFORMS:
        wheels = fetch_wheels(platform, chosen.python or list(PYTHONS), chosen.wheels)
        print(build(platform, wheels, packer, chosen.out))
    return 0


def fetch_wheels(platform: str, pythons: list[str], folder: Path) -> list[Path]:
    """Fetch the wheels for a platform that are not in the folder yet; return all it needs."""
    asked = [(f"pure-{PYTHONS[0]}", PURE, PYTHONS[0], ())]
    asked += [(f"{platform}-{p}", COMPILED, p, PLATFORMS[platform]) for p in pythons]
    found: list[Path] = []
    for name, requirements, python, tags in asked:
        target = folder / name
        if len(_wheels_for(target, requirements)) < len(requirements):
            _download(target, requirements, python, tags)
        found += _wheels_for(target, requirements)
    return found


def build(platform: str, wheels: list[Path], packer: list[str], out: Path) -> Path:
    """Lay out and pack one platform; return the zip."""
    stage = ROOT / "build" / "extension" / platform
    shutil.rmtree(stage, ignore_errors=True)
    stage.mkdir(parents=True)
    for name in SOURCES:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, stage / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy2(source, stage / name)
    (stage / "wheels").mkdir()
    for wheel in wheels:
        shutil.copy2(wheel, stage / "wheels")
    _complete_manifest(stage / "blender_manifest.toml", platform, wheels)
    target = out / f"{_stem(stage / 'blender_manifest.toml')}-{platform}.zip"
    command = [*packer, "build", "--source-dir", str(stage), "--output-filepath", str(target)]
    subprocess.run(command, check=True, stdout=subprocess.PIPE)
    subprocess.run([*packer, "validate", str(target)], check=True, stdout=subprocess.PIPE)
    shutil.rmtree(stage)
    return target


def _packer(blender: str | None) -> list[str]:
    """Return the command line of Blender's packer."""
    if blender:
        return [blender, "--factory-startup", "--command", "extension"]
    found = importlib.util.find_spec("bpy")
    places = list(found.submodule_search_locations or ()) if found else []
    for place in places:
        for script in Path(place).glob("*/scripts/addons_core/bl_pkg/cli/blender_ext.py"):
            return [sys.executable, str(script)]
    raise SystemExit("No packer: run this with a Python that has bpy, or give --blender PROGRAM.")


def _download(
    target: Path, requirements: tuple[str, ...], python: str, tags: tuple[str, ...]
) -> None:
    shutil.rmtree(target, ignore_errors=True)
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps"]
    command += ["--only-binary=:all:", "--python-version", python, "--dest", str(target)]
    for tag in tags:
        command += ["--platform", tag]
    subprocess.run([*command, *requirements], check=True)


def _wheels_for(folder: Path, requirements: tuple[str, ...]) -> list[Path]:
    """Return the wheels of the very versions asked for."""
    stems = [requirement.replace("==", "-").lower() + "-" for requirement in requirements]
    return [
        wheel
        for wheel in sorted(folder.glob("*.whl"))
        if any(wheel.name.lower().startswith(stem) for stem in stems)
    ]


def _complete_manifest(path: Path, platform: str, wheels: list[Path]) -> None:
    """Name platform and wheels, which the manifest in the repository leaves open."""
    listed = "".join(f'  "./wheels/{wheel.name}",\n' for wheel in wheels)
    added = f'platforms = ["{platform}"]\nwheels = [\n{listed}]\n\n'
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[permissions]", f"{added}[permissions]", 1), encoding="utf-8")


def _stem(manifest: Path) -> str:
    import tomllib

    content = tomllib.loads(manifest.read_text(encoding="utf-8"))
    return f"{content['id']}-{content['version']}"


if __name__ == "__main__":
    sys.exit(main())

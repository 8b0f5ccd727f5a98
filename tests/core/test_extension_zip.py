"""The builder of the extension's zips: manifest, archive, wheels, what it says if it fails."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path
from typing import Any

import build_extension
import pytest
from cuspwise.addon.wrong_zip import refuse_wrong_zip
from extension_archive import BuildError, is_excluded, pack
from extension_manifest import problems_of
from extension_packer import compare, contents_of
from extension_wheels import PLATFORMS, PURE, PYTHONS, wheels_for

ROOT = Path(__file__).resolve().parents[2]
MANIFEST = tomllib.loads((ROOT / "blender_manifest.toml").read_text(encoding="utf-8"))
WHEEL = "./wheels/a-1.0-py3-none-any.whl"
(LICENCE,) = (key for key in MANIFEST if key.startswith("licen"))
NAMES = ("__init__.py", "blender_manifest.toml")
HERE = f"{sys.version_info.major}.{sys.version_info.minor}"
TAGS = {
    "linux-x64": "manylinux_2_17_x86_64",
    "windows-x64": "win_amd64",
    "macos-arm64": "macosx_11_0_arm64",
    "macos-x64": "macosx_10_13_x86_64",
}


@pytest.fixture
def wheels(tmp_path: Path) -> Path:
    """A folder with every wheel that is asked for, and none of them a real one."""
    for platform in PLATFORMS:
        for python, target in PYTHONS.items():
            tag = f"cp{python.replace('.', '')}"
            for one in target.compiled:
                make(tmp_path / f"{platform}-py{python}", one, f"{tag}-{tag}-{TAGS[platform]}")
    for one in PURE:
        make(tmp_path / "any", one, "py3-none-any")
    return tmp_path


def make(folder: Path, requirement: str, tags: str) -> None:
    folder.mkdir(exist_ok=True)
    name, version = requirement.split("==")
    (folder / f"{name.replace('-', '_')}-{version}-{tags}.whl").write_bytes(name.encode())


def built(wheels: Path, out: Path, platform: str, python: str) -> Path:
    out.mkdir(exist_ok=True)
    return build_extension.build(platform, python, wheels_for(platform, python, wheels), None, out)


def test_the_manifest_keeps_the_rules() -> None:
    assert problems_of(MANIFEST, NAMES) == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"tagline": "x" * 65}, "tagline: it has 65 letters; 64 are allowed."),
        ({"tagline": "Ends with a stop."}, "tagline: it must not end with a mark of punctuation."),
        ({"id": "cusp-wise"}, "id: something like my_extension is expected."),
        ({"id": "_cuspwise"}, "id: something like my_extension is expected."),
        ({"version": "0.1"}, "version: something like 1.2.3 is expected."),
        ({LICENCE: []}, f"{LICENCE}: a list that is not empty is expected."),
        ({LICENCE: ["GPL"]}, f"{LICENCE}: GPL: something like SPDX:GPL-3.0-or-later is expected."),
        ({"permissions": {"disk": "Read"}}, "permissions: disk: one of files, network, "),
        ({"permissions": {"files": "Read."}}, "permissions: files: it must not end with a mark"),
        ({"platforms": ["amiga"]}, "platforms: amiga: one of windows-x64, "),
        ({"blender_version_min": "2.93.0"}, "blender_version_min: extensions begin with "),
        ({"blender_version_min": "4.2"}, "blender_version_min: something like 4.2.0 is expected."),
        ({"type": "addon"}, "type: one of add-on, theme is expected."),
        ({"wheels": [WHEEL]}, "wheels: wheels/a-1.0-py3-none-any.whl is not there."),
        ({"wheels": ["./wheels/a.whl"]}, "wheels: ./wheels/a.whl: the name of a wheel is expected"),
        ({"tags": ["Mesh", "Mesh"]}, "tags: it lists something twice."),
        ({"tagilne": "A"}, "tagilne: there is no such key."),
        ({"build": {"generated": {}}}, "build: generated: not used here."),
        ({"name": " A"}, "name: no blanks at its ends"),
    ],
)
def test_each_rule_of_the_manifest(change: dict[str, Any], said: str) -> None:
    (problem,) = problems_of({**MANIFEST, **change}, NAMES)
    assert problem.startswith(said)


@pytest.mark.parametrize(
    "key", ["schema_version", "id", "version", "name", "tagline", "maintainer", "type", LICENCE]
)
def test_keys_that_must_be_there(key: str) -> None:
    rest = {name: value for name, value in MANIFEST.items() if name != key}
    assert problems_of(rest, NAMES) == [f"{key} is missing."]


def test_what_the_archive_lacks_or_holds_unnamed() -> None:
    assert problems_of(MANIFEST, ["a"]) == ["__init__.py is missing beside it."]
    unnamed = problems_of(MANIFEST, [*NAMES, WHEEL.removeprefix("./")])
    assert unnamed == ["wheels: wheels/a-1.0-py3-none-any.whl is not listed."]


@pytest.mark.parametrize(
    ("path", "folder", "excluded"),
    [
        ("tests", True, True),
        ("addon/tests", True, False),
        ("tests", False, False),
        ("addon/__pycache__", True, True),
        (".hidden", False, True),
        ("addon/.hidden", False, False),
        ("cuspwise.egg-info", True, True),
        ("addon/__init__.py", False, False),
    ],
)
def test_patterns_of_what_stays_out(path: str, folder: bool, excluded: bool) -> None:
    patterns = MANIFEST["build"]["paths_exclude_pattern"]
    assert is_excluded(Path(path), patterns, folder=folder) == excluded


def test_a_pattern_that_is_not_understood_is_refused() -> None:
    with pytest.raises(BuildError, match=r"!keep"):
        is_excluded(Path("a"), ["!keep"])


@pytest.mark.parametrize("python", PYTHONS)
@pytest.mark.parametrize("platform", PLATFORMS)
def test_every_zip_holds_its_own_wheels_once(
    platform: str, python: str, wheels: Path, tmp_path: Path
) -> None:
    file = built(wheels, tmp_path / "out", platform, python)
    blenders = {"3.11": "4.2-to-5.0", "3.13": "5.1-or-later"}[python]
    assert file.name == f"cuspwise-{MANIFEST['version']}-blender-{blenders}-{platform}.zip"
    with zipfile.ZipFile(file) as archive:
        names = archive.namelist()
        manifest = tomllib.loads(archive.read("blender_manifest.toml").decode())
    held = [name for name in names if name.endswith(".whl")]
    assert sorted(manifest["wheels"]) == sorted(f"./{name}" for name in held)
    assert manifest["platforms"] == [platform]
    assert manifest["blender_version_min"] == "4.2.0"
    assert len([name for name in held if "/scipy-" in name]) == 1
    assert len(held) == len(PYTHONS[python].compiled) + len(PURE)
    foreign = [p.replace(".", "") for p in PYTHONS if p != python]
    assert not [name for name in held for tag in foreign if f"cp{tag}" in name]
    assert {name.split("/")[0] for name in names} == {
        *build_extension.SOURCES,
        "wheels",
        "zips.json",
    }
    assert not [name for name in names if "__pycache__" in name or name.startswith("tests")]


def test_the_same_bytes_twice(wheels: Path, tmp_path: Path) -> None:
    first = built(wheels, tmp_path / "a", "linux-x64", "3.11")
    second = built(wheels, tmp_path / "b", "linux-x64", "3.11")
    assert first.read_bytes() == second.read_bytes()


def test_a_zip_that_is_too_large_is_refused(
    wheels: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(build_extension, "MAX_BYTES", 1000)
    with pytest.raises(BuildError, match="leave out a wheel"):
        built(wheels, tmp_path / "out", "linux-x64", "3.11")


def test_nothing_is_left_of_an_archive_that_breaks_a_rule(tmp_path: Path) -> None:
    (tmp_path / "blender_manifest.toml").write_text('id = "a"\n', encoding="utf-8")
    with pytest.raises(BuildError, match="tagline is missing"):
        pack(tmp_path, tmp_path / "made.zip")
    assert [path.name for path in tmp_path.iterdir()] == ["blender_manifest.toml"]


def test_a_difference_from_blenders_packer_is_refused(tmp_path: Path) -> None:
    """A stand-in for the packer, which leaves a file out of what it packs."""
    packer = tmp_path / "packer.py"
    packer.write_text(
        "import sys, zipfile\n"
        "if sys.argv[1] == 'build':\n"
        "    zipfile.ZipFile(sys.argv[5], 'w').writestr('a', 'A')\n",
        encoding="utf-8",
    )
    made = tmp_path / "made.zip"
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr("a", "A")
    compare([sys.executable, str(packer)], tmp_path, made)
    with zipfile.ZipFile(made, "a") as archive:
        archive.writestr("b", "B")
    assert contents_of(made) == {("a", b"A"), ("b", b"B")}
    with pytest.raises(BuildError, match=r"is not what Blender's packer makes: b\."):
        compare([sys.executable, str(packer)], tmp_path, made)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--blender", "no/such/blender"], "no/such/blender: there is no such program. Give the"),
        (["--blender", "false"], "Blender's packer ("),
        (["--blender", "true"], "packed nothing: is it Blender 4.2 or later?"),
        (["--platform", "amiga"], "argument --platform: invalid choice: 'amiga'"),
        (["--wheels", "{empty}"], "could not be fetched (ERROR: "),
    ],
)
def test_what_cannot_be_built_is_said_in_one_message(
    arguments: list[str], said: str, wheels: Path, tmp_path: Path
) -> None:
    """In a process of its own, with no index of packages."""
    tool = ROOT / "tools" / "build_extension.py"
    given = [one.format(empty=tmp_path / "empty") for one in arguments]
    command = [sys.executable, tool, "--wheels", wheels, "--out", tmp_path / "out"]
    ran = subprocess.run(
        [*command, "--python", "3.11", "--platform", "linux-x64", *given],
        env={"PIP_NO_INDEX": "1", "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode in (1, 2)
    assert said in ran.stderr
    assert "Traceback" not in ran.stderr
    assert ran.stdout == ""


def listed(folder: Path, python: str, zips: dict[str, str]) -> Path:
    file = folder / "zips.json"
    file.write_text(json.dumps({"python": python, "zips": zips}), encoding="utf-8")
    return file


def test_the_zip_of_another_python_names_the_right_one(tmp_path: Path) -> None:
    zips = {"2.7": "for-old.zip", HERE: "for-this.zip"}
    refuse_wrong_zip(tmp_path / "absent.json")
    refuse_wrong_zip(listed(tmp_path, HERE, zips))
    with pytest.raises(
        ImportError, match=r"^Add-on not started: this is the zip .* Python 2\.7,"
    ) as found:
        refuse_wrong_zip(listed(tmp_path, "2.7", zips))
    assert "Install for-this.zip instead" in str(found.value)
    with pytest.raises(ImportError, match=r"It runs with Python 2\.7, which official"):
        refuse_wrong_zip(listed(tmp_path, "2.7", {"2.7": "for-old.zip"}))

"""The wheel, outside the checkout: whole, it runs there, and is typed for those who use it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
NEEDED = ("pyproject.toml", "README.md", "LICENSE", "__init__.py", "__init__.pyi", "py.typed")
pytestmark = pytest.mark.slow

RUN_EXAMPLES = """
import doctest, cuspwise
finder, runner = doctest.DocTestFinder(recurse=False), doctest.DocTestRunner()
loaded = [getattr(cuspwise, name) for name in cuspwise.__all__]
for name in ("check", "write_check", "write_study"):
    for example in finder.find(getattr(cuspwise, name), name, globs={}):
        runner.run(example)
print(cuspwise.__file__, len(loaded), runner.tries, runner.failures)
"""

SCRIPT = """\
import cuspwise
result = cuspwise.check("design.stl", "scan.stl", cuspwise.CheckSettings(spacing_mm=0.2))
reveal_type(result)
reveal_type(result.measures_of("margin").mean_abs_um)
reveal_type(cuspwise.crowns_needed(3.2, difference_um=5).n)
cuspwise.check("design.stl")
cuspwise.chekc("design.stl", "scan.stl")
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built from a copy, so that nothing is left in the checkout."""
    source, out = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("wheel")
    for name in NEEDED:
        shutil.copy2(ROOT / name, source)
    for name in ("addon", "standalone_core", "examples", "docs"):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q"]
    subprocess.run([*pip, "wheel", "--no-deps", "-w", out, source], check=True)
    (wheel,) = out.glob("cuspwise-*.whl")
    return wheel


@pytest.fixture(scope="module")
def site(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the wheel's content alone; the libraries it needs are those of this Python."""
    site = tmp_path_factory.mktemp("site")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(site)
    return site


def outside(site: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run this Python in a folder where cuspwise is the wheel's."""
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(site)},
        capture_output=True,
        text=True,
        check=False,
    )


def test_every_file_of_the_package_is_in_the_wheel(wheel: Path) -> None:
    """And nothing else: no tests, no tools, no examples."""
    folders = (ROOT / "addon", ROOT / "standalone_core")
    files = [file for folder in folders for file in folder.rglob("*") if file.is_file()]
    expected = {f"cuspwise/{file.relative_to(ROOT).as_posix()}" for file in files}
    expected = {name for name in expected if "__pycache__" not in name}
    expected |= {f"cuspwise/{name}" for name in ("__init__.py", "__init__.pyi", "py.typed")}
    with zipfile.ZipFile(wheel) as archive:
        held = {name for name in archive.namelist() if ".dist-info/" not in name}
    assert held == expected


def test_it_loads_measures_and_writes_there(site: Path, tmp_path: Path) -> None:
    """All public names load; of the examples, which all run in the checkout, those of pages do."""
    found = outside(site, tmp_path, "-c", RUN_EXAMPLES)
    assert found.returncode == 0, found.stderr
    file, loaded, tries, failures = found.stdout.split()[-4:]
    assert Path(file).is_relative_to(site)
    assert int(loaded) > 50
    assert int(tries) > 10
    assert int(failures) == 0, found.stdout


def test_the_command_line_is_there(site: Path, tmp_path: Path) -> None:
    found = outside(site, tmp_path, "-m", "cuspwise.standalone_core", "--help")
    assert "How far is a produced dental crown from its design" in found.stdout


def test_a_users_script_is_checked_by_the_packages_own_types(site: Path, tmp_path: Path) -> None:
    (tmp_path / "script.py").write_text(SCRIPT, encoding="utf-8")
    found = outside(site, tmp_path, "-m", "mypy", "--strict", "--no-color-output", "script.py")
    told = [line.split(": ", 2) for line in found.stdout.splitlines()[:-1]]
    kinds = [text.split('"')[1] for _, kind, text in told if kind == "note"]
    assert kinds == ["cuspwise.standalone_core.check_result.CheckResult", "float", "int"]
    errors = [(place, text) for place, kind, text in told if kind == "error"]
    assert [place for place, _ in errors] == ["script.py:6", "script.py:7"]
    assert 'Missing positional argument "scan_path"' in errors[0][1]
    assert 'has no attribute "chekc"' in errors[1][1]

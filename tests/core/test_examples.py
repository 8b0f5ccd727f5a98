"""The examples of docstrings run, and yield what they say."""

from __future__ import annotations

import doctest
import importlib
import re
import shutil
from pathlib import Path

import cuspwise
import pytest

ROOT = Path(cuspwise.__file__).parent
README = Path(__file__).resolve().parents[2] / "README.md"
FINDER = doctest.DocTestFinder(recurse=False)
WITH_EXAMPLES = [one for one in cuspwise.__all__ if ">>> " in getattr(cuspwise, one).__doc__]


@pytest.fixture(scope="module", autouse=True)
def folder(tmp_path_factory: pytest.TempPathFactory) -> None:
    """All examples write to one folder, so that their small study is measured once only."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path_factory.mktemp("examples"))
        yield


def modules_with_examples() -> list[str]:
    """Dotted names of the package's and the core's modules whose text has an example."""
    files = [ROOT / "__init__.py", *sorted((ROOT / "standalone_core").rglob("*.py"))]
    parts = [f.relative_to(ROOT.parent).with_suffix("").parts for f in files if _has_example(f)]
    return [".".join(("cuspwise", *some[1:])).removesuffix(".__init__") for some in parts]


def _has_example(file: Path) -> bool:
    return ">>> " in file.read_text(encoding="utf-8")


def _run(example: doctest.DocTest) -> None:
    told: list[str] = []
    doctest.DocTestRunner().run(example, out=told.append)
    assert not told, "".join(told)


@pytest.mark.parametrize("name", modules_with_examples())
def test_the_examples_of_a_module_run(name: str) -> None:
    module = importlib.import_module(name)
    public = {id(getattr(cuspwise, one)) for one in cuspwise.__all__}
    found = doctest.DocTestFinder().find(module)
    for example in found:
        if id(getattr(module, example.name.split(".")[-1], None)) not in public:
            _run(example)
    assert any(example.examples for example in found)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_a_public_example_runs_where_nothing_is_imported_yet(name: str) -> None:
    for example in FINDER.find(getattr(cuspwise, name), name, globs={}):
        _run(example)


@pytest.mark.slow
def test_the_readmes_python_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On the small demo study, whose first crown is the scan."""
    cuspwise.demo_study(tmp_path)
    shutil.copy(tmp_path / "milled" / "m1.stl", tmp_path / "scan.stl")
    monkeypatch.chdir(tmp_path)
    blocks = re.findall(
        r"^```python\n(.*?)^```", README.read_text("utf-8"), re.DOTALL | re.MULTILINE
    )
    assert blocks
    for block in blocks:
        exec(block, {})
    assert (tmp_path / "study_results" / "report.html").is_file()
    assert (tmp_path / "crown_07" / "check.html").is_file()

"""The examples of docstrings run, and yield what they say."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import cuspwise
import pytest

ROOT = Path(cuspwise.__file__).parent
FINDER = doctest.DocTestFinder(recurse=False)


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


@pytest.mark.parametrize("name", cuspwise.__all__)
def test_a_public_example_runs_where_nothing_is_imported_yet(name: str) -> None:
    for example in FINDER.find(getattr(cuspwise, name), name, globs={}):
        _run(example)

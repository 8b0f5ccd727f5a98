"""What ``import cuspwise`` offers: all of it there, documented where it is, loaded when used."""

from __future__ import annotations

import ast
import dataclasses
import importlib
import inspect
import re
import subprocess
import sys
import types
import typing
from pathlib import Path
from typing import Any

import cuspwise
import pytest

ROOT = Path(cuspwise.__file__).parent
STUB = ast.parse((ROOT / "__init__.pyi").read_text(encoding="utf-8"))
HOMES = {
    alias.name: line.module
    for line in STUB.body
    if isinstance(line, ast.ImportFrom)
    for alias in line.names
}
PUBLIC = {name: getattr(cuspwise, name) for name in cuspwise.__all__}
FUNCTIONS = {name: x for name, x in PUBLIC.items() if inspect.isfunction(x)}
CLASSES = {name: x for name, x in PUBLIC.items() if inspect.isclass(x)}
ERRORS = {name for name, x in CLASSES.items() if issubclass(x, Exception)}

# What people's scripts stand on; the stub may hold more.
PROMISED = {
    *("check", "write_check", "find_areas", "superimpose", "measure_deviation", "CuspwiseError"),
    *("read_study", "run_study", "analyse_study", "write_study", "study_figures", "crowns_needed"),
}


def returned(function: Any) -> set[type]:
    """The classes of the package in what a function returns."""
    found, todo = set(), [typing.get_type_hints(function, localns=PUBLIC)["return"]]
    while todo:
        kind = todo.pop()
        todo += typing.get_args(kind)
        if inspect.isclass(kind) and kind.__module__.startswith("cuspwise"):
            found.add(kind)
    return found


RESULTS = set().union(*map(returned, FUNCTIONS.values()))
TO_MAKE = {name for name, x in CLASSES.items() if x not in RESULTS and name not in ERRORS}


def sections(text: str) -> dict[str, str]:
    """The parts of a NumPy docstring by their headings."""
    parts = re.split(r"^(\w+)\n-+\n", inspect.cleandoc(text), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def entries(section: str) -> set[str]:
    """The names before the colons of a section."""
    heads = re.findall(r"^(\S.*?) : ", section, flags=re.MULTILINE)
    return {name for head in heads for name in head.split(", ")}


def in_new_process(code: str) -> str:
    command = [sys.executable, "-c", code]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout.strip()


def test_nothing_promised_is_absent():
    assert set(cuspwise.__all__) >= PROMISED
    assert set(dir(cuspwise)) >= {*PROMISED, "register", "unregister", "__version__"}


def test_importing_loads_nothing_and_errors_load_little():
    loaded = "import sys, cuspwise; {}print(*sorted(m.split('.')[0] for m in sys.modules))"
    for use in ("", "cuspwise.CuspwiseError, cuspwise.__all__; "):
        modules = set(in_new_process(loaded.format(use)).split())
        assert not modules & {"numpy", "scipy", "bpy", "matplotlib", "trimesh", "click", "jinja2"}


def test_each_name_comes_from_the_module_that_the_stub_names():
    for name, value in PUBLIC.items():
        assert value.__module__ == f"cuspwise.{HOMES[name]}", name
        assert value.__name__ == name


def test_the_stub_declares_what_else_the_package_has():
    own = {x.name for x in STUB.body if isinstance(x, ast.FunctionDef)}
    own |= {x.target.id for x in STUB.body if isinstance(x, ast.AnnAssign)}
    assert own == {"register", "unregister", "__version__"}
    as_itself = [a for x in STUB.body if isinstance(x, ast.ImportFrom) for a in x.names]
    assert all(alias.asname == alias.name for alias in as_itself)  # else checkers hide it


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="has no attribute 'chekc'"):
        _ = cuspwise.chekc
    assert not hasattr(cuspwise, "__wrapped__")


def test_a_name_is_there_after_reload_and_by_from_import():
    assert importlib.reload(cuspwise).check is PUBLIC["check"]
    from cuspwise import check

    assert check is PUBLIC["check"]


def test_all_errors_are_public():
    """Those of modules that nothing has imported yet, too."""
    files = (ROOT / "standalone_core").rglob("*.py")
    nodes = (node for f in files for node in ast.walk(ast.parse(f.read_text(encoding="utf-8"))))
    bases = {
        node.name: {base.id for base in node.bases if isinstance(base, ast.Name)}
        for node in nodes
        if isinstance(node, ast.ClassDef)
    }
    kinds, more = set(), {"CuspwiseError"}
    while more:
        kinds |= more
        more = {name for name, above in bases.items() if above & kinds} - kinds
    assert kinds == ERRORS


def test_what_public_functions_return_is_public():
    assert {kind.__name__ for kind in RESULTS} <= set(CLASSES)


def test_the_overview_names_everything_once():
    told = re.findall(r"``(\w+)``", cuspwise.__doc__)
    assert sorted(told) == sorted([*cuspwise.__all__, "register"])


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_is_documented(name: str):
    function = FUNCTIONS[name]
    parts = sections(function.__doc__)
    assert entries(parts["Parameters"]) == set(inspect.signature(function).parameters)
    assert {"Returns", "Yields"} & set(parts)
    assert "Examples" in parts
    assert f"{name}(" in parts["Examples"]


@pytest.mark.parametrize("name", sorted(set(CLASSES) - ERRORS))
def test_a_public_class_is_documented(name: str):
    kind = CLASSES[name]
    parts = sections(kind.__doc__)
    told = entries(parts.get("Attributes", "")) | entries(parts.get("Parameters", ""))
    if dataclasses.is_dataclass(kind):
        assert told >= {field.name for field in dataclasses.fields(kind)}
    assert told >= set(inspect.signature(kind).parameters)
    if name in TO_MAKE:
        assert f"{name}(" in parts["Examples"]


@pytest.mark.parametrize("name", sorted(ERRORS))
def test_an_error_says_when_it_is_raised(name: str):
    assert CLASSES[name].__doc__.strip().endswith(".") or "Parameters" in CLASSES[name].__doc__


def _twins() -> list[tuple[str, types.FunctionType]]:
    pairs = []
    for name, function in FUNCTIONS.items():
        module = sys.modules[function.__module__]
        if hasattr(module, f"{name}_steps"):
            pairs.append((name, getattr(module, f"{name}_steps")))
    return pairs


@pytest.mark.parametrize(("name", "steps"), _twins())
def test_the_twin_in_steps_refers_to_the_public_one(name: str, steps: types.FunctionType):
    assert set(sections(steps.__doc__)) == set()
    assert f":func:`{name}`" in steps.__doc__
    assert "step by step" in steps.__doc__

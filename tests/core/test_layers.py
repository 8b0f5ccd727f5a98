"""Which room of the house may import which, and which libraries: one table, walked whole."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

# From the ground up. A room may import from itself and from rooms further up in this table; the
# longest name that fits a module is its room. Beside it: the libraries it may use.
LAYERS: dict[str, set[str]] = {
    "standalone_core.version": set(),
    "standalone_core.versions": {"numpy", "scipy"},
    "standalone_core.words": set(),
    "standalone_core.arrays": {"numpy"},
    "standalone_core.readable": set(),
    "standalone_core.errors": set(),
    "standalone_core.progress": set(),
    "standalone_core.stopwatch": set(),
    "standalone_core.shares": set(),
    "standalone_core.atomic": set(),
    "standalone_core.staging": set(),
    "standalone_core.records": {"numpy"},
    "standalone_core.csv_text": set(),
    "standalone_core.suggestion": set(),
    "standalone_core.allowed": set(),
    "standalone_core.setting": set(),
    "standalone_core.length_units": set(),
    "standalone_core.statistics": {"numpy", "scipy"},
    "standalone_core.mesh": {"numpy", "scipy", "trimesh"},
    "standalone_core.surface": {"numpy", "scipy"},
    "standalone_core.superimpose": {"numpy", "scipy"},
    "standalone_core.areas": {"numpy", "scipy"},
    "standalone_core.deviation": {"numpy", "scipy"},
    "standalone_core.causes.settings": set(),
    "standalone_core.check_settings": set(),
    "standalone_core.checked_mesh": set(),
    "standalone_core.measure": set(),
    "standalone_core.causes": {"numpy", "scipy"},
    "standalone_core.fit.settings": set(),
    "standalone_core.fit.crown": {"numpy"},
    "standalone_core.fit.die": set(),
    "standalone_core.fit.seat": {"numpy", "scipy"},
    "standalone_core.fit.gap": {"numpy", "scipy"},
    "standalone_core.fit.walls": {"numpy", "scipy"},
    "standalone_core.fit.contacts": {"numpy", "scipy"},
    "standalone_core.fit": {"numpy", "scipy"},
    "standalone_core.check_result": set(),
    "standalone_core.explain": set(),
    "standalone_core.check": set(),
    "standalone_core.study": {"scipy"},  # the plan: what a study asks
    "standalone_core.study.file": {"numpy"},
    "standalone_core.study.measuring": {"numpy", "scipy", "distributed"},
    "standalone_core.tray": set(),
    "standalone_core.study.analysis": {"numpy", "scipy"},
    "standalone_core.study.pilot": {"numpy"},
    "standalone_core.study.crowns_needed": {"numpy"},
    "standalone_core.demo": {"numpy", "scipy"},
    "standalone_core.report": set(),
    "standalone_core.report.tables": set(),
    "standalone_core.report.drawing": {"numpy", "matplotlib", "PIL"},
    "standalone_core.report.check": {"numpy", "rich", "jinja2"},
    "standalone_core.report.tray": {"rich"},
    "standalone_core.report.fit": {"numpy", "rich", "jinja2"},
    "standalone_core.report.study": {
        *("numpy", "rich", "jinja2", "markupsafe", "matplotlib", "PIL", "openpyxl"),
    },
    "standalone_core": set(),  # the list of public names
    "standalone_core.cli": {"click", "rich"},
    "standalone_core.__main__": set(),
    "addon": {"bpy", "bpy_extras", "mathutils", "gpu", "gpu_extras", "blf", "numpy"},
}


@dataclass(frozen=True)
class Import:
    """One import: by which module, of which, on which line, and whether only for types."""

    by: str
    of: str
    line: int
    for_types: bool


def _modules() -> dict[str, Path]:
    folders = (ROOT / "standalone_core", ROOT / "addon")
    paths = [path for folder in folders for path in folder.rglob("*.py")]
    return {
        ".".join(p for p in path.relative_to(ROOT).with_suffix("").parts if p != "__init__"): path
        for path in paths
    }


MODULES = _modules()


def _imports(module: str) -> Iterator[Import]:
    """Every import of a module, also those inside functions."""
    path = MODULES[module]
    tree = ast.parse(path.read_text(encoding="utf-8"))
    types = {
        id(node)
        for block in ast.walk(tree)
        if isinstance(block, ast.If) and "TYPE_CHECKING" in ast.unparse(block.test)
        for node in ast.walk(block)
    }
    package = path.relative_to(ROOT).parent.parts
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else ()
            home = ".".join((*base, *(node.module.split(".") if node.module else ())))
            for alias in node.names:
                name = f"{home}.{alias.name}"
                yield Import(
                    module, name if name in MODULES else home, node.lineno, id(node) in types
                )
        elif isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(module, alias.name, node.lineno, id(node) in types)


IMPORTS = [one for module in MODULES for one in _imports(module)]


def room_of(module: str) -> str:
    """The longest name in the table that a module's name begins with."""
    fitting = [room for room in LAYERS if module == room or module.startswith(f"{room}.")]
    return max(fitting, key=len, default="")


def wrong(one: Import) -> str:
    """What is wrong with an import; an empty text if nothing is."""
    room, order = room_of(one.by), list(LAYERS)
    where = f"{one.by}, line {one.line}"
    if one.of in MODULES:
        if order.index(room_of(one.of)) > order.index(room):
            return f"{where}: imports {one.of}, which lies above"
        return ""
    library = one.of.split(".")[0]
    if library in sys.stdlib_module_names or not library:
        return ""
    if library not in LAYERS[room]:
        return f"{where}: imports {library}, which {room} may not"
    return ""


def test_every_module_has_a_room() -> None:
    # What lies right inside the core is a room of its own, not part of the list of public names.
    lost = [m for m in MODULES if room_of(m) in ("", "standalone_core") and m != "standalone_core"]
    assert not lost, f"name these in the table: {lost}"


def test_every_room_of_the_table_exists() -> None:
    missing = [room for room in LAYERS if room not in MODULES]
    assert not missing


def test_no_arrow_points_up_and_no_room_uses_a_library_that_it_may_not() -> None:
    assert not [text for one in IMPORTS if (text := wrong(one))]


def test_no_room_has_a_library_that_it_does_not_use() -> None:
    used: dict[str, set[str]] = {room: set() for room in LAYERS}
    for one in IMPORTS:
        used[room_of(one.by)].add(one.of.split(".")[0])
    assert not {room: some for room in LAYERS if (some := LAYERS[room] - used[room])}


@pytest.mark.parametrize(
    ("by", "of"),
    [
        ("standalone_core.mesh.graph", "standalone_core.surface.closest"),
        ("standalone_core.study.plan", "standalone_core.study.file.read"),
        ("standalone_core.study.file.read", "standalone_core.study.measuring.run"),
        ("standalone_core.report.drawing.legend", "standalone_core.report.check.page"),
        ("standalone_core.check", "addon.drawing.legend"),
        ("standalone_core.mesh.graph", "bpy"),
        ("standalone_core.deviation.verdict", "rich.table"),
        ("addon.check.store", "click"),
    ],
)
def test_a_wrong_import_would_be_noticed(by: str, of: str) -> None:
    assert wrong(Import(by, of, 1, for_types=False))


def test_no_module_imports_itself_by_a_detour() -> None:
    """What is imported for types alone makes no circle when the program runs."""
    below: dict[str, set[str]] = {module: set() for module in MODULES}
    for one in IMPORTS:
        if one.of in MODULES and one.of != one.by and not one.for_types:
            below[one.by].add(one.of)
    while free := [module for module, others in below.items() if not others]:
        for module in free:
            del below[module]
        for others in below.values():
            others.difference_update(free)
    assert not below, f"circles among, or leading to: {sorted(below)}"

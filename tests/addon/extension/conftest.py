"""The built zip, installed into Blender's Python module that has no other scipy.

Needs a Python with ``bpy`` and without scipy; anywhere else these tests skip, saying so. The zip
is built here, or is the one for this Python among those that ``CUSPWISE_ZIP`` names.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from zips import python_here, zip_for

PACKAGE = "bl_ext.user_default.cuspwise"
EDGE_MM = 0.4  # of the demo crown
SPACING_MM = 0.4  # no finer than the meshes, for speed

# Read by Blender when it is first imported.
os.environ.setdefault("BLENDER_USER_RESOURCES", tempfile.mkdtemp(prefix="cuspwise-blender-"))


def part(name: str) -> Any:
    """A module of the installed extension."""
    return importlib.import_module(f"{PACKAGE}.{name}")


@pytest.fixture(scope="session")
def extension(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SimpleNamespace]:
    bpy = pytest.importorskip("bpy", reason="Blender's Python module (bpy) is not installed")
    if importlib.util.find_spec("scipy"):
        pytest.skip("scipy is installed beside bpy and would stand in for the extension's wheel")
    built = zip_for(python_here(), tmp_path_factory)
    # Disables every extension, so it comes first.
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.extensions.package_install_files(
        filepath=str(built), repo="user_default", enable_on_install=True
    )
    yield SimpleNamespace(
        zip=built, part=part, add_object=add_object, set_up=set_up, spacing_mm=SPACING_MM
    )
    # A class still registered when Python ends crashes or hangs Blender.
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.preferences.addon_disable(module=PACKAGE)


@pytest.fixture(scope="session")
def surfaces(extension: SimpleNamespace) -> SimpleNamespace:
    """The demo's design and printed crown, coarse, as the core makes them."""
    del extension
    import numpy as np

    design = part("standalone_core.demo.crown").demo_crown(EDGE_MM)
    produced = part("standalone_core.demo.production").produce(
        design,
        part("standalone_core.demo.scenario").printed_errors(),
        edge_mm=EDGE_MM,
        rng=np.random.default_rng(7),
    )
    return SimpleNamespace(design=design.mesh, scan=produced.mesh)


@pytest.fixture
def empty(extension: SimpleNamespace) -> SimpleNamespace:
    """A new file with nothing in it."""
    import bpy

    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    return SimpleNamespace(bpy=bpy, scene=bpy.context.scene, part=extension.part)


def add_object(name: str, mesh: Any, scale: float = 1.0) -> Any:
    """Add a mesh of the core to the scene, its vertices times ``scale``."""
    import bpy

    made = part("addon.blender.bridge").new_mesh(name, mesh.vertices * scale, mesh.faces)
    obj = bpy.data.objects.new(name, made)
    bpy.context.scene.collection.objects.link(obj)
    bpy.context.view_layer.update()
    return obj


def set_up(surfaces: SimpleNamespace, scale: float = 1.0) -> tuple[Any, Any]:
    """Add design and scan to the scene and choose them; return both objects."""
    import bpy

    settings = bpy.context.scene.cuspwise
    design = add_object("Design", surfaces.design, scale)
    scan = add_object("Scan", surfaces.scan, scale)
    settings.design = design
    settings.spacing_mm = SPACING_MM
    scan.select_set(True)
    assert bpy.ops.cuspwise.add_scans() == {"FINISHED"}
    return design, scan


@pytest.fixture
def crown(empty: SimpleNamespace, surfaces: SimpleNamespace) -> SimpleNamespace:
    """A file with design and scan, chosen and not measured yet."""
    design, scan = set_up(surfaces)
    return SimpleNamespace(**vars(empty), settings=empty.scene.cuspwise, design=design, scan=scan)


@pytest.fixture(scope="session")
def checked_file(
    extension: SimpleNamespace,
    surfaces: SimpleNamespace,
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """A saved file in which the crown was checked."""
    import bpy

    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    set_up(surfaces)
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    path = tmp_path_factory.mktemp("checked") / "gecheckt ü.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture
def checked(checked_file: Path, extension: SimpleNamespace) -> SimpleNamespace:
    """The checked crown, opened anew from its file."""
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(checked_file))
    scene = bpy.context.scene
    return SimpleNamespace(
        bpy=bpy,
        part=extension.part,
        path=checked_file,
        scene=scene,
        settings=scene.cuspwise,
        design=bpy.data.objects["Design"],
        scan=bpy.data.objects["Scan"],
    )


@pytest.fixture(scope="session")
def spoilt_file(
    extension: SimpleNamespace,
    spoilt_surfaces: SimpleNamespace,
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """A saved file with a checked crown that has flash on a quarter of its margin, and a post."""
    import bpy

    del extension
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    set_up(spoilt_surfaces)
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    path = tmp_path_factory.mktemp("spoilt") / "spoilt.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture
def spoilt(spoilt_file: Path, extension: SimpleNamespace) -> SimpleNamespace:
    """That crown, opened anew from its file."""
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(spoilt_file))
    scene, objects = bpy.context.scene, bpy.data.objects
    return SimpleNamespace(
        bpy=bpy,
        part=extension.part,
        scene=scene,
        settings=scene.cuspwise,
        design=objects["Design"],
        scan=objects["Scan"],
    )


@pytest.fixture(scope="session")
def spoilt_surfaces(extension: SimpleNamespace) -> SimpleNamespace:
    """A design, and a scan of it with flash on a quarter of its margin and a post."""
    del extension
    import numpy as np

    edge_mm = EDGE_MM
    crown = part("standalone_core.demo.crown").demo_crown(edge_mm)
    errors = part("standalone_core.demo.production_errors")
    sound = part("standalone_core.demo.production").produce(
        crown,
        errors.ProductionErrors(
            waves=(errors.Wave((0.2, 0.5, 1.0), 9.0, 6.0, 75.0),),
            noise=errors.ScannerNoise(2.0),
            any_pose=False,
        ),
        edge_mm=edge_mm,
        rng=np.random.default_rng(1),
    )
    vertices, line = sound.mesh.vertices.copy(), crown.margin_line_mm
    away = np.linalg.norm(vertices[:, None] - line, axis=2)
    at = away.argmin(axis=1)
    drawn = (away.min(axis=1) < 0.55 * edge_mm) & (at < len(line) / 4)
    arm = line[at[drawn]] - line.mean(axis=0)
    arm -= np.outer(arm @ crown.insertion, crown.insertion)
    arm /= np.linalg.norm(arm, axis=1, keepdims=True)
    vertices[drawn] = line[at[drawn]] + 0.3 / 2**0.5 * (arm - crown.insertion)
    post = _post_place(sound.mesh, line)
    vertices[np.linalg.norm(vertices - vertices[post], axis=1) < 0.3] += (
        0.6 * sound.mesh.vertex_normals[post]
    )
    mesh = part("standalone_core.mesh.triangle_mesh").TriangleMesh(vertices, sound.mesh.faces)
    return SimpleNamespace(design=crown.mesh, scan=mesh, post=sound.mesh.vertices[post])


def _post_place(mesh: Any, line: Any) -> int:
    """The vertex of the outside half-way up, across from the flash."""
    import numpy as np

    middle = line.mean(axis=0)
    away = line[len(line) * 5 // 8] - middle
    side = (mesh.vertices - middle) @ away / np.linalg.norm(away)
    high = np.abs(mesh.vertices[:, 2] - np.median(mesh.vertices[:, 2])) < 0.6
    return int(np.argmax(np.where(high, side, -np.inf)))

"""A crown that is too large, checked in Blender and its causes found, once for all tests."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from caused import DESIGN_EDGE_MM, SCALE, SCAN_EDGE_MM, say


@pytest.fixture(scope="session")
def scaled_crown(extension: SimpleNamespace) -> SimpleNamespace:
    """The demo's design, and a crown 0.3 % too large, somewhere else."""
    crown = extension.part("standalone_core.demo.crown").demo_crown(DESIGN_EDGE_MM)
    errors = extension.part("standalone_core.demo.production_errors")
    made = extension.part("standalone_core.demo.production").produce(
        crown,
        errors.ProductionErrors(scale=(SCALE,) * 3),
        edge_mm=SCAN_EDGE_MM,
        rng=np.random.default_rng(3),
    )
    return SimpleNamespace(design=crown.mesh, scan=made.mesh)


@pytest.fixture(scope="session")
def explained_file(
    extension: SimpleNamespace,
    scaled_crown: SimpleNamespace,
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """A saved file in which that crown was checked and its causes were found."""
    import bpy

    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    extension.set_up(scaled_crown)
    say(bpy.context.scene.cuspwise.causes.production)
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert bpy.ops.cuspwise.find_causes() == {"FINISHED"}
    path = tmp_path_factory.mktemp("explained") / "erklärt.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture
def explained(explained_file: Path, extension: SimpleNamespace) -> SimpleNamespace:
    """That crown, opened anew from its file."""
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(explained_file))
    scene, objects = bpy.context.scene, bpy.data.objects
    return SimpleNamespace(
        bpy=bpy,
        part=extension.part,
        scene=scene,
        settings=scene.cuspwise,
        design=objects["Design"],
        scan=objects["Scan"],
    )

"""The demo's crown among its neighbours, its walls and contacts checked, once for all tests.

The scan is the design itself, shifted by 35 µm away from the mesial neighbour: what its contacts
must say is known.
"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

SHIFT_MM = 0.035
TEETH = ("Mesial", "Distal", "Antagonist")


@pytest.fixture(scope="session")
def jaw(extension: SimpleNamespace, surfaces: SimpleNamespace) -> SimpleNamespace:
    """Meshes of the core: design, its neighbours and antagonist, and the shifted copy."""
    demo = extension.part("standalone_core.demo.neighbours")
    crown = extension.part("standalone_core.demo.crown").demo_crown(0.4)
    mesial, distal = demo.demo_neighbours(crown, mesial_um=-20.0, distal_um=60.0, edge_mm=0.3)
    directions = extension.part("standalone_core.demo.crown").DIRECTIONS
    motion = np.eye(4)
    motion[:3, 3] = -SHIFT_MM * directions.mesial
    return SimpleNamespace(
        design=surfaces.design,
        scan=surfaces.design.moved(motion),
        mesial=mesial.mesh,
        distal=distal.mesh,
        antagonist=demo.demo_antagonist(crown, edge_mm=0.3).mesh,
    )


@pytest.fixture(scope="session")
def jaw_file(
    extension: SimpleNamespace, jaw: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """A saved file with all of them, the design's walls and the scan's contacts checked."""
    import bpy

    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    extension.set_up(jaw)
    for name, mesh in zip(TEETH, (jaw.mesial, jaw.distal, jaw.antagonist), strict=True):
        extension.add_object(name, mesh)
    teeth = bpy.context.scene.cuspwise.teeth
    bpy.ops.object.select_all(action="DESELECT")
    for name in TEETH[:2]:
        bpy.data.objects[name].select_set(True)
    assert bpy.ops.cuspwise.add_neighbours() == {"FINISHED"}
    next(item for item in teeth.neighbours if item.tooth.name == "Mesial").side = "mesial"
    teeth.antagonist = bpy.data.objects["Antagonist"]
    bpy.context.scene.cuspwise.fit.crown = "DESIGN"
    assert bpy.ops.cuspwise.check_walls() == {"FINISHED"}
    bpy.context.scene.cuspwise.fit.crown = "SCAN"
    assert bpy.ops.cuspwise.check_contacts() == {"FINISHED"}
    path = tmp_path_factory.mktemp("jaw") / "Kiefer ü.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture
def mouth(jaw_file: Path, extension: SimpleNamespace) -> SimpleNamespace:
    """That file, opened anew."""
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(jaw_file))
    scene, objects = bpy.context.scene, bpy.data.objects
    return SimpleNamespace(
        bpy=bpy,
        part=extension.part,
        scene=scene,
        settings=scene.cuspwise,
        teeth=scene.cuspwise.teeth,
        design=objects["Design"],
        scan=objects["Scan"],
        objects=objects,
    )

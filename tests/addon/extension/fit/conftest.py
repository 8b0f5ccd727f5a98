"""The demo's design seated on its die in Blender, coarse, once for all tests."""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any

import pytest

EDGE_MM = 0.4
SPACE_UM = 60.0


@pytest.fixture(scope="session")
def pair(extension: SimpleNamespace) -> SimpleNamespace:
    """The demo's design, and its die with the same cement space everywhere."""
    crown = extension.part("standalone_core.demo.crown").demo_crown(EDGE_MM)
    made = extension.part("standalone_core.demo.die").demo_die(
        crown, cement_um=SPACE_UM, margin_um=SPACE_UM, edge_mm=EDGE_MM
    )
    return SimpleNamespace(design=crown.mesh, die=made.mesh, line_mm=made.finish_line_mm)


def place(extension: SimpleNamespace, pair: SimpleNamespace) -> None:
    """An empty file with design and die, chosen and not seated yet."""
    import bpy

    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    settings = bpy.context.scene.cuspwise
    settings.design = extension.add_object("Design", pair.design)
    settings.spacing_mm = extension.spacing_mm
    settings.fit.crown = "DESIGN"
    settings.fit.die = extension.add_object("Die", pair.die)
    settings.fit.mesial, settings.fit.buccal = "POS_X", "POS_Y"
    settings.fit.cement_space_um = SPACE_UM


def found(extension: SimpleNamespace, **more: Any) -> SimpleNamespace:
    """What the tests ask for, of the file that is open."""
    import bpy

    scene, objects = bpy.context.scene, bpy.data.objects
    return SimpleNamespace(
        bpy=bpy,
        part=extension.part,
        scene=scene,
        settings=scene.cuspwise,
        fit=scene.cuspwise.fit,
        design=objects["Design"],
        die=objects["Die"],
        **more,
    )


@pytest.fixture(scope="session")
def seated_file(
    extension: SimpleNamespace, pair: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory
) -> SimpleNamespace:
    """A saved file in which the design was seated; what the core was given, found, and is kept."""
    import bpy

    place(extension, pair)
    seating = extension.part("addon.fit.seating")
    noted: dict[str, Any] = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(seating, "seat_steps", noting(seating.seat_steps, noted))
        assert bpy.ops.cuspwise.seat_crown() == {"FINISHED"}
    path = tmp_path_factory.mktemp("seated") / "gesetzt ü.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    kept = json.loads(bpy.data.objects["Design"].cuspwise.fit.text)
    return SimpleNamespace(path=path, kept=kept, **noted)


def noting(seat_steps: Any, noted: dict[str, Any]) -> Any:
    """The same steps; what goes in and what comes out is noted."""

    def steps(read: Any) -> Any:
        noted["settings"] = read.settings
        given = {"crown": read.crown, "die": read.die, "design": read.design}
        noted["given"] = {name: surface.mesh for name, surface in given.items()}
        noted["result"] = yield from seat_steps(read)
        return noted["result"]

    return steps


@pytest.fixture
def seated(seated_file: SimpleNamespace, extension: SimpleNamespace) -> SimpleNamespace:
    """The seated design, opened anew from its file; it is shown on its die."""
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(seated_file.path))
    return found(extension)


@pytest.fixture
def unseated(extension: SimpleNamespace, pair: SimpleNamespace) -> SimpleNamespace:
    """Design and die, chosen and not seated yet."""
    place(extension, pair)
    return found(extension)

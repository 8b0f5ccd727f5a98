"""What the tests of a study in Blender share: its crowns' sizes, calls and looks at its results."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

GROUPS = (("Milled", "milled"), ("Printed – tilted", "tilted"))
CROWNS = 3
EDGE_MM = SPACING_MM = 0.7  # coarse, for speed
SAME_UM = 0.01


def kept(case: SimpleNamespace) -> dict[str, Any]:
    return case.part("addon.study.study_store").study_of(case.scene)


def out_of_date(case: SimpleNamespace) -> str:
    """Why the study is out of date, after Blender has taken note of changes."""
    case.bpy.context.view_layer.update()
    return case.part("addon.study.study_store").why_out_of_date(case.scene)


def core_run(case: SimpleNamespace, file: Path, out: Path) -> Any:
    """What the command line does with a study file; what is kept in ``out`` is used again."""
    plan = case.part("standalone_core.study.file.read").read_plan(file)
    return case.part("standalone_core.study.measuring.run").run_study(plan, out)


def opened(part: Any, path: Path) -> SimpleNamespace:
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(path))
    scene = bpy.context.scene
    return SimpleNamespace(
        bpy=bpy,
        part=part,
        path=path,
        scene=scene,
        settings=scene.cuspwise,
        design=scene.cuspwise.design,
        scan=scene.cuspwise.scans[0].scan,
        folder=path.with_name(f"{path.stem}_study"),
    )


def edit_design(case: SimpleNamespace) -> None:
    case.design.data.vertices[3].co.x += 0.002
    case.design.data.update()

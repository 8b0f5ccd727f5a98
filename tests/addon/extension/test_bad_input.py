"""Input that cannot be used: a message says what to do, and nothing is lost."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call

_BLOCK = np.array([[x, y, z] for x in (0, 9.0) for y in (0, 9.0) for z in (0, 9.0)])
_SIDES = np.array(
    [
        *([0, 1, 3], [0, 3, 2], [4, 7, 5], [4, 6, 7], [0, 5, 1], [0, 4, 5]),
        *([2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]),
    ]
)
ON_THE_DESIGN = ("check_crown", "superimpose", "measure_deviation", "find_areas")


def _modifier(case: SimpleNamespace) -> None:
    case.design.modifiers.new("Hülle", "SOLIDIFY")


def _shape_key(case: SimpleNamespace) -> None:
    case.design.shape_key_add(name="Basis")
    key = case.design.shape_key_add(name="Higher")
    key.data[0].co.z += 1.0
    key.value = 1.0


def _no_faces(case: SimpleNamespace) -> None:
    case.design.data.clear_geometry()
    case.settings.unit = "mm"


def _no_faces_unit_unknown(case: SimpleNamespace) -> None:
    case.design.data.clear_geometry()


def _not_finite(case: SimpleNamespace) -> None:
    case.design.data.vertices[0].co.x = float("nan")
    case.settings.unit = "mm"


def _curve(case: SimpleNamespace) -> None:
    curve = case.bpy.data.objects.new("Kurve", case.bpy.data.curves.new("Kurve", "CURVE"))
    case.scene.collection.objects.link(curve)
    case.settings.design = curve


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (_modifier, r"Entwurf ü: .*modifier “Hülle”.*Apply that.* or remove it"),
        (_shape_key, r"Entwurf ü: .*shape keys.*Apply that"),
        (_no_faces, r"Entwurf ü: It has no faces.*Choose another object"),
        (_no_faces_unit_unknown, r"Entwurf ü: It has no faces"),
        (_not_finite, r"Entwurf ü: .*not finite.*Delete those"),
        (_curve, r"Kurve: It is not a mesh.*Choose a mesh object"),
    ],
)
@pytest.mark.parametrize("name", ON_THE_DESIGN)
def test_a_design_that_cannot_be_measured(
    crown: SimpleNamespace, name: str, spoil: Any, words: str
) -> None:
    crown.design.name = "Entwurf ü"
    spoil(crown)
    crown.bpy.context.view_layer.update()
    with pytest.raises(RuntimeError, match=words):
        call(crown, name)
    assert not crown.design.vertex_groups
    assert crown.scan.cuspwise.state == "NONE"
    assert not crown.scan.cuspwise.pose_before


def _excluded(case: SimpleNamespace) -> None:
    _into_collection(case).exclude = True


def _disabled_collection(case: SimpleNamespace) -> None:
    _into_collection(case).collection.hide_viewport = True


def _disabled(case: SimpleNamespace) -> None:
    case.scan.hide_viewport = True


def _squashed(case: SimpleNamespace) -> None:
    case.scan.scale.x = 0.0


def _scan_modifier(case: SimpleNamespace) -> None:
    case.scan.modifiers.new("Halb", "DECIMATE").ratio = 0.5


def _deformed(case: SimpleNamespace) -> None:
    """As many vertices as before."""
    case.scan.modifiers.new("Glatt", "SMOOTH")


def _into_collection(case: SimpleNamespace) -> Any:
    made = case.bpy.data.collections.new("Ablage")
    case.scene.collection.children.link(made)
    made.objects.link(case.scan)
    case.scene.collection.objects.unlink(case.scan)
    return case.bpy.context.view_layer.layer_collection.children["Ablage"]


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (_excluded, "It lies in “Ablage”, which this view layer leaves out.*Tick the box"),
        (_disabled_collection, "collection “Ablage” is disabled in viewports.*monitor"),
        (_disabled, "It is disabled in viewports.*Click its monitor"),
        (_squashed, "Its scale is zero"),
        (_scan_modifier, "modifier “Halb”.*Apply that.*or remove it"),
        (_deformed, "modifier “Glatt”.*Apply that.*or remove it"),
    ],
)
@pytest.mark.parametrize("name", ["check_crown", "superimpose", "measure_deviation"])
def test_a_scan_that_cannot_be_measured_is_refused_before_the_job(
    crown: SimpleNamespace, name: str, spoil: Any, words: str
) -> None:
    spoil(crown)
    crown.bpy.context.view_layer.update()
    with pytest.raises(RuntimeError, match=rf"poll\(\) Scan: .*{words}"):
        call(crown, name)
    assert crown.scan.cuspwise.state == "NONE"


def test_a_scan_hidden_by_the_eye_is_measured(crown: SimpleNamespace) -> None:
    crown.scan.hide_set(True)
    assert call(crown, "check_crown") == {"FINISHED"}
    assert crown.scan.cuspwise.state == "CURRENT"


def test_a_modifier_that_changes_nothing_is_no_hindrance(crown: SimpleNamespace) -> None:
    crown.scan.modifiers.new("Aus", "SUBSURF").show_viewport = False
    crown.scan.modifiers.new("Nichts", "SUBSURF").levels = 0
    crown.bpy.context.view_layer.update()
    assert call(crown, "superimpose") == {"FINISHED"}


def test_a_scan_that_lies_elsewhere(crown: SimpleNamespace) -> None:
    """How far, and what to press; found from any position it lies on its design."""
    crown.scan.name = "Scan 24"
    tree = crown.part("addon.check.inputs").read_both_steps(crown.bpy.context)
    design, scan = crown.part("standalone_core.progress").run(tree)
    index = crown.part("standalone_core.surface.closest").SurfaceIndex(design.mesh)
    apart = index.closest(scan.mesh.vertices).distance_mm.min()
    assert apart > 10.0
    said = rf"^Error: Scan 24: It lies {apart:.0f} mm from the design\. Press Check Crown or Super"
    with pytest.raises(RuntimeError, match=said):
        call(crown, "measure_deviation")
    assert call(crown, "superimpose") == {"FINISHED"}
    assert call(crown, "measure_deviation") == {"FINISHED"}


def test_areas_are_found_where_landmarks_are_to_start(crown: SimpleNamespace) -> None:
    """A design alone has no pairs; they are asked for where the scan is laid on it."""
    crown.settings.start = "landmarks"
    assert call(crown, "find_areas") == {"FINISHED"}


def test_an_area_that_is_missing_is_told_of_the_design(crown: SimpleNamespace) -> None:
    crown.settings.fit_area = "intaglio"
    crown.design.data = crown.part("addon.blender.bridge").new_mesh(
        "Block",
        _BLOCK,
        _SIDES,
    )
    with pytest.raises(RuntimeError, match=r"Design: It has no intaglio.*area under Fit On"):
        call(crown, "superimpose")


def linked(case: SimpleNamespace, path: Path, *, override: bool) -> None:
    """Give the scene a design from a library, as linked or overridden."""
    bpy = case.bpy
    bpy.ops.wm.save_as_mainfile(filepath=str(path), copy=True)
    scan = case.scan
    with bpy.data.libraries.load(str(path), link=True) as (_source, target):
        target.objects = ["Design"]
    design = target.objects[0]
    case.scene.collection.objects.link(design)
    if override:
        design = design.override_create(remap_local_usages=True)
    case.settings.design = design
    assert scan.name == "Scan"


@pytest.mark.parametrize("override", [False, True])
@pytest.mark.parametrize("name", ON_THE_DESIGN)
def test_a_design_of_a_library(
    crown: SimpleNamespace, tmp_path: Path, name: str, override: bool
) -> None:
    linked(crown, tmp_path / "Bibliothek ü.blend", override=override)
    with pytest.raises(RuntimeError, match=r"linked from another file.*Make it local"):
        call(crown, name)
    assert crown.scan.cuspwise.state == "NONE"


def test_marks_and_areas_files_of_a_library_design(crown: SimpleNamespace, tmp_path: Path) -> None:
    linked(crown, tmp_path / "library.blend", override=False)
    with pytest.raises(RuntimeError, match="Make it local"):
        call(crown, "save_areas", filepath=str(tmp_path / "areas.json"))
    with pytest.raises(RuntimeError, match="Make it local"):
        call(crown, "mark_support", location=(0.0, 0.0, 0.0))
    assert not (tmp_path / "areas.json").exists()


def test_the_areas_of_a_library_design_can_be_looked_at(
    crown: SimpleNamespace, tmp_path: Path
) -> None:
    assert call(crown, "find_areas") == {"FINISHED"}
    linked(crown, tmp_path / "library.blend", override=False)
    crown.settings.show_areas = True
    overlay = crown.part("addon.drawing.overlay")

    def seen() -> list[str]:
        key = overlay.key_of(overlay.read(crown.settings.design, crown.scene))
        return [entry.words for entry in key]

    assert "fossae" in seen()
    assert call(crown, "toggle_area", area="fossae") == {"FINISHED"}
    assert "fossae" not in seen()


def test_a_scan_that_came_in_metres(crown: SimpleNamespace) -> None:
    """A thousand times too small in a scene of millimetres: said, and nothing is moved."""
    crown.settings.unit = "mm"
    crown.scan.scale = (0.001, 0.001, 0.001)
    crown.bpy.context.view_layer.update()
    place = crown.scan.matrix_world.copy()
    with pytest.raises(
        RuntimeError, match=r"Scan: .*0\.0011 times.*Check the scale of both objects"
    ):
        call(crown, "check_crown")
    assert crown.scan.matrix_world == place
    assert crown.scan.cuspwise.state == "NONE"


def test_a_file_in_metres_is_scaled_and_says_so(
    crown: SimpleNamespace, surfaces: SimpleNamespace, tmp_path: Path
) -> None:
    files = crown.part("standalone_core.mesh.files")
    triangle_mesh = crown.part("standalone_core.mesh.triangle_mesh").TriangleMesh
    small = triangle_mesh(surfaces.scan.vertices / 1000.0, surfaces.scan.faces, "in metres")
    path = tmp_path / "Scan in Metern ü.ply"
    files.write_mesh(path, small)
    assert call(crown, "import_scans", filepath=str(path)) == {"FINISHED"}
    imported = crown.settings.scans[crown.settings.scan_index].scan
    assert "file in m" in imported.cuspwise.file_notes
    assert max(imported.dimensions) == pytest.approx(max(crown.scan.dimensions), rel=1e-4)


def test_a_design_deleted_after_the_check(checked: SimpleNamespace) -> None:
    """The results stay to be read and copied; what needs the design says so."""
    checked.settings.show_areas = True
    checked.bpy.data.objects.remove(checked.design)
    assert checked.bpy.context.scene.cuspwise.show_areas
    with pytest.raises(RuntimeError, match=r"design was deleted|Choose the design"):
        call(checked, "find_areas")
    assert call(checked, "copy_table") == {"FINISHED"}
    assert checked.part("addon.check.store").result_of(checked.scan)

"""Checking inside Blender gives the core's numbers, whatever units, parents and mirrors."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

AGREE_UM = 0.01
NUMBERS = ("mean_abs_um", "rms_um", "half_p90_p10_um", "mean_um", "hausdorff_um")


@pytest.fixture(scope="module")
def reference(extension: SimpleNamespace, surfaces: SimpleNamespace) -> Any:
    """The same check by the core alone, on the same meshes in double precision."""
    check = extension.part("standalone_core.check")
    settings = check.CheckSettings(spacing_mm=extension.spacing_mm)
    return check.check_meshes(surfaces.design, surfaces.scan, settings)


def rows(extension: SimpleNamespace, scan: Any) -> dict[str, dict[str, Any]]:
    store = extension.part("addon.check.store")
    return {row["area"]: row for row in store.rows_of(store.result_of(scan))}


def assert_agrees(
    extension: SimpleNamespace, scan: Any, reference: Any, areas: tuple[str, ...] = ()
) -> None:
    found = rows(extension, scan)
    assert list(found) == list(reference.area_set.areas)
    for name in areas or found:
        expected = reference.measures_of(name)
        for number in NUMBERS:
            assert found[name][number] == pytest.approx(getattr(expected, number), abs=AGREE_UM), (
                name,
                number,
            )
        assert found[name]["coverage"] == pytest.approx(expected.coverage, abs=1e-4)
        assert found[name]["verdict"] == expected.verdict


def test_check_crown_gives_the_cores_numbers(
    checked: SimpleNamespace, extension: SimpleNamespace, reference: Any
) -> None:
    assert_agrees(extension, checked.scan, reference)
    assert checked.scan.cuspwise.state == "CURRENT"
    # The object's matrix is the core's motion; its vertices have not moved.
    found = np.array(checked.scan.matrix_world)
    assert np.abs(found - reference.superimposition.T_design_scan).max() < 1e-5


def test_vertices_never_move(checked: SimpleNamespace, surfaces: SimpleNamespace) -> None:
    for obj, mesh in ((checked.design, surfaces.design), (checked.scan, surfaces.scan)):
        points = checked.part("addon.blender.bridge").positions(obj.data)
        assert np.array_equal(points, mesh.vertices.astype(np.float32))


def test_attributes_are_the_deviations_in_mm(
    checked: SimpleNamespace, reference: Any, surfaces: SimpleNamespace
) -> None:
    bridge = checked.part("addon.blender.bridge")
    name = f"deviation_mm {checked.scan.cuspwise.result_id}"
    for obj, field, mesh in (
        (checked.design, reference.design_to_scan, surfaces.design),
        (checked.scan, reference.scan_to_design, surfaces.scan),
    ):
        own = field.deviation_mm[: len(mesh.vertices)]
        found = bridge.read_attribute(obj.data, name)
        counted = np.isfinite(own)
        # Rounding of the coordinates may turn a point on the border of counting over.
        assert (np.isfinite(found) == counted).mean() > 0.999
        both = counted & np.isfinite(found)
        assert np.abs(found - own)[both].max() * 1e3 < AGREE_UM


def _metres_at_a_thousandth(scene: Any) -> float:
    scene.unit_settings.system, scene.unit_settings.scale_length = "METRIC", 0.001
    return 1.0


def _metres(scene: Any) -> float:
    scene.unit_settings.system, scene.unit_settings.scale_length = "METRIC", 1.0
    return 0.001


def _plain(scene: Any) -> float:
    scene.unit_settings.system = "NONE"
    return 1.0


def _chosen_centimetres(scene: Any) -> float:
    scene.cuspwise.unit = "cm"
    return 0.1


@pytest.mark.parametrize("units", [_metres_at_a_thousandth, _metres, _plain, _chosen_centimetres])
def test_units(
    empty: SimpleNamespace,
    extension: SimpleNamespace,
    surfaces: SimpleNamespace,
    reference: Any,
    units: Any,
) -> None:
    """The millimetres are the same; the numbers too."""
    scale = units(empty.scene)
    design, scan = extension.set_up(surfaces, scale)
    frames = extension.part("addon.blender.frames")
    mm = frames.scene_scale_mm(design, empty.scene)
    assert mm * scale == pytest.approx(1.0, rel=1e-6)
    assert empty.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert_agrees(extension, scan, reference)


def _parented(bpy: Any, design: Any, scan: Any) -> None:
    parent = bpy.data.objects.new("parent", None)
    bpy.context.scene.collection.objects.link(parent)
    parent.location, parent.rotation_euler = (3.0, -40.0, 12.0), (0.3, -0.7, 1.1)
    parent.scale = (2.0, 2.0, 2.0)
    for obj in (design, scan):
        obj.parent = parent
        obj.scale = (0.5, 0.5, 0.5)


def _scaled(bpy: Any, design: Any, scan: Any) -> None:
    """Ten times as large a mesh, an unapplied scale of a tenth: the same surface."""
    from mathutils import Matrix

    for obj in (design, scan):
        obj.data.transform(Matrix.Scale(10.0, 4))
        obj.scale = (0.1, 0.1, 0.1)


def _mirrored(bpy: Any, design: Any, scan: Any) -> None:
    """A mirrored mesh under a mirroring matrix, turned: the same surface."""
    from mathutils import Euler, Matrix

    for obj in (design, scan):
        obj.data.transform(Matrix.Diagonal((-1.0, 1.0, 1.0, 1.0)))
        obj.data.flip_normals()
        obj.scale = (-1.0, 1.0, 1.0)
    design.rotation_euler = Euler((0.4, 0.2, -0.9))
    design.location = (5.0, 6.0, -7.0)


@pytest.mark.parametrize("arrange", [_parented, _scaled, _mirrored])
def test_matrices(
    crown: SimpleNamespace, extension: SimpleNamespace, reference: Any, arrange: Any
) -> None:
    arrange(crown.bpy, crown.design, crown.scan)
    crown.bpy.context.view_layer.update()
    assert crown.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert_agrees(extension, crown.scan, reference)
    # The scan lies on the design as shown: measuring it in place gives the same.
    assert crown.bpy.ops.cuspwise.measure_deviation() == {"FINISHED"}
    found = rows(extension, crown.scan)["whole"]
    assert found["rms_um"] == pytest.approx(reference.measures_of().rms_um, abs=0.05)


def test_polygons_are_measured_as_triangles(
    crown: SimpleNamespace, extension: SimpleNamespace, reference: Any
) -> None:
    """Quads that lie flat have the same surface, whichever way Blender cuts them."""
    bpy = crown.bpy
    before = len(crown.scan.data.polygons)
    for obj in (crown.scan,):
        bpy.context.view_layer.objects.active = obj
        bpy.ops.object.mode_set(mode="EDIT")
        bpy.ops.mesh.select_all(action="SELECT")
        bpy.ops.mesh.tris_convert_to_quads(face_threshold=0.02, shape_threshold=3.0)
        bpy.ops.object.mode_set(mode="OBJECT")
    assert len(crown.scan.data.polygons) < before
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    found = rows(extension, crown.scan)["whole"]
    assert found["rms_um"] == pytest.approx(reference.measures_of().rms_um, abs=0.5)

"""The ways in: a design, a whole folder, files dropped; what is in view then, what goes wrong."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call


@pytest.fixture
def folder(tmp_path: Path, extension: SimpleNamespace, surfaces: SimpleNamespace) -> Path:
    """A design, a die, and scans in two groups, some with the same name."""
    write = extension.part("standalone_core.mesh.files").write_mesh
    root = tmp_path / "Tablett Größe 2"
    (root / "milled").mkdir(parents=True)
    (root / "gedruckt ü" / "second day").mkdir(parents=True)
    write(root / "design.stl", surfaces.design)
    write(root / "die.stl", surfaces.design)
    write(root / "milled" / "crown 10.stl", surfaces.scan)
    write(root / "milled" / "crown 2.ply", surfaces.scan)
    write(root / "gedruckt ü" / "second day" / "crown 2.stl", surfaces.scan)
    return root


def listed(case: SimpleNamespace) -> list[tuple[str, str]]:
    return [(item.scan.name, item.group) for item in case.scene.cuspwise.scans]


# A design, a folder -------------------------------------------------------------------------


def test_a_design_comes_in_and_is_chosen(
    empty: SimpleNamespace, folder: Path, surfaces: SimpleNamespace
) -> None:
    assert call(empty, "import_design", filepath=str(folder / "design.stl")) == {"FINISHED"}
    design = empty.scene.cuspwise.design
    size = surfaces.design.bounds[1] - surfaces.design.bounds[0]
    assert np.array(design.dimensions) == pytest.approx(size, rel=1e-5)
    assert design.cuspwise.source_file == str(folder / "design.stl")
    assert not listed(empty)
    assert empty.scene.cuspwise.prepared


@pytest.mark.parametrize("scale_length", [1.0, 0.001, 0.01])
def test_the_unit_that_the_check_takes_is_the_one_that_the_file_was_read_in(
    empty: SimpleNamespace,
    extension: SimpleNamespace,
    folder: Path,
    surfaces: SimpleNamespace,
    scale_length: float,
) -> None:
    """In a scene of metres, millimetres or centimetres: the size in mm is that of the file."""
    empty.scene.unit_settings.scale_length = scale_length
    assert call(empty, "import_folder", directory=str(folder)) == {"FINISHED"}
    settings = empty.scene.cuspwise
    scale_mm = extension.part("addon.blender.frames").scene_scale_mm(settings.design, empty.scene)
    for obj, mesh in ((settings.design, surfaces.design), (settings.scans[0].scan, surfaces.scan)):
        size = mesh.bounds[1] - mesh.bounds[0]
        assert scale_mm * np.array(obj.dimensions) == pytest.approx(size, rel=1e-5)


def test_subfolders_are_groups_and_names_that_collide_are_told_apart(
    empty: SimpleNamespace, folder: Path
) -> None:
    """Numbers in their order; the design is chosen and the die passed over, by their names."""
    assert call(empty, "import_folder", directory=str(folder)) == {"FINISHED"}
    assert listed(empty) == [
        ("crown 2.stl", "gedruckt ü"),
        ("crown 2.ply", "milled"),
        ("crown 10", "milled"),
    ]
    assert empty.scene.cuspwise.design.name == "design"
    assert empty.scene.cuspwise.scan_index == 0
    assert {obj.name for obj in empty.bpy.data.objects if "die" in obj.name} == set()


def test_a_folder_given_to_import_scans_leaves_the_design_that_is_chosen(
    crown: SimpleNamespace, folder: Path
) -> None:
    assert call(crown, "import_scans", filepath=str(folder)) == {"FINISHED"}
    assert crown.settings.design == crown.design
    assert len(crown.settings.scans) == 4
    assert crown.settings.scan_index == 1


def test_folders_that_hold_nothing(empty: SimpleNamespace, tmp_path: Path) -> None:
    for name, reason in ((".", "There are no scans in it"), ("absent", "cannot be looked into")):
        with pytest.raises(RuntimeError, match=reason):
            call(empty, "import_folder", directory=str(tmp_path / name))
    with pytest.raises(RuntimeError, match="No file was chosen"):
        call(empty, "import_folder")
    assert not empty.bpy.data.objects


def test_sixty_files_of_which_two_are_broken(
    empty: SimpleNamespace,
    extension: SimpleNamespace,
    surfaces: SimpleNamespace,
    tmp_path: Path,
    capfd: pytest.CaptureFixture[str],
) -> None:
    """All others come in, in the order of their numbers; the two are named with reason, remedy."""
    path = tmp_path / "c1.stl"
    extension.part("standalone_core.mesh.files").write_mesh(path, surfaces.scan)
    content = path.read_bytes()
    for k in range(2, 61):
        (tmp_path / f"c{k}.stl").write_bytes(content[:-7] if k in (7, 30) else content)
    os.chmod(path, 0o400)
    assert call(empty, "import_folder", directory=str(tmp_path)) == {"FINISHED"}
    names = [name for name, _group in listed(empty)]
    assert names == [f"c{k}" for k in range(1, 61) if k not in (7, 30)]
    said = capfd.readouterr().out
    for k in (7, 30):
        assert f"Warning: {tmp_path / f'c{k}.stl'}: It ends early" in said
    assert "58 scans; not read:" in said
    assert path.stat().st_mode & 0o777 == 0o400


# Meshes as Blender wants them ----------------------------------------------------------------


def test_edges_are_those_that_blender_finds_itself(
    empty: SimpleNamespace, extension: SimpleNamespace, surfaces: SimpleNamespace, tmp_path: Path
) -> None:
    path = extension.part("standalone_core.mesh.files").write_mesh(
        tmp_path / "a.stl", surfaces.scan
    )
    assert call(empty, "import_scans", filepath=str(path)) == {"FINISHED"}
    mesh = empty.scene.cuspwise.scans[0].scan.data
    bridge = extension.part("addon.blender.bridge")
    expected = bridge.new_mesh("b", bridge.positions(mesh), bridge.triangles_of(mesh))
    assert edges_by_corner(mesh) == edges_by_corner(expected)
    assert len(mesh.edges) == len(expected.edges)
    assert not mesh.validate(verbose=True)


def test_a_triangle_that_names_a_vertex_twice_is_kept(
    empty: SimpleNamespace, tmp_path: Path
) -> None:
    path = tmp_path / "a.off"
    path.write_text(
        "OFF\n4 5 0\n0 0 0\n8 0 0\n0 8 0\n0 0 8\n3 0 2 1\n3 0 1 3\n3 0 3 2\n3 1 2 3\n3 1 1 2\n"
    )
    assert call(empty, "import_scans", filepath=str(path)) == {"FINISHED"}
    mesh = empty.scene.cuspwise.scans[0].scan.data
    assert (len(mesh.polygons), len(mesh.vertices)) == (5, 4)


def edges_by_corner(mesh: Any) -> list[tuple[int, ...]]:
    return [tuple(sorted(mesh.edges[loop.edge_index].vertices)) for loop in mesh.loops]


# Seen ----------------------------------------------------------------------------------------


def test_what_came_in_is_seen(empty: SimpleNamespace, folder: Path) -> None:
    """Its collection neither excluded nor hidden, the row and the object chosen."""
    for hide in ("exclude", "hide_viewport"):
        layer = empty.bpy.context.view_layer
        own = empty.bpy.data.collections.new(hide)
        empty.scene.collection.children.link(own)
        layer.active_layer_collection = layer.layer_collection.children[hide]
        setattr(layer.active_layer_collection, hide, True)
        assert call(empty, "import_scans", filepath=str(folder / "milled" / "crown 2.ply")) == {
            "FINISHED"
        }
        settings = empty.scene.cuspwise
        scan = settings.scans[settings.scan_index].scan
        assert scan.visible_get()
        assert list(scan.users_collection) == [empty.scene.collection]
        assert layer.objects.active == scan
        assert empty.bpy.context.selected_objects == [scan]


@pytest.mark.parametrize("scale", [1.0, 0.001, 1000.0])
@pytest.mark.parametrize("perspective", ["PERSP", "ORTHO", "CAMERA"])
def test_a_view_shows_objects_whole(
    empty: SimpleNamespace,
    extension: SimpleNamespace,
    surfaces: SimpleNamespace,
    scale: float,
    perspective: str,
) -> None:
    """Every corner of their boxes within the frame, by Blender's own rule of projection.

    A view's sensor of 72 mm lies along the longer side; an orthographic view is as wide as a view
    in perspective at its distance.
    """
    overview = extension.part("addon.drawing.overview")
    objects = [extension.add_object(name, surfaces.scan, scale) for name in "ab"]
    objects[1].location = (40.0 * scale, 3.0 * scale, 0.0)
    empty.bpy.context.view_layer.update()
    view = SimpleNamespace(view_perspective=perspective, view_location=None, view_distance=0.0)
    space = SimpleNamespace(region_3d=view, lens=50.0, clip_start=0.01, clip_end=1000.0)
    overview.look_at_sphere(space, (900, 600), *overview.sphere_around(objects))
    corners = np.concatenate(
        [np.array(obj.bound_box) + np.array(obj.location) for obj in objects]
    ) - np.array(view.view_location)
    for away in np.eye(3):  # looked at from any side
        depth = view.view_distance - corners @ away
        across = np.linalg.norm(corners - np.outer(corners @ away, away), axis=1)
        at = view.view_distance if view.view_perspective == "ORTHO" else depth
        assert (across / at < 36.0 / 50.0 * 600 / 900).all()
        assert depth.min() > 2.0 * space.clip_start
        assert depth.max() < space.clip_end
    assert view.view_perspective == ("ORTHO" if perspective == "ORTHO" else "PERSP")


# Dropped, in a window ------------------------------------------------------------------------


def test_blender_knows_what_may_be_dropped(extension: SimpleNamespace) -> None:
    """Each way in names an operator that has the properties which Blender fills in."""
    import bpy

    ways_in = extension.part("addon.files.ways_in")
    for handler in ways_in.HANDLERS:
        known = bpy.types.FileHandler.bl_rna_get_subclass_py(handler.bl_idname)
        assert known.bl_label == handler.bl_label
        assert set(handler.bl_file_extensions.split(";")) == {
            *(".stl", ".ply", ".obj", ".off", ".3mf"),
        }
        operator = getattr(bpy.ops.cuspwise, handler.bl_import_operator.partition(".")[2])
        assert operator.get_rna_type().name == handler.bl_label  # which Blender's menu shows
        properties = operator.get_rna_type().properties
        assert {"directory", "files", "filepath"} <= set(properties.keys())
        assert properties["files"].is_skip_save
    view = SimpleNamespace(area=SimpleNamespace(type="VIEW_3D"), window_manager=manager(False))
    assert all(handler.poll_drop(view) for handler in ways_in.HANDLERS)
    busy = SimpleNamespace(area=view.area, window_manager=manager(True))
    text = SimpleNamespace(area=SimpleNamespace(type="TEXT_EDITOR"), window_manager=manager(False))
    nowhere = SimpleNamespace(area=None, window_manager=manager(False))
    for context in (busy, text, nowhere):
        assert not any(handler.poll_drop(context) for handler in ways_in.HANDLERS)


def manager(running: bool) -> SimpleNamespace:
    return SimpleNamespace(cuspwise_job=SimpleNamespace(running=running))


def test_dropped_with_the_design(empty: SimpleNamespace, folder: Path) -> None:
    """As Blender calls the operator once the question for the design was answered."""
    names = ["crown 10.stl", "crown 2.ply"]
    files = [{"name": name} for name in names]
    dropped = {"directory": str(folder / "milled"), "files": files}
    filled_in = {**dropped, "filepath": str(folder / "milled" / names[0])}
    assert call(empty, "drop_scans", **filled_in, design_file=names[0]) == {"FINISHED"}
    assert empty.scene.cuspwise.design.name == "crown 10"
    assert listed(empty) == [("crown 2", "")]
    assert call(empty, "drop_design", **filled_in) == {"FINISHED"}
    assert empty.scene.cuspwise.design.name == "crown 10.001"
    assert [name for name, _ in listed(empty)] == ["crown 2", "crown 2.001"]


# No half-imported objects --------------------------------------------------------------------


@pytest.fixture
def steps(empty: SimpleNamespace, folder: Path) -> Iterator[Any]:
    """What the thread read of three files, and the steps that make objects of it."""
    request, reading = empty.part("addon.files.request"), empty.part("addon.files.reading")
    run = empty.part("standalone_core.progress").run
    asked = request.Asked(str(folder))
    units = request.SceneUnits(None, "AUTO", "METRIC", 1.0)
    read = run(reading.read_files_steps(lambda: asked.files(design_is_chosen=True), "auto", units))
    assert len(read.files) == 3
    return empty.part("addon.files.placing").add_steps(empty.bpy.context, read.files)


def test_given_up_half_way_nothing_is_there(empty: SimpleNamespace, steps: Any) -> None:
    data = empty.bpy.data
    for _ in range(10):  # in the midst of the second object
        next(steps)
    assert 0 < len(data.objects) < 3
    assert not empty.scene.objects
    steps.close()
    assert (len(data.objects), len(data.meshes)) == (0, 0)
    assert not empty.scene.cuspwise.scans


def test_reading_needs_no_blender() -> None:
    """What runs in the thread imports nothing of Blender's."""
    root = Path(__file__).resolve().parents[3] / "addon"
    for name in ("files/request.py", "files/reading.py", "files/source.py", "blender/units.py"):
        text = (root / name).read_text(encoding="utf-8")
        assert "import bpy" not in text
        assert "mathutils" not in text

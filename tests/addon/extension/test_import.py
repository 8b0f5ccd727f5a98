"""Scans from files: unit, size, numbers kept, problems named."""

from __future__ import annotations

import zipfile
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest


@pytest.fixture
def files(tmp_path: Path, extension: SimpleNamespace, surfaces: SimpleNamespace) -> Path:
    write = extension.part("standalone_core.mesh.files").write_mesh
    write(tmp_path / "Krone 1 ü.stl", surfaces.scan)
    write(tmp_path / "krone2.ply", surfaces.scan)
    shrunk = np.diag([0.001, 0.001, 0.001, 1.0])
    write(tmp_path / "metres.ply", surfaces.scan.moved(shrunk))
    (tmp_path / "broken.stl").write_bytes(b"solid nothing\nendsolid nothing\n")
    return tmp_path


def import_files(case: SimpleNamespace, folder: Path, *names: str, **options: str) -> set[str]:
    return case.bpy.ops.cuspwise.import_scans(
        directory=str(folder), files=[{"name": name} for name in names], **options
    )


@pytest.mark.parametrize("scale", [1.0, 0.001])
def test_import_and_check(
    empty: SimpleNamespace,
    extension: SimpleNamespace,
    surfaces: SimpleNamespace,
    files: Path,
    scale: float,
) -> None:
    """In a scene of millimetres or of metres: the size and the numbers are the same."""
    settings = empty.scene.cuspwise
    design = extension.add_object("Design", surfaces.design, scale)
    settings.design = design
    settings.spacing_mm = extension.spacing_mm
    assert import_files(empty, files, "Krone 1 ü.stl", "metres.ply", group="A") == {"FINISHED"}
    assert [item.scan.name for item in settings.scans] == ["Krone 1 ü", "metres"]
    assert {item.group for item in settings.scans} == {"A"}
    size = surfaces.scan.bounds[1] - surfaces.scan.bounds[0]
    for item in settings.scans:
        assert np.array(item.scan.dimensions) == pytest.approx(size * scale, rel=1e-5)
        assert f"{size[0]:.2f} ×" in item.scan.cuspwise.file_notes
    assert "file in m, guessed" in settings.scans[1].scan.cuspwise.file_notes
    assert settings.scan_index == 0
    settings.scan_index = 1
    assert empty.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    check = extension.part("standalone_core.check")
    expected = check.check_meshes(
        surfaces.design, surfaces.scan, check.CheckSettings(spacing_mm=extension.spacing_mm)
    ).measures_of()
    store = extension.part("addon.check.store")
    found = store.rows_of(store.result_of(settings.scans[1].scan))[0]
    assert found["rms_um"] == pytest.approx(expected.rms_um, abs=0.01)


def test_points_are_those_of_the_file(
    empty: SimpleNamespace, extension: SimpleNamespace, files: Path
) -> None:
    """To a part of a nanometre, however far from the origin the scanner put them."""
    read = extension.part("standalone_core.mesh.files")
    there = read.read_mesh(files / "krone2.ply").mesh
    far = np.eye(4)
    far[:3, 3] = (512.0, -300.0, 128.0)
    read.write_mesh(files / "far.ply", there.moved(far))
    expected = read.read_mesh(files / "far.ply").mesh
    assert import_files(empty, files, "far.ply") == {"FINISHED"}
    scan = empty.scene.cuspwise.scans[0].scan
    own = extension.part("addon.blender.bridge").positions(scan.data).astype(float)
    world = own + np.array(scan.location)
    assert np.abs(world - expected.vertices).max() < 1e-6
    assert len(scan.data.polygons) == len(expected.faces)


def test_the_file_is_kept_with_the_object(
    empty: SimpleNamespace, extension: SimpleNamespace, files: Path
) -> None:
    """All that the core found in it, so that a report says the same as one made from the file."""
    assert import_files(empty, files, "Krone 1 ü.stl") == {"FINISHED"}
    scan = empty.scene.cuspwise.scans[0].scan
    expected = extension.part("standalone_core.mesh.files").read_mesh(files / "Krone 1 ü.stl")
    assert scan.cuspwise.source_file == str(files / "Krone 1 ü.stl")
    origin = extension.part("addon.files.source").origin_of(scan)
    assert origin.pop("object") == scan.name
    assert origin.pop("path") == str(expected.path)
    facts = {name: value for name, value in vars(expected).items() if name not in ("mesh", "path")}
    assert origin == extension.part("standalone_core.records").plain(facts)


def test_unit_given(empty: SimpleNamespace, files: Path, surfaces: SimpleNamespace) -> None:
    assert import_files(empty, files, "krone2.ply", unit="inch") == {"FINISHED"}
    scan = empty.scene.cuspwise.scans[0].scan
    size = surfaces.scan.bounds[1] - surfaces.scan.bounds[0]
    assert np.array(scan.dimensions) == pytest.approx(25.4 * size, rel=1e-5)
    assert "too large" in scan.cuspwise.file_notes


def test_goes_on_past_a_broken_file(empty: SimpleNamespace, files: Path) -> None:
    assert import_files(empty, files, "broken.stl", "krone2.ply") == {"FINISHED"}
    assert len(empty.scene.cuspwise.scans) == 1


def test_broken_and_missing_files(empty: SimpleNamespace, files: Path) -> None:
    for name in ("broken.stl", "missing.stl"):
        with pytest.raises(RuntimeError, match=name):
            import_files(empty, files, name)
    with pytest.raises(RuntimeError, match="No file was chosen"):
        empty.bpy.ops.cuspwise.import_scans()
    assert not empty.scene.cuspwise.scans
    assert not empty.bpy.data.objects


def test_a_new_scene_takes_the_preferences_defaults(
    empty: SimpleNamespace, extension: SimpleNamespace, files: Path
) -> None:
    preferences = extension.part("addon.properties.preferences").preferences()
    before = (preferences.spacing_mm, preferences.tolerance_margin_um)
    preferences.spacing_mm, preferences.tolerance_margin_um = 0.25, 11.0
    try:
        assert import_files(empty, files, "krone2.ply") == {"FINISHED"}
        settings = empty.scene.cuspwise
        assert settings.spacing_mm == pytest.approx(0.25)
        assert settings.tolerance_margin_um == pytest.approx(11.0)
        # Only once: what somebody chose in the scene stays.
        settings.spacing_mm = 0.3
        settings.design = settings.scans[0].scan
        assert settings.spacing_mm == pytest.approx(0.3)
    finally:
        preferences.spacing_mm, preferences.tolerance_margin_um = before


def test_a_3mf_file_is_read_in_its_own_unit(
    empty: SimpleNamespace, extension: SimpleNamespace, surfaces: SimpleNamespace, tmp_path: Path
) -> None:
    """Written by hand after the 3MF Core Specification 1.3: a zip with an XML model in inches."""
    mesh = surfaces.scan
    vertices = "".join(
        f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in (mesh.vertices / 25.4).tolist()
    )
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces)
    core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    model = (
        f'<model unit="inch" xmlns="{core}"><resources><object id="1" type="model"><mesh>'
        f"<vertices>{vertices}</vertices><triangles>{triangles}</triangles>"
        '</mesh></object></resources><build><item objectid="1"/></build></model>'
    )
    with zipfile.ZipFile(tmp_path / "printed.3mf", "w") as archive:
        archive.writestr("3D/3dmodel.model", model)
    assert import_files(empty, tmp_path, "printed.3mf") == {"FINISHED"}
    (item,) = empty.scene.cuspwise.scans
    size = surfaces.scan.bounds[1] - surfaces.scan.bounds[0]
    assert np.array(item.scan.dimensions) == pytest.approx(size, rel=1e-5)
    assert "inch" in item.scan.cuspwise.file_notes

"""Writing meshes, whole or not at all."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.atomic import atomic_write
from cuspwise.standalone_core.errors import FileError, SettingError
from cuspwise.standalone_core.mesh.files import read_mesh, write_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh

SPHERE = trimesh.creation.icosphere(subdivisions=2, radius=5.0)
MESH = TriangleMesh(SPHERE.vertices, SPHERE.faces, "sphere")
FLOAT32_AT_5_MM = 2.5e-7  # half the spacing of float32 numbers from 4 to 8


def test_ply_reads_back_in_trimesh_with_values_and_colours(tmp_path: Path) -> None:
    deviation = np.linspace(-30.0, 30.0, len(MESH.vertices))
    deviation[3] = np.nan
    colours = np.arange(3 * len(MESH.vertices)).reshape(-1, 3).astype(np.uint8)
    path = write_mesh(tmp_path / "map.ply", MESH, {"deviation_um": deviation}, colours)
    back = trimesh.load_mesh(path, process=False)
    np.testing.assert_allclose(back.vertices, MESH.vertices, rtol=0, atol=FLOAT32_AT_5_MM)
    np.testing.assert_array_equal(back.faces, MESH.faces)
    np.testing.assert_array_equal(back.visual.vertex_colors[:, :3], colours)
    raw = back.metadata["_ply_raw"]["vertex"]["data"]["deviation_um"]
    np.testing.assert_array_equal(raw, deviation.astype(np.float32))


@pytest.mark.parametrize("name", ["sphere.ply", "sphere.STL"])
def test_what_is_written_is_read(tmp_path: Path, name: str) -> None:
    mesh = read_mesh(write_mesh(tmp_path / name, MESH)).mesh
    assert len(mesh.vertices) == len(MESH.vertices)
    np.testing.assert_allclose(mesh.triangles, MESH.triangles, rtol=0, atol=FLOAT32_AT_5_MM)


def test_stl_reads_in_trimesh_with_its_normals(tmp_path: Path) -> None:
    path = write_mesh(tmp_path / "sphere.stl", MESH)
    back = trimesh.load_mesh(path, process=False)
    np.testing.assert_allclose(back.triangles, MESH.triangles, rtol=0, atol=FLOAT32_AT_5_MM)
    np.testing.assert_allclose(back.face_normals, MESH.face_normals, rtol=0, atol=1e-6)
    assert not path.read_bytes().startswith(b"solid")


@pytest.mark.parametrize(
    ("name", "values", "colours"),
    [
        ("mesh.obj", None, None),
        ("mesh.stl", {"deviation_um": np.zeros(162)}, None),
        ("mesh.ply", {"deviation_um": np.zeros(161)}, None),
        ("mesh.ply", {"two words": np.zeros(162)}, None),
        ("mesh.ply", {"x": np.zeros(162)}, None),
        ("mesh.ply", None, np.zeros((162, 4), dtype=np.uint8)),
        ("mesh.ply", None, np.zeros((162, 3))),
    ],
)
def test_what_does_not_fit_is_refused(
    tmp_path: Path, name: str, values: dict[str, np.ndarray] | None, colours: np.ndarray | None
) -> None:
    with pytest.raises(SettingError):
        write_mesh(tmp_path / name, MESH, values, colours)
    assert list(tmp_path.iterdir()) == []


def test_atomic_write_makes_and_replaces(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    atomic_write(path, "Höhe\n")
    assert path.read_bytes() == "Höhe\n".encode()
    atomic_write(path, b"\x00\x01")
    assert path.read_bytes() == b"\x00\x01"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("failure", [OSError(errno.ENOSPC, "No space left"), KeyboardInterrupt()])
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_failure_leaves_the_old_file_and_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, failure: BaseException
) -> None:
    path = tmp_path / "measures.csv"
    path.write_text("old")

    def fail(*_: object) -> None:
        raise failure

    monkeypatch.setattr(os, step, fail)
    expected = FileError if isinstance(failure, OSError) else KeyboardInterrupt
    with pytest.raises(expected):
        atomic_write(path, "new")
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_missing_folder_and_folder_as_target_are_said(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="No such file or directory") as caught:
        atomic_write(tmp_path / "none" / "a.csv", "x")
    assert caught.value.subject.endswith("a.csv")
    (tmp_path / "folder").mkdir()
    with pytest.raises(FileError):
        atomic_write(tmp_path / "folder", "x")
    (tmp_path / "file").write_text("")
    with pytest.raises(FileError):
        atomic_write(tmp_path / "file" / "a.csv", "x")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "folder"]

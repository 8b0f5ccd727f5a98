"""Every real mesh file: the counts that its source page states, or a named error.

The counts were stated beside the files, measured after merging exactly equal vertices.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest
from cuspwise.standalone_core.errors import CuspwiseError, FileError
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.health import inspect_mesh
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.repair import repair_mesh


class Facts(NamedTuple):
    triangles: int
    size: tuple[float, float, float]
    border_edges: int = 0
    borders: int = 0
    pieces: int = 1
    non_manifold_edges: int = 0
    degenerate_faces: int = 0
    duplicate_faces: int = 0
    is_mixed: bool = False
    volume: float | None = None


FACTS = {
    "crowns/incisor_enamel_cap.ply": Facts(16403, (10.65, 11.56, 9.58), 541, 4),
    "crowns/incisor_dentine.ply": Facts(31026, (14.58, 20.43, 14.79), 30, 5, non_manifold_edges=1),
    "crowns/small_molar_cap.ply": Facts(9999, (5.835, 4.51, 4.471), 107, 1),
    "teeth/sj_crown_FDI11.obj": Facts(6784, (8.434, 8.198, 7.749), volume=187.34),
    "teeth/sj_crown_FDI16.obj": Facts(5404, (11.73, 7.665, 12.59), volume=464.66),
    "teeth/sj_crown_FDI36.obj": Facts(5588, (11.79, 6.888, 12.13), volume=417.82),
    "arch_pairs/case0_upper_reference.obj": Facts(
        85232, (63.7, 11.34, 48.28), pieces=14, degenerate_faces=3, volume=3656.9
    ),
    "arch_pairs/case0_upper_test.obj": Facts(
        82444, (61.3, 9.834, 45.54), pieces=14, degenerate_faces=4, volume=3159.4
    ),
    "worn_pair/dentine_original.ply": Facts(146560, (8.886, 7.992, 7.678), 814, 1),
    "worn_pair/dentine_clipped.ply": Facts(139554, (8.872, 7.991, 7.287), 806, 1),
    "registration/hippo1.obj": Facts(59166, (1, 0.5292, 0.3171), 1886, 23, 7),
    "registration/hippo2.obj": Facts(42254, (0.691, 0.5201, 0.809), 1582, 12, 10),
    "registration/parasaur_6700.ply": Facts(9140, (230, 262.7, 103), 4422, 114, 33),
    "nasty/binary_solid_header_big.stl": Facts(18808, (88.01, 22.3, 101), volume=38230),
    "nasty/binary_header_bad_utf8.stl": Facts(12, (2, 2, 2), volume=8),
    "nasty/ascii_dos_newlines.stl": Facts(116, (1.628, 0.35, 3), volume=0.88872),
    "nasty/mixed_winding.stl": Facts(10, (4, 4, 4), is_mixed=True),
    "nasty/soup.stl": Facts(100, (0.9974, 0.9965, 0.9929), 300, 100, 100),
    "nasty/ascii_two_solids_touching.stl": Facts(
        32, (0.636, 1.088, 0.3399), pieces=2, is_mixed=True
    ),
    "nasty/inch_part.stl": Facts(3476, (5, 2.5, 1.375), 576, 16),
    "nasty/metre_part.ply": Facts(3262, (0.2286, 0.1647, 0.01588), 54, 2, 2),
    "nasty/vertex_colour_nonmanifold.ply": Facts(
        43368, (1.875, 1.875, 1.107), pieces=100, non_manifold_edges=242
    ),
    "nasty/quads.obj": Facts(2880, (170.7, 133.7, 181.3), volume=1.0573e6),
    "nasty/negative_indices.obj": Facts(12, (2, 2, 2), volume=8),
    "nasty/nan_colour.obj": Facts(12, (1, 1, 1), volume=1),
    "nasty/shared_edge_tetrahedra.obj": Facts(
        8, (1.5, 1.732, 2), non_manifold_edges=3, duplicate_faces=1
    ),
    "nasty/big_endian_horse.ply": Facts(96966, (0.08401, 0.1833, 0.1528), volume=-0.00026342),
    "nasty/ascii_spider.stl": Facts(
        1368, (6.23, 8, 3.299), 72, 6, 18, degenerate_faces=56, is_mixed=True
    ),
    "nasty/crlf_header_binary.ply": Facts(12, (1, 1, 1), volume=1),
}
NO_MESH = {
    "nasty/empty.stl": "no triangles",
    "nasty/points_empty_face_element.ply": "1,024 points but no triangles",
    "nasty/points_only.ply": "24 points but no triangles",
    "nasty/broken_header_fuzz.ply": "a line of 28,393 characters",
    "nasty/malformed.obj": "Line 28 names vertex 0; OBJ files count from 1",
}


@pytest.mark.parametrize("name", FACTS)
def test_real_file_has_the_counts_stated_with_it(shared_meshes: Path, name: str) -> None:
    facts = FACTS[name]
    file = read_mesh(shared_meshes / name, unit="mm")
    health = inspect_mesh(file.mesh)
    assert health.triangles == facts.triangles
    assert health.size_mm == pytest.approx(facts.size, rel=1e-3)
    assert (health.border_edges, health.borders) == (facts.border_edges, facts.borders)
    assert health.closed == (facts.border_edges == 0)
    assert health.pieces == facts.pieces
    assert health.non_manifold_edges == facts.non_manifold_edges
    assert health.degenerate_faces == facts.degenerate_faces
    assert health.duplicate_faces == facts.duplicate_faces
    assert (health.mixed_winding_edges > 0) == facts.is_mixed
    if facts.volume is not None:
        assert health.volume_mm3 == pytest.approx(facts.volume, rel=1e-4)


@pytest.mark.parametrize("name", NO_MESH)
def test_file_without_a_mesh_says_why(shared_meshes: Path, name: str) -> None:
    with pytest.raises(FileError, match=NO_MESH[name]):
        read_mesh(shared_meshes / name)


def test_no_file_is_left_out(shared_meshes: Path) -> None:
    found = {
        f"{path.parent.name}/{path.name}"
        for path in shared_meshes.glob("*/*")
        if path.suffix in (".stl", ".ply", ".obj")
    }
    assert found == {*FACTS, *NO_MESH}


@pytest.mark.parametrize("name", FACTS)
def test_real_file_is_repaired_to_one_outward_sense(shared_meshes: Path, name: str) -> None:
    before = read_mesh(shared_meshes / name, unit="mm").mesh
    repair = repair_mesh(before)
    health = inspect_mesh(repair.mesh)
    assert health.mixed_winding_edges == 0
    assert health.inward_pieces == 0
    assert health.duplicate_faces == 0
    assert health.borders <= FACTS[name].borders
    assert health.volume_mm3 is None or health.volume_mm3 > 0
    assert bool(repair.actions) == (repair.mesh is not before)
    try:
        evaluation = evaluation_mesh(repair.mesh, repair.mesh.diagonal_mm / 100)
    except CuspwiseError as error:  # pragma: no cover
        pytest.fail(str(error))
    assert evaluation.mesh.area_mm2 == pytest.approx(repair.mesh.area_mm2, rel=1e-12)


def test_units_of_the_real_crowns_are_found(shared_meshes: Path) -> None:
    for folder in ("crowns", "teeth", "worn_pair", "arch_pairs"):
        for path in (shared_meshes / folder).glob("*.[po][lb][yj]"):
            file = read_mesh(path)
            assert (file.unit, file.unit_guessed, file.notes) == ("mm", True, ())

"""Reading mesh files: formats against each other, damage, hostile files."""

from __future__ import annotations

import io
import os
import struct
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.errors import FileError, SettingError
from cuspwise.standalone_core.mesh import formats
from cuspwise.standalone_core.mesh.files import read_mesh, read_mesh_steps
from cuspwise.standalone_core.mesh.health import inspect_mesh
from cuspwise.standalone_core.progress import Progress, run

SPHERE = trimesh.creation.icosphere(subdivisions=2, radius=5.0)  # 162 vertices, 320 faces


def _save(folder: Path, name: str, content: bytes | str) -> Path:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def _same_surface(points: np.ndarray, faces: np.ndarray, tolerance: float) -> None:
    """Compare corner by corner with the sphere: same triangles, same order, same winding."""
    np.testing.assert_allclose(points[faces], SPHERE.triangles, rtol=0, atol=tolerance)


EXPORTS = {
    "binary STL": ("stl", {}, 5e-7),
    "ASCII STL": ("stl_ascii", {}, 1e-12),
    "PLY": ("ply", {}, 5e-7),
    "PLY as text": ("ply", {"encoding": "ascii"}, 1e-6),
    "OBJ": ("obj", {"include_normals": True, "digits": 14}, 1e-12),
    "OFF": ("off", {"digits": 14}, 1e-12),
    "3MF": ("3mf", {}, 1e-12),
}


@pytest.mark.parametrize("format_name", EXPORTS)
def test_every_format_gives_the_same_surface(tmp_path: Path, format_name: str) -> None:
    # Reference: the sphere as trimesh made it and wrote it.
    file_type, options, tolerance = EXPORTS[format_name]
    content = SPHERE.export(file_type=file_type, **options)
    suffix = "stl" if "stl" in file_type else file_type
    file = read_mesh(_save(tmp_path, f"sphere.{suffix}", content))
    assert file.format == format_name.removesuffix(" as text")
    assert len(file.mesh.vertices) == 162
    _same_surface(file.mesh.vertices, file.mesh.faces, tolerance)
    assert file.notes == ()
    assert file.unit == "mm"
    assert file.unit_guessed == (format_name != "3MF")  # 3MF says its unit


def test_the_steps_of_reading_say_which_file_and_how_far(tmp_path: Path) -> None:
    path = _save(tmp_path, "sphere.stl", SPHERE.export(file_type="stl"))
    said: list[Progress] = []
    file = run(read_mesh_steps(path), said.append)
    assert {progress.label for progress in said} == {"Reading sphere.stl"}
    fractions = [progress.fraction for progress in said]
    assert fractions == sorted(set(fractions))
    np.testing.assert_array_equal(file.mesh.vertices, read_mesh(path).mesh.vertices)


@pytest.mark.parametrize("suffix", ["ply", "obj", "off", "3mf", "txt", ""])
def test_content_decides_over_the_name(tmp_path: Path, suffix: str) -> None:
    file = read_mesh(_save(tmp_path, f"sphere.{suffix}", SPHERE.export(file_type="stl")))
    assert file.format == "binary STL"
    assert len(file.mesh) == 320
    assert "binary STL" in file.notes[0]


def test_ply_named_stl_is_read_and_said(tmp_path: Path) -> None:
    file = read_mesh(_save(tmp_path, "sphere.stl", SPHERE.export(file_type="ply")))
    assert file.format == "PLY"
    assert file.notes == ("Its name ends in .stl, its content is PLY.",)


def test_binary_stl_with_a_header_like_an_ascii_one(tmp_path: Path) -> None:
    content = b"solid facet normal endsolid".ljust(80) + SPHERE.export(file_type="stl")[80:]
    file = read_mesh(_save(tmp_path, "sphere.stl", content))
    assert file.format == "binary STL"
    _same_surface(file.mesh.vertices, file.mesh.faces, 5e-7)


def test_several_solids_in_one_ascii_stl(tmp_path: Path) -> None:
    one = SPHERE.export(file_type="stl_ascii")
    moved = SPHERE.copy().apply_translation((30, 0, 0)).export(file_type="stl_ascii")
    mesh = read_mesh(_save(tmp_path, "two.stl", one + moved)).mesh
    assert len(mesh) == 640
    assert inspect_mesh(mesh).pieces == 2


def test_obj_polygons_materials_continued_lines_and_negative_indices(tmp_path: Path) -> None:
    text = (
        "mtllib missing.mtl\no box\nv 0 0 0\nv 9 0 0\nv 9 9 0\nv 0 9 0\n"
        "usemtl a\nf 1/1/1 2/2/1 \\\n3/3/1 4/4/1\nv 4 4 9\ng roof\n"
        "f -5 -1 -4\nf 2 5 3\nusemtl b\nf 3 5 4\nf 4 5 1\n"
    )
    mesh = read_mesh(_save(tmp_path, "pyramid.obj", text)).mesh
    assert len(mesh.vertices) == 5
    assert len(mesh) == 6
    assert inspect_mesh(mesh).closed


# --- 3MF -------------------------------------------------------------------------------------

MODEL = (
    '<?xml version="1.0"?><model unit="{unit}" '
    'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
    '<object id="1" type="model"><mesh><vertices><vertex x="0" y="0" z="0"/>'
    '<vertex x="8" y="0" z="0"/><vertex x="0" y="8" z="0"/><vertex x="0" y="0" z="8"/></vertices>'
    '<triangles><triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/>'
    '<triangle v1="1" v2="2" v3="3"/><triangle v1="0" v2="3" v3="2"/></triangles></mesh></object>'
    "{objects}</resources><build>{items}</build></model>"
)


def _threemf(unit: str = "millimeter", objects: str = "", items: str = "") -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        items = items or '<item objectid="1"/>'
        archive.writestr("3D/3dmodel.model", MODEL.format(unit=unit, objects=objects, items=items))
    return packed.getvalue()


@pytest.mark.parametrize(
    ("unit", "mm"),
    [
        # The units of the 3MF core specification; their lengths from the SI and the
        # international inch and foot (1959).
        *(("micron", 0.001), ("millimeter", 1.0), ("centimeter", 10.0)),
        *(("inch", 25.4), ("foot", 304.8), ("meter", 1000.0)),
    ],
)
def test_3mf_unit_is_honoured(tmp_path: Path, unit: str, mm: float) -> None:
    path = _save(tmp_path, "part.3mf", _threemf(unit))
    file = read_mesh(path)
    assert not file.unit_guessed
    assert file.scale_to_mm == mm
    assert file.mesh.volume_mm3 == pytest.approx(8**3 / 6 * mm**3)
    assert read_mesh(path, unit="mm").mesh.volume_mm3 == pytest.approx(8**3 / 6)


def test_3mf_parts_are_placed(tmp_path: Path) -> None:
    # Row vectors times this matrix, by the 3MF core specification: a quarter turn about z,
    # then a shift by 20 along x; the second item mirrors x and so must keep its outside out.
    items = (
        '<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 20 0 0"/>'
        '<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>'
    )
    file = read_mesh(_save(tmp_path, "two.3mf", _threemf(items=items)))
    assert file.notes == ("Its 2 objects were read as one surface.",)
    mesh = file.mesh
    health = inspect_mesh(mesh)
    assert (health.pieces, health.triangles) == (2, 8)
    np.testing.assert_allclose(mesh.bounds, [[-8, 0, 0], [20, 8, 8]], atol=1e-12)
    assert health.inward_pieces == 0
    assert health.volume_mm3 == pytest.approx(2 * 8**3 / 6)


def test_3mf_that_multiplies_its_parts_is_refused(tmp_path: Path) -> None:
    twice = '<object id="{0}"><components><component objectid="{1}"/><component objectid="{1}"/>'
    nested = "".join(
        twice.format(k, k - 1) + "</components></object>" for k in range(2, 42)
    )  # 2**40 tetrahedra
    path = _save(tmp_path, "bomb.3mf", _threemf(objects=nested, items='<item objectid="41"/>'))
    with pytest.raises(FileError, match="127 parts or more, and Cuspwise reads 100 at"):
        read_mesh(path)


def test_3mf_that_places_hundreds_of_parts_is_refused_with_their_count(tmp_path: Path) -> None:
    """Each costs the parser time that grows with the others: two thousand took seconds."""
    for count in (formats.MAX_PARTS, formats.MAX_PARTS + 1, 700):
        items = "".join(
            f'<item objectid="1" transform="1 0 0 0 1 0 0 0 1 {9 * k % 90} {9 * k // 90} 0"/>'
            for k in range(count)
        )
        path = _save(tmp_path, "plate.3mf", _threemf(items=items))
        if count <= formats.MAX_PARTS:
            assert len(read_mesh(path).mesh) == 4 * count
            continue
        with pytest.raises(FileError, match=f"places {count} parts or more") as caught:
            read_mesh(path)
        assert "Export only the crown" in caught.value.remedy


def test_3mf_object_that_holds_itself_is_refused(tmp_path: Path) -> None:
    ring = '<object id="2"><components><component objectid="2"/></components></object>'
    path = _save(tmp_path, "ring.3mf", _threemf(objects=ring, items='<item objectid="2"/>'))
    with pytest.raises(FileError, match="hold themselves"):
        read_mesh(path)


def test_archive_that_unpacks_to_gigabytes_is_refused(tmp_path: Path) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", b" " * (formats.MAX_3MF_BYTES + 1))
    assert len(packed.getvalue()) < 1_000_000
    with pytest.raises(FileError, match="unpacks to 80 MB"):
        read_mesh(_save(tmp_path, "bomb.3mf", packed.getvalue()))


def test_xml_entities_are_not_expanded(tmp_path: Path) -> None:
    laughs = "".join(f'<!ENTITY e{k} "{f"&e{k - 1};" * 10}">' for k in range(1, 10))
    model = f'<?xml version="1.0"?><!DOCTYPE m [<!ENTITY e0 "ha">{laughs}]><model>&e9;</model>'
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("3D/3dmodel.model", model)
    with pytest.raises(FileError):
        read_mesh(_save(tmp_path, "laughs.3mf", packed.getvalue()))


# --- numbers that are none, merging ----------------------------------------------------------


def test_nan_vertices_take_their_triangles_with_them(tmp_path: Path) -> None:
    vertices = SPHERE.vertices.copy()
    vertices[7, 1], vertices[11, 2] = np.nan, np.inf
    touching = np.isin(SPHERE.faces, [7, 11]).any(axis=1).sum()
    lines = [f"v {x} {y} {z}" for x, y, z in vertices]
    lines += [f"f {a} {b} {c}" for a, b, c in SPHERE.faces + 1]
    file = read_mesh(_save(tmp_path, "sphere.obj", "\n".join(lines)))
    assert file.nan_vertices == 2
    assert len(file.mesh) == 320 - touching
    assert file.notes == (
        f"2 vertices are not finite numbers; {touching} of 320 triangles touch them and were "
        "left out.",
    )


def test_file_of_nan_only_is_refused(tmp_path: Path) -> None:
    triangle = np.full(12, np.nan, dtype="<f4").tobytes() + b"\0\0"
    content = bytes(80) + struct.pack("<I", 3) + 3 * triangle
    with pytest.raises(FileError, match="None of its triangles"):
        read_mesh(_save(tmp_path, "nan.stl", content))


def test_vertices_are_merged_exactly_and_in_order_of_appearance(tmp_path: Path) -> None:
    # −0 equals +0; one unit in the last place apart does not.
    x = np.nextafter(np.float32(5), np.float32(6))
    rows = [(0, 0, 0), (5, 0, 0), (0, 5, 0), (5, 0, 0), (0, 5, 0), (x, 5, 0)]
    rows += [(-0.0, 0, 0), (5, 0, 0), (0, 0, 5)]
    corners = np.array(rows, dtype="<f4").reshape(3, 9)
    content = bytes(80) + struct.pack("<I", 3)
    content += b"".join(bytes(12) + row.tobytes() + b"\0\0" for row in corners)
    mesh = read_mesh(_save(tmp_path, "three.stl", content)).mesh
    assert mesh.faces.tolist() == [[0, 1, 2], [1, 2, 3], [0, 1, 4]]
    assert mesh.vertices[3, 0] == x


def test_merging_agrees_with_trimesh(shared_meshes: Path) -> None:
    path = shared_meshes / "nasty" / "binary_solid_header_big.stl"
    reference = trimesh.load_mesh(path, process=False)
    unique = np.unique(np.asarray(reference.vertices), axis=0)
    mesh = read_mesh(path).mesh
    assert len(mesh.vertices) == len(unique)
    np.testing.assert_array_equal(mesh.triangles, reference.triangles)


# --- what cannot be used ---------------------------------------------------------------------


def _stl(count: int, held: int, extra: int = 0) -> bytes:
    return bytes(80) + struct.pack("<I", count) + bytes(50 * held + extra)


PLY_HEAD = "ply\nformat {} 1.0\nelement vertex {}\nproperty float x\nproperty float y\n"
PLY_HEAD += (
    "property float z\nelement face {}\nproperty list uchar int vertex_indices\nend_header\n"
)

UNUSABLE = {
    "empty.stl": (b"", "It is empty"),
    "short.stl": (bytes(50), "too few for an STL header"),
    "cut.stl": (_stl(1000, 700, 20), "promises 1,000 triangles, 300 of them are missing"),
    "count.stl": (_stl(2**32 - 1, 2), "4,294,967,293 of them are missing"),
    "longer.stl": (_stl(3, 3, 7), "it is 7 bytes longer"),
    "none.stl": (_stl(0, 0), "holds no triangles"),
    "cut_text.stl": (SPHERE.export(file_type="stl_ascii")[:20000], "ends early or is damaged"),
    "words.stl": ("solid\n facet normal a b c\n endsolid", "ends early or is damaged"),
    "cut.ply": (SPHERE.export(file_type="ply")[:-130], r"promises 320 entries of 'face', 10 of"),
    "head.ply": (SPHERE.export(file_type="ply")[:60], "header never ends"),
    "count.ply": (PLY_HEAD.format("binary_little_endian", 10**12, 1), "are missing"),
    "negative.ply": (PLY_HEAD.format("ascii", -5, 1) + "0 0 0\n", "entries of 'vertex'"),
    "points.ply": (PLY_HEAD.format("ascii", 2, 0) + "0 0 0\n1 1 1\n", "2 points but no triangles"),
    "range.ply": (
        PLY_HEAD.format("ascii", 3, 1) + "0 0 0\n9 0 0\n0 9 0\n3 0 1 7\n",
        "do not exist|not a whole",
    ),
    "cut.off": ("OFF\n4 4 0\n0 0 0\n9 0 0\n0 9 0\n0 0 9\n3 0 1 2\n", "promises 4 faces, 3 of"),
    "counts.off": ("OFF\nmany few\n", "no counts"),
    "range.obj": ("v 0 0 0\nv 9 0 0\nv 0 9 0\nf 1 2 9\n", "not a whole OBJ"),
    "words.obj": ("v 0 0 0\nv 9 0 0\nv 0 9 0\nf one two three\n", "not a whole OBJ"),
    "point.obj": ("v 1 2 3\nv 1 2 3\nv 1 2 3\nf 1 2 3\n", "in one place"),
    "huge.obj": ("v 0 0 0\nv 1e300 0 0\nv 0 9 0\nf 1 2 3\n", "no dental scan is that large"),
    "beyond.obj": ("v -1e308 0 0\nv 1e308 0 0\nv 0 9 0\nf 1 2 3\n", "no dental scan"),
    "zero.obj": ("v 0 0 0\nv 9 0 0\nv 0 9 0\n\nf 1 2 3\nf 1/1 0/2 3\n", "Line 6 names vertex 0"),
    "zero_on.obj": ("v 0 0 0\nv 9 0 0\nv 0 9 0\nf 1 2 \\\n3\nf 1 2 \\\n00\n", "Line 7 names ve"),
    "middle.ply": (PLY_HEAD.format("binary_middle", 0, 0), "line 2 is “format binary_middle 1.0”"),
    "none.ply": (PLY_HEAD.format("ascii", 0, 0).replace("format ascii 1.0\n", ""), "no format"),
    "odd.ply": (PLY_HEAD.format("ascii", "some", 1), "line 3 is “element vertex some”"),
    "wide.obj": ("v 0 0 0\nv 9 0 0\nv 0 9 0\nf 1 2 3\n".encode("utf-16"), "text in UTF-16"),
    "wide.stl": (SPHERE.export(file_type="stl_ascii").encode("utf-16-le"), "text in UTF-16"),
    "wide.off": (SPHERE.export(file_type="off").encode("utf-16-be"), "text in UTF-16"),
    "wide.ply": (SPHERE.export(file_type="ply", encoding="ascii").decode().encode("utf-16"), "UTF"),
    "cut.3mf": (_threemf()[:200], "not a whole 3MF archive"),
    "other.txt": ("Dear reader,\nthis is a letter.\n", "no mesh format"),
}


@pytest.mark.parametrize("name", UNUSABLE)
def test_unusable_file_says_why(tmp_path: Path, name: str) -> None:
    content, reason = UNUSABLE[name]
    path = _save(tmp_path, name, content)
    with pytest.raises(FileError, match=reason) as caught:
        read_mesh(path)
    assert caught.value.subject == str(path)
    assert caught.value.remedy
    if "UTF-16" in reason:
        assert "save it with the encoding UTF-8" in caught.value.remedy


def test_whole_numbers_that_only_look_like_vertex_0_are_read(tmp_path: Path) -> None:
    lines = [f"v {x} {y} {z}" for x, y, z in SPHERE.vertices]
    lines += [f"f {a}/0/10 {b:03d}//0 {c}" for a, b, c in SPHERE.faces + 1]
    mesh = read_mesh(_save(tmp_path, "sphere.obj", "\n".join(lines))).mesh
    np.testing.assert_array_equal(np.sort(mesh.triangles, 0), np.sort(SPHERE.triangles, 0))


@pytest.mark.skipif(sys.platform != "linux", reason="names are any bytes there only")
def test_a_name_that_is_not_utf_8_is_read_and_written_readably(tmp_path: Path) -> None:
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/cr\xffown.\xfe"))
    path.write_bytes(SPHERE.export(file_type="stl"))
    file = read_mesh(path)
    assert file.mesh.name == r"cr\xffown.\xfe"
    assert file.notes == (r"Its name ends in .\xfe, its content is binary STL.",)
    path.write_bytes(b"")
    with pytest.raises(FileError) as caught:
        read_mesh(path)
    assert caught.value.subject.endswith(r"cr\xffown.\xfe")
    str(caught.value).encode("utf-8")


def test_missing_file_and_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "none.stl", tmp_path):
        with pytest.raises(FileError, match="cannot be read"):
            read_mesh(path)


def test_unknown_unit_is_refused_before_reading(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match='unit: It is "furlong"'):
        read_mesh(tmp_path / "none.stl", unit="furlong")


def test_text_beyond_the_limits_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = _save(tmp_path, "sphere.off", SPHERE.export(file_type="off"))
    monkeypatch.setattr(formats, "MAX_TEXT_LINES", {"off": 400})
    with pytest.raises(FileError, match="million lines"):
        read_mesh(path)
    monkeypatch.setattr(formats, "MAX_TEXT_LINES", {"off": 4000})
    monkeypatch.setattr(formats, "MAX_TEXT_BYTES", 1000)
    with pytest.raises(FileError, match="MB of text"):
        read_mesh(path)

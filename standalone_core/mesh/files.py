"""Read mesh files to millimetres, with what was found on the way."""

from __future__ import annotations

import hashlib
import logging
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..errors import CuspwiseError, FileError
from ..progress import Progress, Steps, run
from ..readable import readable
from .formats import (
    EXPORT_AGAIN,
    FORMAT_NAMES,
    MAX_TRIANGLES,
    SUFFIX_FORMATS,
    check_safe,
    load_bytes,
    recognise,
    too_large,
)
from .grouping import group_points
from .triangle_mesh import TriangleMesh
from .units import check_unit, find_unit
from .write import write_mesh

__all__ = ["MAX_SIZE_MM", "MeshFile", "read_mesh", "write_mesh"]

# Ten metres: beyond any mistaken unit that could still be meant for a tooth.
MAX_SIZE_MM = 10_000.0

_SOLID_AFTER_SOLID = re.compile(rb"\bendsolid\b[^\r\n]*\s+solid\b[^\r\n]*", re.IGNORECASE)
_OBJ_GEOMETRY = re.compile(rb"^[ \t]*[vf][ \t][^\r\n]*", re.MULTILINE)
_OBJ_TEXTURE_AND_NORMAL = re.compile(rb"/[^ \t\r\n]*")
_CONTINUED_LINE = re.compile(rb"\\\r?\n")

_STL_TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")])


@dataclass(frozen=True, eq=False)
class MeshFile:
    """A mesh read from a file.

    Attributes
    ----------
    mesh : TriangleMesh
        In mm; exactly equal vertices merged, degenerate and duplicate faces still there.
    path : pathlib.Path
    format : str
        What the content is: "binary STL", "ASCII STL", "PLY", "OBJ", "OFF" or "3MF".
    sha256 : str
        Of the file's bytes, hexadecimal.
    unit : str
        "mm", "m", "inch", "um", "cm" or "foot".
    unit_guessed : bool
        Neither the user nor the file said the unit.
    scale_to_mm : float
        Millimetres per unit of the file.
    vertices_in_file : int
        Before merging; three per triangle in STL.
    nan_vertices : int
        Vertices that are not finite numbers; the triangles on them are left out.
    notes : tuple of str
        What the user should know, in words.
    """

    mesh: TriangleMesh
    path: Path
    format: str
    sha256: str
    unit: str
    unit_guessed: bool
    scale_to_mm: float
    vertices_in_file: int
    nan_vertices: int
    notes: tuple[str, ...]


def read_mesh(path: str | Path, *, unit: str = "auto") -> MeshFile:
    """Read an STL (binary or ASCII), PLY, OBJ, OFF or 3MF file.

    The content decides which format it is, not the name. All objects of the file come as one
    mesh. Equal vertices are merged, in the order of their first appearance.

    Parameters
    ----------
    path : str or pathlib.Path
    unit : str
        Length unit of the file's numbers: "mm", "m", "inch", "um", "cm", "foot", or "auto":
        the one the file declares (3MF), else guessed from the size (see ``mesh.units``).

    Returns
    -------
    MeshFile
        Its ``mesh`` is in mm.

    Raises
    ------
    FileError
        Missing, truncated, damaged, too large, without triangles.
    SettingError
        Unknown unit.

    Examples
    --------
    >>> import cuspwise
    >>> path = cuspwise.write_mesh("design.stl", cuspwise.demo_crown(edge_mm=0.5).mesh)
    >>> found = cuspwise.read_mesh(path)
    >>> found.format, found.unit, found.unit_guessed
    ('binary STL', 'mm', True)
    """
    return run(read_mesh_steps(path, unit=unit))


def read_mesh_steps(path: str | Path, *, unit: str = "auto") -> Steps[MeshFile]:
    """Read a mesh file as :func:`read_mesh` does, step by step."""
    check_unit(unit)
    path = Path(path)
    doing = f"Reading {readable(path.name)}"
    yield Progress(doing, 0.0)
    data = load_bytes(path)
    yield Progress(doing, 0.1)
    kind = recognise(data, path)
    check_safe(data, kind, path)
    yield Progress(doing, 0.2)
    decoded = _decode(data, kind, path)
    points, faces = decoded.points, decoded.faces
    _check_faces(points, faces, path)
    yield Progress(doing, 0.5)
    finite_faces, nan_vertices, notes = _without_nan(points, faces, path)
    vertices, merged_faces = _merge(points, finite_faces)
    yield Progress(doing, 0.9)
    found = find_unit(_longest_side(vertices, path), given=unit, declared=decoded.unit)
    _check_size(vertices, found.scale_to_mm, path)
    return MeshFile(
        mesh=TriangleMesh(vertices * found.scale_to_mm, merged_faces, readable(path.name)),
        path=path,
        format=FORMAT_NAMES[kind],
        sha256=hashlib.sha256(data).hexdigest(),
        unit=found.unit,
        unit_guessed=found.guessed,
        scale_to_mm=found.scale_to_mm,
        vertices_in_file=len(points),
        nan_vertices=nan_vertices,
        notes=_name_note(path, kind) + _parts_note(decoded, kind) + notes + found.notes,
    )


@dataclass(frozen=True, eq=False)
class _Decoded:
    """What a file holds: points, triangles, the unit that it declares, and in how many parts."""

    points: FloatArray
    faces: IntArray
    unit: str = ""
    parts: int = 1


def _decode(data: bytes, kind: str, path: Path) -> _Decoded:
    if kind == "stl_binary":
        return _decode_binary_stl(data)
    return _decode_with_trimesh(data, kind, path)


def _decode_binary_stl(data: bytes) -> _Decoded:
    """Decode binary STL here: importing trimesh for it would take longer than all the rest."""
    corners = np.frombuffer(data, dtype=_STL_TRIANGLE, offset=84)["corners"]
    with np.errstate(invalid="ignore"):  # NaN is dealt with later
        points = corners.reshape(-1, 3).astype(np.float64)
    return _Decoded(points, np.arange(len(points)).reshape(-1, 3))


def _decode_with_trimesh(data: bytes, kind: str, path: Path) -> _Decoded:
    text = _simplified(data, kind)
    try:
        with _quiet():
            import trimesh

            scene = trimesh.load_scene(
                BytesIO(text),
                file_type=kind.removesuffix("_ascii"),
                process=False,
                skip_materials=True,
            )
            points, faces, parts = _concatenate(scene)
    except CuspwiseError:
        raise
    except MemoryError as error:
        raise FileError(
            "Reading it needs more memory than there is.",
            subject=path,
            remedy="Export only the crown, or reduce the mesh.",
        ) from error
    except Exception as error:
        # A damaged file makes the parsers fail in any way there is; how tells users nothing.
        raise FileError(
            f"It is not a whole {FORMAT_NAMES[kind]} file, or damaged.",
            subject=path,
            remedy=EXPORT_AGAIN,
        ) from error
    declared = str(scene.metadata.get("units", "")) if kind == "3mf" else ""
    return _Decoded(points, faces, declared.lower(), parts)


def _check_faces(points: FloatArray, faces: IntArray, path: Path) -> None:
    if not len(faces):
        what = f"{len(points):,} points but no triangles" if len(points) else "no triangles"
        raise FileError(f"It holds {what}.", subject=path, remedy="Export it as a surface mesh.")
    if len(faces) > MAX_TRIANGLES:
        raise too_large(path, f"Its polygons make {len(faces):,} triangles")
    if faces.min() < 0 or faces.max() >= len(points):
        raise FileError(
            "Some faces name vertices that do not exist.", subject=path, remedy=EXPORT_AGAIN
        )


def _simplified(data: bytes, kind: str) -> bytes:
    """Return a file without what only costs the parsers time: names, materials, parts.

    Each part, group or material would make a mesh of its own, to be joined again here.
    """
    if kind == "3mf" or (kind == "ply" and b"format binary" in data[:4096]):
        return data
    data = data.decode("utf-8", "replace").encode()  # spares trimesh guessing an encoding
    if kind == "stl_ascii":
        return _SOLID_AFTER_SOLID.sub(b"", data)
    if kind == "obj":
        lines = _OBJ_GEOMETRY.findall(_CONTINUED_LINE.sub(b" ", data))
        return _OBJ_TEXTURE_AND_NORMAL.sub(b"", b"\n".join(lines))
    return data


@contextmanager
def _quiet() -> Iterator[None]:
    """Turn half-read numbers into errors, and keep the parsers' own log off the screen."""
    silent, logger = logging.NullHandler(), logging.getLogger("trimesh")
    logger.addHandler(silent)
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", category=RuntimeWarning)
            # numpy only warns, and stops, where text does not go on as a number.
            warnings.filterwarnings("error", message=".*could not be read to its end.*")
            yield
    finally:
        logger.removeHandler(silent)


def _concatenate(scene: object) -> tuple[FloatArray, IntArray, int]:
    """Join all meshes of a trimesh scene, each moved to its place, and count them.

    Points alone give no faces.
    """
    points, faces, offset = [np.zeros((0, 3))], [np.zeros((0, 3), dtype=np.int64)], 0
    for node in scene.graph.nodes_geometry:  # type: ignore[attr-defined]
        matrix, name = scene.graph[node]  # type: ignore[attr-defined]
        geometry = scene.geometry[name]  # type: ignore[attr-defined]
        vertices = np.asarray(geometry.vertices, dtype=np.float64)
        if vertices.ndim != 2 or vertices.shape[1] != 3:
            continue
        if not np.array_equal(matrix, np.eye(4)):
            vertices = vertices @ matrix[:3, :3].T + matrix[:3, 3]
        corners = np.asarray(getattr(geometry, "faces", np.zeros((0, 3))), dtype=np.int64)
        if np.linalg.det(matrix[:3, :3]) < 0:
            corners = corners[:, ::-1]
        points.append(vertices)
        faces.append(corners + offset)
        offset += len(vertices)
    parts = sum(len(part) > 0 for part in faces)
    return np.concatenate(points), np.concatenate(faces), parts


def _without_nan(
    points: FloatArray, faces: IntArray, path: Path
) -> tuple[IntArray, int, tuple[str, ...]]:
    """Return the faces on finite vertices, the count of other vertices, and a note."""
    if np.isfinite(points).all():
        return faces, 0, ()
    finite: BoolArray = np.logical_and.reduce(np.isfinite(points), axis=1)
    bad = len(finite) - int(np.count_nonzero(finite))
    kept = faces[finite[faces].all(axis=1)]
    if not len(kept):
        raise FileError(
            "None of its triangles has finite coordinates only.",
            subject=path,
            remedy=EXPORT_AGAIN,
        )
    note = (
        f"{bad:,} vertices are not finite numbers; {len(faces) - len(kept):,} of "
        f"{len(faces):,} triangles touch them and were left out."
    )
    return kept, bad, (note,)


def _merge(points: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Merge exactly equal vertices and drop those that no face uses."""
    if faces.size != len(points) or faces[0, 0] != 0 or faces[-1, -1] != len(points) - 1:
        used = np.zeros(len(points), dtype=bool)
        used[faces.ravel()] = True
        if not used.all():
            new_index = np.cumsum(used) - 1
            points, faces = points[used], new_index[faces]
    first, label = group_points(points).by_appearance()
    return points[first], label[faces]


def _longest_side(vertices: FloatArray, path: Path) -> float:
    with np.errstate(over="ignore"):
        side = float((vertices.max(axis=0) - vertices.min(axis=0)).max())
    if side == 0.0:
        raise FileError("All its vertices are in one place.", subject=path, remedy=EXPORT_AGAIN)
    return side


def _check_size(vertices: FloatArray, scale_to_mm: float, path: Path) -> None:
    largest = float(np.abs(vertices).max()) * scale_to_mm
    if not largest <= MAX_SIZE_MM:
        raise FileError(
            f"Its coordinates reach {largest:.3g} mm; no dental scan is that large.",
            subject=path,
            remedy="Give the unit of the file, or export it again if it is damaged.",
        )


def _parts_note(decoded: _Decoded, kind: str) -> tuple[str, ...]:
    """Tell of a 3MF with several objects: a plate of crowns is no scan of one."""
    if kind != "3mf" or decoded.parts < 2:
        return ()
    return (f"Its {decoded.parts} objects were read as one surface.",)


def _name_note(path: Path, kind: str) -> tuple[str, ...]:
    named = SUFFIX_FORMATS.get(path.suffix.lower(), "")
    if kind.startswith(named) and named:
        return ()
    ending = readable(path.suffix) or "nothing"
    return (f"Its name ends in {ending}, its content is {FORMAT_NAMES[kind]}.",)

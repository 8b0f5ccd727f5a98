"""The triangle surface that everything else works on."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..arrays import BoolArray, FloatArray, IntArray, cross
from ..errors import MeshError
from .graph import MeshGraph
from .shells import Shells, find_shells

Number = TypeVar("Number", np.float64, np.int64)


_MOVED_FROM = "moved_from"
_RIGID = 1e-12
"""How far the product of a rotation with its transpose may be from the identity."""


class _Origin(NamedTuple):
    """The mesh that another one is a moved copy of: what both share is worked out once."""

    mesh: TriangleMesh
    turn: FloatArray | None
    """Rotation (3, 3) of a rigid motion."""

    def turned(self, directions: FloatArray) -> FloatArray:
        """Directions (k, 3) of the mesh as they are after the motion."""
        assert self.turn is not None  # asked for after a rigid motion only
        turned: FloatArray = directions @ self.turn.T
        return turned


@dataclass(frozen=True, eq=False)
class TriangleMesh:
    """An indexed triangle surface in millimetres; immutable.

    Parameters
    ----------
    vertices : (n, 3) array_like of float
        Coordinates in mm, all finite. Stored as read-only float64.
    faces : (m, 3) array_like of int
        Vertex indices, counter-clockwise seen from outside. Stored as read-only int64.
    name : str
        What messages call it: a file name or an object's name.

    Raises
    ------
    MeshError
        Wrong shape, coordinates that are not finite, indices out of range.

    Examples
    --------
    >>> import cuspwise
    >>> mesh = cuspwise.TriangleMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    >>> len(mesh), mesh.area_mm2
    (1, 0.5)
    """

    vertices: FloatArray
    faces: IntArray
    name: str = "mesh"

    def __init__(self, vertices: ArrayLike, faces: ArrayLike, name: str = "mesh") -> None:
        object.__setattr__(self, "name", name)
        object.__setattr__(self, "vertices", _frozen(vertices, np.float64))
        object.__setattr__(self, "faces", _frozen(faces, np.int64))
        if self.vertices.ndim != 2 or self.vertices.shape[1:] != (3,):
            raise self._error(f"The vertices have shape {self.vertices.shape}, not (n, 3).")
        if self.faces.ndim != 2 or self.faces.shape[1:] != (3,):
            raise self._error(f"The faces have shape {self.faces.shape}, not (m, 3).")
        if not np.isfinite(self.vertices).all():
            raise self._error("Some coordinates are not finite numbers.")
        if self.faces.size and (self.faces.min() < 0 or self.faces.max() >= len(self.vertices)):
            raise self._error("Some faces name vertices that do not exist.")

    def _error(self, reason: str) -> MeshError:
        return MeshError(reason, subject=self.name, remedy="Export the mesh again and retry.")

    def __len__(self) -> int:
        """Count of triangles."""
        return len(self.faces)

    @property
    def _origin(self) -> _Origin | None:
        """What this is a moved copy of, if that is known."""
        origin: _Origin | None = self.__dict__.get(_MOVED_FROM)
        return origin

    @property
    def _rigid(self) -> _Origin | None:
        """The origin, if the motion was a rigid one."""
        origin = self._origin
        return None if origin is None or origin.turn is None else origin

    @cached_property
    def triangles(self) -> FloatArray:
        """Corner coordinates, (m, 3, 3), mm."""
        return self.vertices[self.faces]

    @property
    def face_cross(self) -> FloatArray:
        """Cross product of two edges of each face, (m, 3), mm²: normal times twice the area."""
        a, b, c = (self.vertices.take(self.faces[:, k], axis=0) for k in range(3))
        return cross(b - a, c - a)

    @cached_property
    def _sizes_and_turns(self) -> tuple[FloatArray, FloatArray]:
        """Areas and normals of the faces, from one pass over them."""
        normals = self.face_cross
        twice_area = np.linalg.norm(normals, axis=1)
        return 0.5 * twice_area, _over(normals, twice_area)

    @property
    def face_areas(self) -> FloatArray:
        """Area of each face, (m,), mm²."""
        return self._sizes_and_turns[0] if self._rigid is None else self._rigid.mesh.face_areas

    @cached_property
    def face_normals(self) -> FloatArray:
        """Unit normal of each face, (m, 3); zero for a face without area."""
        if self._rigid is not None:
            return self._rigid.turned(self._rigid.mesh.face_normals)
        return self._sizes_and_turns[1]

    @cached_property
    def corner_angles(self) -> FloatArray:
        """Inner angle at each corner of each face, (m, 3), radians."""
        if self._rigid is not None:
            return self._rigid.mesh.corner_angles
        corners = [self.vertices.take(self.faces[:, k], axis=0) for k in range(3)]
        sides = [corners[(k + 1) % 3] - corners[k] for k in range(3)]
        twice_area = 2.0 * self.face_areas  # |u × v|, the same at all three corners
        angles = np.empty((len(self.faces), 3))
        for k in range(3):
            inner = -np.einsum("ij,ij->i", sides[k], sides[k - 1])
            angles[:, k] = np.arctan2(twice_area, inner)
        return angles

    @cached_property
    def vertex_normals(self) -> FloatArray:
        """Angle-weighted unit normal at each vertex, (n, 3); zero for an unused vertex.

        These are pseudonormals in the sense of Bærentzen & Aanæs (2005): on a closed surface
        they give the right side for a point whose nearest point is that vertex.
        """
        if self._rigid is not None:
            return self._rigid.turned(self._rigid.mesh.vertex_normals)
        sums = np.empty_like(self.vertices)
        flat = self.faces.ravel()
        for axis in range(3):
            weighted = self.corner_angles * self.face_normals[:, axis, None]
            sums[:, axis] = np.bincount(
                flat, weights=weighted.ravel(), minlength=len(self.vertices)
            )
        return _unit(sums)

    def vertex_normals_of(self, vertices: IntArray) -> FloatArray:
        """:attr:`vertex_normals` of some vertices, (…, 3), at the cost of the faces around them."""
        if "vertex_normals" in self.__dict__:
            return self.vertex_normals[vertices]
        if self._rigid is not None:
            return self._rigid.turned(self._rigid.mesh.vertex_normals_of(vertices))
        asked = np.zeros(len(self.vertices), dtype=bool)
        asked[vertices] = True
        around = self.faces[np.logical_or.reduce(asked[self.faces], axis=1)]
        return TriangleMesh(self.vertices, around, self.name).vertex_normals[vertices]

    @cached_property
    def vertex_areas(self) -> FloatArray:
        """A third of the area of the faces around each vertex, (n,), mm²; sums to the area."""
        if self._rigid is not None:
            return self._rigid.mesh.vertex_areas
        share = np.repeat(self.face_areas / 3.0, 3)
        areas = np.bincount(self.faces.ravel(), weights=share, minlength=len(self.vertices))
        return areas.astype(np.float64, copy=False)

    @property
    def area_mm2(self) -> float:
        """Total area in mm²."""
        return float(self.face_areas.sum())

    @cached_property
    def volume_mm3(self) -> float:
        """Signed volume in mm³ (divergence theorem); meaningful for closed surfaces only."""
        if not len(self.faces):
            return 0.0
        height = self.vertices[self.faces[:, 0]] - self.vertices[self.faces[0, 0]]
        return float(np.einsum("ij,ij->", height, self.face_cross) / 6.0)

    @cached_property
    def bounds(self) -> FloatArray:
        """Lowest and highest coordinates, (2, 3), mm; of the vertices that faces use."""
        used = self.vertices[self.used_vertices] if len(self.faces) else self.vertices
        if not len(used):
            return np.zeros((2, 3))
        return np.array([used.min(axis=0), used.max(axis=0)])

    @cached_property
    def used_vertices(self) -> BoolArray:
        """Vertices that faces use, (n,)."""
        if self._origin is not None:
            return self._origin.mesh.used_vertices
        used = np.zeros(len(self.vertices), dtype=bool)
        used[self.faces.ravel()] = True
        return used

    @cached_property
    def graph(self) -> MeshGraph:
        """Edges, neighbours, pieces and borders; see ``mesh.graph``."""
        if self._origin is not None:
            return self._origin.mesh.graph
        return MeshGraph(self.faces, len(self.vertices))

    @cached_property
    def shells(self) -> Shells:
        """Parts of one winding and which way they are turned; see ``mesh.shells``."""
        return find_shells(self)

    @property
    def diagonal_mm(self) -> float:
        """Length of the diagonal of the bounding box, mm."""
        return float(np.linalg.norm(self.bounds[1] - self.bounds[0]))

    @cached_property
    def mean_edge_mm(self) -> float:
        """Mean length of the faces' sides, mm."""
        if self._rigid is not None:
            return self._rigid.mesh.mean_edge_mm
        corners = [self.vertices.take(self.faces[:, k], axis=0) for k in range(3)]
        sides = [corners[k] - corners[k - 1] for k in range(3)]
        return float(np.mean([np.sqrt(np.einsum("ij,ij->i", side, side)) for side in sides]))

    @cached_property
    def checksum(self) -> str:
        """SHA-256 of float32 coordinates and faces, hexadecimal: names this very geometry."""
        digest = hashlib.sha256()
        digest.update(np.ascontiguousarray(self.vertices, dtype="<f4").tobytes())
        digest.update(np.ascontiguousarray(self.faces, dtype="<i8").tobytes())
        return digest.hexdigest()

    def moved(self, motion: ArrayLike) -> TriangleMesh:
        """Return the mesh after a 4×4 rigid (or affine) motion; a mirror turns the faces round."""
        matrix = np.asarray(motion, dtype=np.float64)
        linear, shift = matrix[:3, :3], matrix[:3, 3]
        keeps_turn = np.linalg.det(linear) > 0
        faces = self.faces if keeps_turn else self.faces[:, ::-1]
        places = self.vertices @ linear.T
        places += shift
        places.setflags(write=False)
        moved = TriangleMesh(places, faces, self.name)
        if keeps_turn:
            rigid = np.abs(linear @ linear.T - np.eye(3)).max() < _RIGID
            moved.__dict__[_MOVED_FROM] = _Origin(self, linear if rigid else None)
        return moved

    def flipped(self) -> TriangleMesh:
        """Return the mesh with every face turned round."""
        return TriangleMesh(self.vertices, self.faces[:, ::-1], self.name)

    def kept(self, face_mask: ArrayLike) -> TriangleMesh:
        """Return the mesh of the faces where ``face_mask`` (m,) is true; unused vertices go."""
        faces = self.faces[np.asarray(face_mask, dtype=bool)]
        used = np.zeros(len(self.vertices), dtype=bool)
        used[faces.ravel()] = True
        new_index = np.cumsum(used) - 1
        return TriangleMesh(self.vertices[used], new_index[faces], self.name)


def _frozen(values: ArrayLike, dtype: type[Number]) -> NDArray[Number]:
    if isinstance(values, np.ndarray) and values.dtype == dtype and _is_fixed(values):
        return values
    array: NDArray[Number] = np.array(values, dtype=dtype, order="C")
    array.setflags(write=False)
    return array


def _is_fixed(array: NDArray[Number]) -> bool:
    """Tell whether an array owns its numbers and has nobody write to them: no copy is needed."""
    return array.base is None and array.flags.c_contiguous and not array.flags.writeable


def _unit(vectors: FloatArray) -> FloatArray:
    return _over(vectors, np.linalg.norm(vectors, axis=1))


def _over(vectors: FloatArray, lengths: FloatArray) -> FloatArray:
    """Vectors (k, 3) over their lengths (k,); zero where these are."""
    column = lengths[:, None]
    unit: FloatArray = np.divide(vectors, column, out=np.zeros_like(vectors), where=column > 0)
    return unit

"""Distance along the surface from vertices or from a curve that lies on it.

Every triangle passes the distance of two of its corners on to the third: it is unfolded into the
plane together with the front that reached the two corners, as in Kimmel & Sethian (1998), but
the front is a circle about its own centre instead of a straight line. How strongly it is curved
follows from how far apart the two corners' nearest source points are, so that a front from a
point, from a straight line and from a bent curve are all carried exactly across a plane.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import BoolArray, FloatArray, IntArray, ragged
from ..errors import SettingError

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix
    from scipy.spatial import cKDTree

    from .triangle_mesh import TriangleMesh


_FLATTEST = 1e6  # a front flatter than this many edge lengths is carried as this flat
_GAIN_MM = 1e-9  # a shorter gain is rounding and is not passed on
_BEYOND = 2.0  # so many edges beyond the limit: those at the limit are reached from there too


@dataclass(frozen=True)
class GeodesicSources:
    """Where the distance starts.

    Attributes
    ----------
    vertices : (k,) int
        Vertices whose distance is known beforehand; each at most once.
    distance_mm : (k,) float
        Their distances, ≥ 0.
    nearest_mm : (k, 3) float
        The source point that each of these distances leads to.
    """

    vertices: IntArray
    distance_mm: FloatArray
    nearest_mm: FloatArray


def vertex_sources(
    mesh: TriangleMesh, vertices: ArrayLike, offsets_mm: ArrayLike | None = None
) -> GeodesicSources:
    """Sources at vertices, each with a start value (0 unless given).

    Parameters
    ----------
    mesh : TriangleMesh
    vertices : (k,) array_like of int
    offsets_mm : (k,) array_like of float, optional

    Raises
    ------
    SettingError
        An index out of range or repeated, or offsets that do not match or are negative.
    """
    index = np.atleast_1d(np.asarray(vertices, dtype=np.int64))
    start = np.zeros(len(index)) if offsets_mm is None else np.asarray(offsets_mm, float)
    if start.shape != index.shape or not (start >= 0).all():
        raise SettingError(
            "The start distances do not match the source vertices or are negative.",
            subject="offsets_mm",
            remedy="Give one start distance of at least 0 for every source vertex.",
        )
    outside = index.size and (index.min() < 0 or index.max() >= len(mesh.vertices))
    if outside or len(np.unique(index)) != len(index):
        raise SettingError(
            f"Some source vertices are repeated or not among the {len(mesh.vertices)} vertices.",
            subject="vertices",
            remedy="Name each source vertex once.",
        )
    return GeodesicSources(index, start, mesh.vertices[index])


def polyline_sources(mesh: TriangleMesh, points_mm: ArrayLike, *, closed: bool) -> GeodesicSources:
    """Sources along a polyline on the surface: the vertices of the faces around it.

    Within one ring of faces the surface is taken as flat enough for the straight distance.

    Parameters
    ----------
    mesh : TriangleMesh
    points_mm : (k, 3) array_like of float
        Ordered points on the surface, mm; a single one is allowed.
    closed : bool
        Whether the last point is joined to the first.
    """
    from scipy.spatial import cKDTree

    points = np.asarray(points_mm, dtype=float)
    around = closed or len(points) == 1
    ends = np.vstack([points[1:], points[:1]]) if around else points[1:]
    starts = points if around else points[:-1]
    samples, segment = _samples_along(starts, ends, _typical_edge_mm(mesh) / 2)
    tree = cKDTree(samples)
    ring = _ring_about(mesh, samples, tree)
    nearest = np.asarray(tree.query(mesh.vertices[ring], k=min(2, len(samples)))[1])
    choices = segment[nearest].reshape(len(ring), -1)
    feet = np.stack([_foot_on_segments(mesh.vertices[ring], starts[c], ends[c]) for c in choices.T])
    lengths = np.linalg.norm(feet - mesh.vertices[ring], axis=2)
    best = lengths.argmin(axis=0)
    rows = np.arange(len(ring))
    return GeodesicSources(ring, lengths[best, rows], feet[best, rows])


def geodesic_distance(
    mesh: TriangleMesh, sources: GeodesicSources | ArrayLike, *, limit_mm: float = np.inf
) -> FloatArray:
    """Distance along the surface from the sources to every vertex.

    Exact on a plane for a point, a straight line or a circle as source, as long as fronts from
    different parts of the source do not meet; elsewhere about 0.1–0.5 % of the distance.
    Time grows with the count of faces within the limit.

    Parameters
    ----------
    mesh : TriangleMesh
    sources : GeodesicSources or (k,) array_like of int
        From :func:`vertex_sources` or :func:`polyline_sources`; plain vertex indices start at 0.
    limit_mm : float
        Farther vertices are left out.

    Returns
    -------
    (n,) ndarray of float
        mm; infinite beyond the limit and on pieces that the sources do not touch.
    """
    if not limit_mm > 0:
        raise SettingError(
            f"The limit is {limit_mm} mm.", subject="limit_mm", remedy="Give a limit above 0 mm."
        )
    start = sources if isinstance(sources, GeodesicSources) else vertex_sources(mesh, sources)
    distance = np.full(len(mesh.vertices), np.inf)
    nearest = np.zeros_like(mesh.vertices)
    distance[start.vertices] = start.distance_mm
    nearest[start.vertices] = start.nearest_mm
    known = np.zeros(len(mesh.vertices), dtype=bool)
    known[start.vertices] = True
    faces_around = _faces_around_vertices(mesh)
    width = _typical_edge_mm(mesh)
    changed = start.vertices
    while changed.size:
        # The nearest first: across crowded rows the others would only pass on what soon changes.
        now = distance[changed] < distance[changed].min() + width
        faces = _touched(faces_around, changed[now])
        nearer = _pass_on(mesh, faces, distance, nearest, known)
        changed = np.flatnonzero(_mask(np.append(changed[~now], nearer), len(distance)))
        changed = changed[distance[changed] < limit_mm + _BEYOND * width]
    distance[distance > limit_mm] = np.inf
    return distance


def _pass_on(
    mesh: TriangleMesh,
    face_index: IntArray,
    distance: FloatArray,
    nearest: FloatArray,
    known: BoolArray,
) -> IntArray:
    """Update the corners of these faces in place; return the vertices that came nearer."""
    faces = mesh.faces[face_index]
    targets, values, origins = [], [], []
    for corner in range(3):
        k, i, j = (faces[:, (corner + shift) % 3] for shift in range(3))
        nearer = np.minimum(distance[i], distance[j])
        open_ = ~known[k] & np.isfinite(nearer) & (distance[k] > nearer)
        k, i, j = k[open_], i[open_], j[open_]
        value, origin = _across_face(mesh.vertices, (i, j, k), distance, nearest)
        better = value < distance[k] - _GAIN_MM
        targets.append(k[better])
        values.append(value[better])
        origins.append(origin[better])
    target, reached = np.concatenate(targets), np.concatenate(values)
    order = np.argsort(-reached, kind="stable")  # the last write, the smallest, stays
    distance[target[order]] = reached[order]
    nearest[target[order]] = np.concatenate(origins)[order]
    return np.flatnonzero(_mask(target, len(distance)))


def _across_face(
    vertices: FloatArray,
    corners: tuple[IntArray, IntArray, IntArray],
    distance: FloatArray,
    nearest: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Distance of corner k from the front at i and j, and the source point it leads to."""
    i, j, k = corners
    to_j, to_k = vertices[j] - vertices[i], vertices[k] - vertices[i]
    length_ij = np.maximum(np.linalg.norm(to_j, axis=1), 1e-300)
    length_ik = np.linalg.norm(to_k, axis=1)
    length_jk = np.linalg.norm(vertices[k] - vertices[j], axis=1)
    kx = np.einsum("ij,ij->i", to_k, to_j) / length_ij
    ky = np.sqrt(np.maximum(length_ik**2 - kx**2, 0.0))
    d_i, d_j = distance[i], distance[j]
    apart = np.linalg.norm(nearest[i] - nearest[j], axis=1)
    through, share = _front_through_edge(length_ij, kx, ky, d_i, d_j, apart)
    along = np.minimum(d_i + length_ik, d_j + length_jk)
    crosses = np.isfinite(through) & (through < along)
    share = np.where(crosses, share, (d_j + length_jk < d_i + length_ik).astype(float))
    origin = nearest[i] + share[:, None] * (nearest[j] - nearest[i])
    return np.where(crosses, through, along), origin


def _front_through_edge(
    length: FloatArray,
    kx: FloatArray,
    ky: FloatArray,
    d_i: FloatArray,
    d_j: FloatArray,
    apart: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Carry a circular front from the edge (0,0)–(length,0) to the point (kx, ky).

    Rays at the two ends are ``apart`` from each other at the source and ``across`` at the edge,
    which gives the front's radius there, mean distance × across / (across − apart): the mean
    distance for a point source, infinite for a straight line, negative for a front that closes
    in. Infinite where no ray crosses the edge on its way.
    """
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        across = np.sqrt(length**2 - (d_i - d_j) ** 2)
        mean = 0.5 * (d_i + d_j)
        bend = (across - apart) / (mean * across)
        least = 1.0 / (_FLATTEST * length)
        # 0 / 0 where both ends are sources: the edge between them is the source.
        radius = 1.0 / np.where(np.abs(bend) > least, bend, least)
        radius_i, radius_j = radius + (d_i - mean), radius + (d_j - mean)
        centre_x = 0.5 * (length + (radius_i - radius_j) * (radius_i + radius_j) / length)
        centre_y = -np.sign(radius) * np.sqrt(radius_i**2 - centre_x**2)
        step = centre_y / (centre_y - ky)
        share = (centre_x + (kx - centre_x) * step) / length
        reach = np.sign(radius) * np.hypot(kx - centre_x, ky - centre_y) - (radius - mean)
        ahead = (radius > 0) | (centre_y > ky)
        good = ahead & (share >= 0) & (share <= 1) & (reach >= np.minimum(d_i, d_j))
    return np.where(good, reach, np.inf), share


def _faces_around_vertices(mesh: TriangleMesh) -> csc_matrix:
    """Faces × vertices incidence whose columns list the faces around a vertex."""
    from scipy.sparse import csr_matrix

    count = len(mesh.faces)
    rows = csr_matrix(
        (np.ones(3 * count, dtype=np.int8), mesh.faces.ravel(), np.arange(0, 3 * count + 1, 3)),
        shape=(count, len(mesh.vertices)),
    )
    return rows.tocsc()


def _touched(faces_around: csc_matrix, vertices: IntArray) -> IntArray:
    first = faces_around.indptr[vertices].astype(np.int64)
    counts = faces_around.indptr[vertices + 1] - first
    row, place = ragged(counts)
    around = faces_around.indices[first[row] + place]
    return np.flatnonzero(_mask(around, faces_around.shape[0]))


def _ring_about(mesh: TriangleMesh, samples: FloatArray, tree: cKDTree) -> IntArray:
    """Vertices of all faces at the vertices nearest to the samples."""
    count = len(mesh.vertices)
    used = _mask(mesh.faces.ravel(), count)
    bound = 3.0 * _typical_edge_mm(mesh)
    gap = np.asarray(tree.query(mesh.vertices, distance_upper_bound=bound)[0])
    near = _mask(_nearest(mesh.vertices, np.flatnonzero(used & (gap <= bound)), samples), count)
    lost = samples[_gaps(mesh.vertices[near], samples) > bound]
    near[_nearest(mesh.vertices, np.flatnonzero(used), lost)] = True
    a, b, c = (near[mesh.faces[:, k]] for k in range(3))
    return np.flatnonzero(_mask(mesh.faces[a | b | c].ravel(), count))


def _nearest(vertices: FloatArray, rows: IntArray, samples: FloatArray) -> IntArray:
    """Which of the vertices in ``rows`` are nearest to the samples; none if either is empty."""
    from scipy.spatial import cKDTree

    if not len(rows) or not len(samples):
        return rows[:0]
    nearest: IntArray = np.asarray(cKDTree(vertices[rows]).query(samples)[1])
    return rows.take(nearest)


def _gaps(points: FloatArray, samples: FloatArray) -> FloatArray:
    """Distance of each sample from the nearest of the points."""
    from scipy.spatial import cKDTree

    if not len(points):
        return np.full(len(samples), np.inf)
    return np.asarray(cKDTree(points).query(samples)[0])


def _mask(index: IntArray, count: int) -> BoolArray:
    mask = np.zeros(count, dtype=bool)
    mask[index] = True
    return mask


def _typical_edge_mm(mesh: TriangleMesh) -> float:
    corners = mesh.vertices[mesh.faces[:: max(1, len(mesh.faces) // 2000)]]
    return float(np.median(np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1)))


def _samples_along(
    starts: FloatArray, ends: FloatArray, step_mm: float
) -> tuple[FloatArray, IntArray]:
    """Points at most ``step_mm`` apart on the segments, and the segment of each."""
    lengths = np.linalg.norm(ends - starts, axis=1)
    counts = np.maximum(np.ceil(lengths / step_mm).astype(np.int64), 1)
    segment, place = ragged(counts)
    share = (place / counts[segment])[:, None]
    return starts[segment] + share * (ends - starts)[segment], segment


def _foot_on_segments(points: FloatArray, starts: FloatArray, ends: FloatArray) -> FloatArray:
    along = ends - starts
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    share = np.clip(np.einsum("ij,ij->i", points - starts, along) / square, 0.0, 1.0)
    feet: FloatArray = starts + share[:, None] * along
    return feet

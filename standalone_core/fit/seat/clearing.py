"""How much must come off a crown's inside so that it overlaps its die nowhere at given poses."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from ...arrays import FloatArray, IntArray
from ...mesh.triangle_mesh import TriangleMesh
from ...surface.closest import SurfaceIndex
from ..crown import FitCrown
from ..die import FitDie
from ..settings import SeatSettings
from .edge_cuts import edge_cuts, usual_sag_mm
from .motion import placed, undone
from .pair import Pair
from .patches import patch_weights
from .result import Contact

_Lacking = Callable[[Pair, FitCrown, FloatArray], FloatArray]

CLEAR_MM = 1e-5
"""Overlap that is left between hard contacts: a hundredth of a µm."""
_PATCH_CLEAR_MM = 1e-4
_PASSES, _PATCH_PASSES = 12, 100
_LEAST_COSINE = 0.25
"""Where the crown's surface is steeper than this against the die's, as beside a step, a place does
not become clear along its normal in one go."""


def relieved_crown(crown: FitCrown, relief_mm: FloatArray) -> FitCrown:
    """The crown after its surface was taken off by so much, (n',) mm, along the normals."""
    mesh = crown.evaluation.mesh
    vertices = mesh.vertices - relief_mm[:, None] * mesh.vertex_normals
    lower = TriangleMesh(vertices, mesh.faces, mesh.name)
    evaluation = replace(crown.evaluation, mesh=lower)
    index = SurfaceIndex(lower, threads=crown.index.threads)
    return replace(crown, area_set=replace(crown.area_set, evaluation=evaluation), index=index)


def cleared(
    crown: FitCrown,
    die: FitDie,
    contact: Contact,
    settings: SeatSettings,
    poses: Sequence[FloatArray],
    relief_mm: FloatArray,
) -> FloatArray:
    """Relief with which nothing overlaps at any of the poses.

    Every place is taken back until it just touches. With patches only the points of patches whose
    mean overlaps are, and only until it does not.

    Parameters
    ----------
    crown : FitCrown
        Before any relief.
    die : FitDie
    contact : "hard" or "patches"
    settings : SeatSettings
    poses : sequence of (4, 4) float
    relief_mm : (n',) float
        What comes off already.

    Returns
    -------
    (n',) float
        At the crown's evaluation points along their normals, mm, nowhere less than before.
    """
    # The points first: what still overlaps between them is then little.
    ways: tuple[_Lacking, ...] = (_points_lack, _faces_lack)
    least = CLEAR_MM
    if contact == "patches":
        ways, least = (partial(_patches_lack, settings),), _PATCH_CLEAR_MM
    for _ in range(_PASSES):
        lower = crown if not relief_mm.any() else relieved_crown(crown, relief_mm)
        pair = Pair(lower, die, contact, poses[0], settings)
        more = np.zeros(len(relief_mm))
        for lacking in ways:
            for pose in poses:
                more = np.maximum(more, lacking(pair, crown, pose))
            if more.max() >= least:
                break
        else:
            break
        relief_mm = relief_mm + more
    return relief_mm


def _points_lack(pair: Pair, crown: FitCrown, pose: FloatArray) -> FloatArray:
    """What each of the crown's points lacks, along its normal, (n',), mm."""
    lacking = np.zeros(len(crown.evaluation.points))
    gap = pair.vertex_gaps(pose, 0.0, of_crown=True)
    lacking[pair.crown_vertices] = np.maximum(-gap, 0.0)
    return lacking / _steepness(pair, crown, pose, lacking)


def _faces_lack(pair: Pair, crown: FitCrown, pose: FloatArray) -> FloatArray:
    """What the corners of faces need where only the die's points or edges overlap, (n',)."""
    places, depth = _between(pair, pose)
    if not len(places):
        return np.zeros(len(crown.evaluation.points))
    return _of_corners(pair, crown, places, depth)


def _steepness(pair: Pair, crown: FitCrown, pose: FloatArray, lacking: FloatArray) -> FloatArray:
    """Cosine between each overlapping point's normal and its way out of the die, (n',)."""
    cosine = np.ones(len(lacking))
    deep = np.flatnonzero(lacking > 0.01 * CLEAR_MM)
    points = placed(pose, pair.crown.evaluation.points[deep])
    way = pair.die.index.closest(points).foot - points
    inward = -crown.evaluation.normals[deep] @ pose[:3, :3].T
    length = np.linalg.norm(way, axis=1)
    off = length > 0.0  # a point on a facet overlaps the surface that the facet stands for
    along = np.ones(len(deep))
    along[off] = np.einsum("nk,nk->n", way[off], inward[off]) / length[off]
    cosine[deep] = np.maximum(along, _LEAST_COSINE)
    return cosine


def _between(pair: Pair, pose: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Places between the crown's points, (k, 3) in its frame, and how deep it overlaps there."""
    back = undone(pose)
    gap = pair.vertex_gaps(pose, 0.0, of_crown=False)
    deep = np.flatnonzero(gap < -CLEAR_MM)
    places = [placed(back, pair.die.mesh.vertices[pair.die_vertices[deep]])]
    depth = [-gap[deep]]
    for of_crown in (True, False):
        # What the triangles alone may overlap by does not hold a crown up either.
        cuts = edge_cuts(pair, pose, max(CLEAR_MM, usual_sag_mm(pair)), of_crown=of_crown)
        places.append(cuts.points if of_crown else placed(back, cuts.points))
        depth.append(-cuts.gap_mm)
    return np.concatenate(places), np.concatenate(depth)


def _of_corners(
    pair: Pair, crown: FitCrown, places: FloatArray, depth_mm: FloatArray
) -> FloatArray:
    """What the corners around places need, (n',), so that the face there lies deeper by so much.

    Of the reliefs d of a face's corners with c·d = depth, c_k = b_k n_k·m (b the place's
    barycentric coordinates, n_k the corners' normals, m the face's), the shortest: depth c / |c|².
    """
    found = pair.crown.index.closest(places)
    mesh = pair.crown.evaluation.mesh
    corners: IntArray = mesh.faces[found.face]
    facing = np.einsum(
        "kcd,kd->kc", crown.evaluation.normals[corners], mesh.face_normals[found.face]
    )
    moves = found.barycentric * np.maximum(facing, _LEAST_COSINE)
    share = moves / np.einsum("kc,kc->k", moves, moves)[:, None]
    lacking = np.zeros(len(crown.evaluation.points))
    np.maximum.at(lacking, corners.ravel(), (depth_mm[:, None] * share).ravel())
    return lacking


def _patches_lack(
    settings: SeatSettings, pair: Pair, crown: FitCrown, pose: FloatArray
) -> FloatArray:
    """What each of the crown's points lacks, (n',), mm, for no patch's mean to overlap.

    A point is taken back by what the worst of its patches lacks, but not beyond the die, again
    and again until the means are clear.
    """
    weights, _ = patch_weights(
        pair.crown, pair.crown_vertices, settings.patch_mm, settings.margin_left_out_mm
    )
    gap = pair.vertex_gaps(pose, np.inf, of_crown=True)
    patch = np.repeat(np.arange(weights.shape[0]), np.diff(weights.indptr))
    taken = np.zeros(len(gap))
    for _ in range(_PATCH_PASSES):
        mean = np.maximum(-(weights @ (gap + taken)), 0.0)
        if mean.max(initial=0.0) < _PATCH_CLEAR_MM:
            break
        share = np.zeros(len(gap))
        np.maximum.at(share, weights.indices, mean[patch])
        taken += np.minimum(share, np.maximum(-(gap + taken), 0.0))
    lacking = np.zeros(len(crown.evaluation.points))
    lacking[pair.crown_vertices] = taken
    return lacking / _steepness(pair, crown, pose, lacking)

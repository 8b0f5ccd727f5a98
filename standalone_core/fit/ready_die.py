"""A die made ready for a crown: which part of its file it is, which way round, and its path."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray, IntArray
from ..errors import SettingError, SuperimpositionError
from ..mesh.health import counted
from ..mesh.repair import repair_mesh
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps, scaled
from ..readable import place_words
from ..superimpose.prepared import PreparedDesign
from ..superimpose.rigid import apply, turned
from ..surface.closest import SurfaceIndex
from .crown import FitCrown
from .die import FitDie
from .die_units import refuse_other_unit_steps
from .seat.die_search import LARGER, intaglio_of
from .seat.lie import lie_of
from .seat.rough_pose import LaidOnDesign, RoughPose, rough_pose_steps

_LEAST_SIZE, _MOST_SIZE = 0.3, 7.0
"""A file of less than this share of the intaglio's diagonal holds no die of it in this unit; one of
more shows a full arch, or is in another unit: that is asked before a long search."""
_NEAR_MM = 4.0
"""Of a larger scan, what lies within this of the seated intaglio is the die: the root that a
finish line and a section need, little of the neighbours."""
_CARRIES = 0.05
"""A piece of the file that lies under less than this share of the intaglio is not the die."""
_LARGE = 0.2
"""Another piece of at least this share of the die's area may be a tooth: it is told."""
_LEANS_DEG = 30.0
"""A path of insertion that leans further against the crown's own was given for something else."""


@dataclass(frozen=True, eq=False)
class ReadyDie:
    """A die with the crown laid roughly on it.

    Attributes
    ----------
    die : FitDie
        Without a finish line.
    pose : RoughPose
    warnings : tuple of str
        What was wrong with the die or what goes with it, and what was done about it; those of
        the pose first.
    """

    die: FitDie
    pose: RoughPose
    warnings: tuple[str, ...]


def ready_die_steps(
    mesh: TriangleMesh,
    crown: FitCrown,
    design: PreparedDesign | LaidOnDesign | None = None,
    *,
    axis: Sequence[float] | None = None,
    threads: int | None = None,
) -> Steps[ReadyDie]:
    """Repair a die on a copy, lay the crown on it, and take the part that the crown lies on.

    Parameters
    ----------
    mesh : TriangleMesh
        A die, or a scan or model that shows it among other teeth; mm.
    crown : FitCrown
        In any pose.
    design : PreparedDesign or LaidOnDesign, optional
        The crown's design in the die's frame, or where the crown lies on that.
    axis : (3,) sequence of float, optional
        Path of insertion to occlusal, in the die's frame; by default the crown's own, as it lies.
    threads : int, optional
        For the index.

    Raises
    ------
    SuperimpositionError
        The die does not match.
    MeshError
        It does not, but would in another unit; or it has no surface.
    SettingError
        The axis has no length.
    """
    given = None if axis is None else _unit(axis)
    mended = repair_mesh(mesh)
    index = SurfaceIndex(mended.mesh, threads=threads)
    asking = refuse_other_unit_steps(crown, mended.mesh, threads=threads)
    ratio = mended.mesh.diagonal_mm / intaglio_of(crown).diagonal_mm
    usual = _LEAST_SIZE <= ratio <= _MOST_SIZE
    if not usual:
        yield from scaled(asking, 0.0, 0.5)
    try:
        pose = yield from scaled(rough_pose_steps(crown, index, design), 0.0, 0.8)
    except SuperimpositionError:
        if usual:
            yield from scaled(asking, 0.8, 0.95)
        raise
    yield Progress("Making the die ready", 0.95)
    path, leaning = _path(crown, pose, given)
    part, notes = _part_under(crown, pose, index)
    if pose.die_inside_out:
        part = part.flipped()
        notes += (
            "The die was inside out, its faces looked into the tooth: they were turned round. "
            "Export it the right way round if other programs are to use it.",
        )
    if part is not mended.mesh:
        index = SurfaceIndex(part, threads=threads)
    warnings = (*pose.warnings, *mended.actions, *notes, *leaning)
    return ReadyDie(FitDie(part, index, path), pose, warnings)


def _unit(axis: Sequence[float]) -> FloatArray:
    given = np.asarray(axis, dtype=np.float64)
    length = float(np.linalg.norm(given)) if given.shape == (3,) else 0.0
    if not 0.0 < length < np.inf:
        raise SettingError(
            f"{list(axis)} is no direction.",
            subject="insertion",
            remedy="Give three numbers, such as 0,0,1 for straight up.",
            arguments=("insertion",),
        )
    unit: FloatArray = given / length
    return unit


def _path(
    crown: FitCrown, pose: RoughPose, given: FloatArray | None
) -> tuple[FloatArray, tuple[str, ...]]:
    """The die's path of insertion, and what is wrong with the one that was given."""
    own: FloatArray = turned(pose.T_die_crown, crown.axis[None])[0]
    if given is None:
        return own, ()
    angle = float(np.degrees(np.arccos(np.clip(own @ given, -1.0, 1.0))))
    if angle <= _LEANS_DEG:
        return given, ()
    if angle >= 180.0 - _LEANS_DEG:
        return own, (
            "The crown is upside down against the path of insertion that was given: that points "
            "away from occlusal, or belongs to another frame. The crown's own path was used "
            "instead. Give the path from the root to the occlusal surface, in the die's frame.",
        )
    return own, (
        f"The path of insertion that was given leans {angle:.0f}° against the crown's own, more "
        f"than any crown can go down: the crown's own was used instead. Give the path from the "
        f"root to the occlusal surface, in the die's frame.",
    )


def _part_under(
    crown: FitCrown, pose: RoughPose, index: SurfaceIndex
) -> tuple[TriangleMesh, tuple[str, ...]]:
    """The pieces that a crown lies on, of a larger scan only what is near; and what was left."""
    mesh = index.mesh
    pieces = mesh.graph.piece_of_face
    carrying = _carrying(crown, pose, index, pieces)
    chosen: BoolArray = carrying[pieces]
    notes = _left_out(mesh, pieces, carrying)
    if mesh.diagonal_mm > LARGER * intaglio_of(crown).diagonal_mm:
        inside = apply(pose.T_die_crown, crown.evaluation.points[crown.intaglio])
        far = cKDTree(inside).query(mesh.vertices, distance_upper_bound=_NEAR_MM)[0]
        chosen = chosen & np.isfinite(far)[mesh.faces].any(axis=1)
    return (mesh if chosen.all() else mesh.kept(chosen)), notes


def _carrying(crown: FitCrown, pose: RoughPose, index: SurfaceIndex, pieces: IntArray) -> BoolArray:
    """Which pieces (p,) lie under a share of the intaglio that counts; the largest at least."""
    lie = lie_of(crown, index, pose.T_die_crown)
    points = apply(pose.T_die_crown, crown.evaluation.points[lie.points[lie.covered]])
    under = pieces[index.closest(points).face]
    share = np.bincount(under, lie.area_mm2[lie.covered], int(pieces.max()) + 1)
    carries: BoolArray = share >= min(_CARRIES * share.sum(), share.max())
    return carries


def _left_out(mesh: TriangleMesh, pieces: IntArray, carrying: BoolArray) -> tuple[str, ...]:
    area = np.bincount(pieces, mesh.face_areas, len(carrying))
    other = np.flatnonzero(~carrying & (area >= _LARGE * area[carrying].sum()))
    if not len(other):
        return ()
    weight = mesh.face_areas * carrying[pieces]
    middle = weight @ mesh.triangles.mean(axis=1) / weight.sum()
    more = counted(len(other), "more large piece", "more large pieces")
    return (
        f"The die's file holds {more}, as of another tooth. The crown lies on the one around "
        f"{place_words(middle.tolist())} mm; the rest was left out. Give the die alone if that is "
        f"wrong.",
    )

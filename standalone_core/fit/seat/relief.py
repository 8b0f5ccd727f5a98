"""What must be taken off inside a crown that cannot go on, so that it reaches its seat."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ...arrays import FloatArray
from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps, scaled
from ..crown import FitCrown
from ..die import FitDie
from ..settings import SeatSettings
from .clearing import cleared, relieved_crown
from .least_overlap import least_overlap_pose
from .motion import lifted
from .pair import Pair
from .result import Relief
from .seat_crown import above_um, contact_kind, settled_steps
from .smooth_crown import smooth_crown

REACHED_UM = 2.0
"""A crown this near above its intended seat has reached it."""

_TOLD_MM = 1e-3
"""The area is that from which more than this comes off: meshes touch by their facets' sag."""
_ROUNDS = 6
_WAY_PLACES = 16


def relief_steps(
    crown: FitCrown,
    die: FitDie,
    intended: FloatArray,
    settings: SeatSettings | None = None,
    *,
    is_scan: bool,
    above_mm: float,
) -> Steps[Relief]:
    """Find the least that must come off a crown's inside for it to reach its intended seat.

    At the height of the intended seat the crown is first moved sideways and tilted to where the
    overlapping volume is least. There every place is relieved by its overlap and no more, so that
    crown and die just touch; with patches only where a patch's mean overlaps, and only until
    the mean does not. The relieved crown is then seated from above. If something still holds it
    up that is in the way only further up (a bulge of the die below which the crown is narrower),
    what overlaps on the way down is relieved too.

    Parameters
    ----------
    crown : FitCrown
    die : FitDie
    intended : (4, 4) float
        ``T_die_crown`` of the intended seat.
    settings : SeatSettings, optional
    is_scan : bool
        As for the seat.
    above_mm : float
        How far above the intended seat the crown came to rest.

    Returns
    -------
    Relief
        Depth at the evaluation points, what volume that is, and the seat after it;
        ``above_intended_um`` says whether that is the intended one.
    """
    settings = SeatSettings() if settings is None else settings
    contact = contact_kind(settings, is_scan=is_scan)
    yield Progress("Finding what holds the crown up", 0.0)
    crown = smooth_crown(crown)
    bare = Pair(crown, die, contact, intended, settings)
    target = least_overlap_pose(bare, intended)
    relief = np.zeros(len(crown.evaluation.points))
    heights: Iterable[float] = (0.0,)
    rest_above, pose = above_mm, target
    for turn in range(_ROUNDS):
        way = [lifted(target, height, die.axis) for height in heights]
        relief = cleared(crown, die, contact, settings, way, relief)
        lower = relieved_crown(crown, relief)
        pair = Pair(lower, die, contact, target, settings)
        start = lifted(target, max(rest_above, 0.0), die.axis)
        ends = 0.2 + 0.8 * turn / _ROUNDS, 0.2 + 0.8 * (turn + 1) / _ROUNDS
        pose = (yield from scaled(settled_steps(pair, start), *ends)).pose
        above = above_um(crown, die.axis, pose, intended)
        if above <= REACHED_UM:
            break
        rest_above = 1e-3 * above
        heights = np.linspace(0.0, 1.02 * rest_above, _WAY_PLACES)[::-1]
    return _told(crown, lower, relief, pose, above)


def _told(
    crown: FitCrown, lower: FitCrown, relief_mm: FloatArray, pose: FloatArray, above: float
) -> Relief:
    area = crown.evaluation.weights_mm2
    deepest = int(np.argmax(relief_mm))
    return Relief(
        relief_um=1e3 * relief_mm,
        most_um=1e3 * float(relief_mm[deepest]),
        volume_mm3=_between(crown.evaluation.mesh, lower.evaluation.mesh),
        area_mm2=float(area[relief_mm > _TOLD_MM].sum()),
        place_mm=crown.evaluation.points[deepest].copy(),
        T_die_crown=pose,
        above_intended_um=above,
    )


def _between(before: TriangleMesh, after: TriangleMesh) -> float:
    """Volume, mm³, between two surfaces of the same faces, by the divergence theorem.

    Exact for the meshes also where the surface is bumpy, unlike the sum of depth times area.
    """
    moved = (before.triangles != after.triangles).any(axis=(1, 2))
    origin = before.bounds.mean(axis=0)

    def sixfold(mesh: TriangleMesh) -> float:
        a, b, c = np.moveaxis(mesh.triangles[moved] - origin, 1, 0)
        return float(np.einsum("nk,nk->", a, np.cross(b, c)))

    return (sixfold(before) - sixfold(after)) / 6.0

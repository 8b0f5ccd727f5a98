"""How high a produced crown rests on its die, to first order: quick, for what is felt at it.

A crown that is moved by v and turned by w has at a point p of its intaglio, with the normal n into
the die, the gap ``g − d − n·v − (p × n)·w`` to first order: g the cement space, d the deviation
along n. The lowest v along the path of insertion for which no gap is negative is a linear
programme in six unknowns. The seat of the surfaces themselves is found in :mod:`...fit.seat`.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog

from ..arrays import FloatArray
from ..errors import CuspwiseError
from .crown import DIRECTIONS
from .die_shape import DieShape
from .quadrature import Nodes

MOST_MM, MOST_RAD = 1.0, 0.2
"""Motions are sought within these."""


def first_order_height(produced_mm: FloatArray, die: DieShape, nodes: Nodes) -> float:
    """Height above where the crown was designed to sit, mm; see :mod:`.first_order_seat`.

    Parameters
    ----------
    produced_mm : (n, 3) array
        Where the points ended up on the produced crown.
    die : DieShape
        Of its design.
    nodes : Nodes
        Points of the design.

    Raises
    ------
    CuspwiseError
        The crown does not go on the die.
    """
    inner = nodes.s < -die.crown.rim_reach_mm
    points, normals = nodes.points[inner], nodes.normals[inner]
    moved = produced_mm[inner] - points
    gap = die.space_mm(-nodes.s[inner]) - np.einsum("nk,nk->n", moved, normals)
    rows = np.concatenate([normals, np.cross(points, normals)], axis=1)
    height = np.concatenate([DIRECTIONS.insertion, np.zeros(3)])
    bounds = [(-MOST_MM, MOST_MM)] * 3 + [(-MOST_RAD, MOST_RAD)] * 3
    found = linprog(height, A_ub=rows, b_ub=gap, bounds=bounds, method="highs")
    if not found.success:
        raise CuspwiseError(
            "The crown does not go on its die at all.",
            subject="errors",
            remedy="Make them smaller.",
        )
    return float(found.fun)

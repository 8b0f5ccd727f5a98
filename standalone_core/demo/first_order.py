"""True deviations of a produced crown to first order: quick, and good to a few per cent.

``d = n · (Q − P)`` at the same parameters, less the small motion that makes its mean square
least. For decisions that need no more, such as what an invented examiner would feel;
:mod:`.truth` finds the nearest points themselves.
"""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray
from .quadrature import Nodes


def first_order_deviation(produced_mm: FloatArray, nodes: Nodes) -> FloatArray:
    """Signed deviation after the best fit, linearised, at points of the design.

    Parameters
    ----------
    produced_mm : (n, 3) array
        Where the points ended up on the produced crown.
    nodes : Nodes
        Points of its design.

    Returns
    -------
    (n,) array
        In mm.
    """
    moved = produced_mm - nodes.points
    distance = np.einsum("ij,ij->i", moved, nodes.normals)
    rows = np.concatenate([np.cross(nodes.points, nodes.normals), nodes.normals], axis=1)
    root = np.sqrt(nodes.weights_mm2)
    motion = np.linalg.lstsq(rows * root[:, None], distance * root, rcond=None)[0]
    deviation: FloatArray = distance - rows @ motion
    return deviation

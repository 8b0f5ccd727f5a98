"""Where mesial is, from neighbours that somebody named."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from ...mesh.triangle_mesh import TriangleMesh

Side = Literal["unknown", "mesial", "distal"]


def mesial_direction(
    crown: TriangleMesh, neighbours: Sequence[tuple[TriangleMesh, Side]]
) -> tuple[float, float, float] | None:
    """Return the direction from a crown to its mesial neighbour, or away from its distal one.

    With both, the difference of the two unit vectors: each is seen from the crown's middle, and a
    bend of the arch between them is halved.

    Parameters
    ----------
    crown : TriangleMesh
    neighbours : sequence of (TriangleMesh, "unknown", "mesial" or "distal")
        In the crown's frame.

    Returns
    -------
    tuple of float or None
        A unit vector; None where no neighbour is named, or those named contradict each other.
    """
    middle, total = crown.bounds.mean(axis=0), np.zeros(3)
    for mesh, side in neighbours:
        arm = mesh.bounds.mean(axis=0) - middle
        length = float(np.linalg.norm(arm))
        if side != "unknown" and length > 0.0:
            total += (arm if side == "mesial" else -arm) / length
    length = float(np.linalg.norm(total))
    if not length > 1e-6:
        return None
    x, y, z = (total / length).tolist()
    return x, y, z

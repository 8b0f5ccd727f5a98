"""The ideal best fit of a produced crown onto its design, from the formulae alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.demo.nearest import SurfaceSample, nearest_feet
from cuspwise.standalone_core.demo.quadrature import Nodes
from cuspwise.standalone_core.demo.shape import CrownShape
from scipy.spatial.transform import Rotation

FIT_STEPS = 30
UNSEEN = 1e-6
"""Motions that change the distances relatively less than this are left alone (a sphere turns)."""


@dataclass(frozen=True, eq=False)
class TrueFit:
    """The rigid motion that brings the produced crown nearest to its design.

    Attributes
    ----------
    motion : (4, 4) array
        Takes the produced crown from the frame in which it was made to its best-fitted place.
    rms_um : float
        Root of the mean squared distance that is left, over the produced surface.
    last_step_um : float
        Largest shift of any point in the last step: how far the fit has settled.
    """

    motion: FloatArray
    rms_um: float
    last_step_um: float


def best_fit(shape: CrownShape, nodes: Nodes, sample: SurfaceSample) -> TrueFit:
    """Least squares of the distances from produced points to the design, weighted by area.

    ``min Σ w_i dist(R q_i + t, design)²`` over all rotations and shifts. Each step solves the
    linear problem in the six rigid motions at the present feet (Gauss–Newton; the distance's
    derivative is n · (ω × x + t)) and finds the feet anew.

    Parameters
    ----------
    shape : CrownShape
        The design.
    nodes : Nodes
        Points of the produced surface and their weights.
    sample : SurfaceSample
        Points of the design, for first guesses.
    """
    limits = (-shape.intaglio_length_mm, shape.external_length_mm)
    motion = np.eye(4)
    theta, s = nodes.theta, nodes.s
    root = np.sqrt(nodes.weights_mm2)
    rms, moved = np.inf, np.inf
    for step in range(FIT_STEPS):
        x = nodes.points @ motion[:3, :3].T + motion[:3, 3]
        feet = nearest_feet(shape, limits, x, theta, s, sample if step == 0 else None)
        theta, s = feet.theta, feet.s
        rms = float(np.sqrt(np.average(feet.signed_mm**2, weights=nodes.weights_mm2)))
        if moved < 1e-8:
            break
        rows = np.concatenate([np.cross(x, feet.normals), feet.normals], axis=1)
        change = np.linalg.lstsq(rows * root[:, None], -feet.signed_mm * root, rcond=UNSEEN)[0]
        turn = np.eye(4)
        turn[:3, :3] = Rotation.from_rotvec(change[:3]).as_matrix()
        turn[:3, 3] = change[3:]
        motion = turn @ motion
        moved = float(np.abs(rows[:, :3] @ change[:3]).max() + np.linalg.norm(change[3:]))
    return TrueFit(motion, 1e3 * rms, 1e3 * moved)

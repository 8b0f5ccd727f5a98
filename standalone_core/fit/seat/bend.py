"""How the forces of the contacts turn as a crown moves: learnt from the gaps at two poses."""

from __future__ import annotations

import numpy as np

from ...arrays import FloatArray
from .pair import Gaps
from .step import Step, pushes

_LEAST_SHARE = 1e-6


def learnt(
    bend: FloatArray,
    step: Step,
    centre: FloatArray,
    there: Gaps,
    centre_there: FloatArray,
    arm_mm: float,
) -> FloatArray:
    row = step.contacts.row
    if not len(row) or not np.isin(row, there.row).all():
        return bend
    met = there.taken(np.searchsorted(there.row, row))
    turned = pushes(step.contacts, centre, arm_mm) - pushes(met, centre_there, arm_mm)
    off = step.force @ turned - bend @ step.motion
    along = float(off @ step.motion)
    if abs(along) <= _LEAST_SHARE * float(np.linalg.norm(off) * np.linalg.norm(step.motion)):
        return bend
    learned: FloatArray = bend + np.outer(off, off) / along
    return learned


def upward(bend: FloatArray) -> FloatArray:
    values, vectors = np.linalg.eigh(bend)
    return (vectors * np.maximum(values, 0.0)) @ vectors.T

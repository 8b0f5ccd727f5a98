"""How likely a place that stands out is what a support, a sprue or a holding bar left.

``likelihood = form × place``. The form speaks by a logistic function of what was measured,

``form = 1 / (1 + exp(−z))``,
``z = Z₀ + Z₁ ln roundness + Z₂ ln steepness + Z₃ ln(height / scatter) − Z₄ moat``,

whose factors were fitted by logistic regression to the 678 places that stand out of 101 simulated
crowns: smooth, flat and oval stubs and gouges (445), and ridges, humps, layers, filled fossae,
chips and bends. The place speaks by what is known of supports: they stand on the outside, off
the margin (0.4 mm), not in fossae and inside corners (which fill with resin or glaze, or which a
tool does not reach), and on surfaces that face down in the build direction or are steep. Each is
a factor that falls smoothly from 1 to 0, or to a quarter where a surface faces up, since sprues
and tools leave marks there as well; common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from .mark_ground import MarkGround
from .mark_shape import MarkShape

Z_CONSTANT, Z_ROUNDNESS, Z_STEEPNESS, Z_SIGNAL, Z_MOAT = -2.7, 11.5, 3.1, 4.1, 13.0
_MOST = 30.0
"""A greater signal says no more."""
_LEAST = 1e-3
"""A smaller roundness or slope says no more."""

MARGIN_MM, MARGIN_SOFT_MM = 0.4, 0.05
FREE_SHARE, FREE_SOFT = 0.5, 0.1
"""Share of what lies above half of the height that is outside fossae and inside corners."""
STEEP_COSINE, STEEP_SOFT = 0.5, 0.1
"""Steeper than 60° to the horizontal counts as steep."""
FACING_UP = 0.25


@dataclass(frozen=True)
class Likelihood:
    """What the likelihood of a place is made of; each from 0 to 1.

    Attributes
    ----------
    form : float
        Of its form.
    margin, corner, facing : float
        Of its place: off the margin, off inside corners, on the side of supports.
    """

    form: float
    margin: float
    corner: float
    facing: float

    @property
    def whole(self) -> float:
        """Their product."""
        return self.form * self.margin * self.corner * self.facing


def form_terms(shape: MarkShape) -> FloatArray:
    """What the form's logistic function multiplies with its factors, (5,)."""
    return np.array(
        [
            1.0,
            np.log(max(shape.roundness, _LEAST)),
            np.log(max(shape.steepness, _LEAST)),
            np.log(min(shape.signal_to_noise, _MOST)),
            -min(shape.moat, 1.0),
        ]
    )


def likelihood_of(
    ground: MarkGround, shape: MarkShape, build_direction: FloatArray | None
) -> Likelihood:
    """Weigh what speaks for a mark.

    Parameters
    ----------
    ground : MarkGround
    shape : MarkShape
    build_direction : (3,) float or None
        Unit vector from the building platform to the last layer.
    """
    weights = ground.weights_mm2[shape.core] / ground.weights_mm2[shape.core].sum()
    factors = np.array([Z_CONSTANT, Z_ROUNDNESS, Z_STEEPNESS, Z_SIGNAL, Z_MOAT])
    rim = float(weights @ ground.margin_mm[shape.core])
    free = 1.0 - float(weights @ ground.corner[shape.core])
    facing = 1.0
    if build_direction is not None:
        up = float(weights @ (ground.normals[shape.core] @ build_direction))
        facing = FACING_UP + (1.0 - FACING_UP) * _rising((STEEP_COSINE - up) / STEEP_SOFT)
    return Likelihood(
        form=_rising(float(factors @ form_terms(shape))),
        margin=_rising((rim - MARGIN_MM) / MARGIN_SOFT_MM),
        corner=_rising((free - FREE_SHARE) / FREE_SOFT),
        facing=facing,
    )


def worth_a_look(ground: MarkGround, peaks: IntArray) -> BoolArray:
    """Return which peaks, (k,), lie where marks may be: elsewhere their form would not matter."""
    off_rim = ground.margin_mm[peaks] > MARGIN_MM - 3.0 * MARGIN_SOFT_MM
    looked_at: BoolArray = off_rim & ~ground.corner[peaks] & ~ground.marked[peaks]
    return looked_at


def _rising(z: float) -> float:
    """Logistic function."""
    return float(1.0 / (1.0 + np.exp(-np.clip(z, -50.0, 50.0))))

"""True deviations and measures of a produced demo crown, from the formulae.

Nothing here goes through the code that measures scans: points are spread over the analytic
surfaces, nearest points are found by Newton's method on their formulae, and the best fit is an
optimisation of its own. Positive means material outside the design.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from cuspwise.standalone_core.arrays import BoolArray, FloatArray
from cuspwise.standalone_core.demo.nearest import SAMPLE_MM, SurfaceSample, nearest_feet
from cuspwise.standalone_core.demo.produced import ProducedSurface
from cuspwise.standalone_core.demo.production import present
from cuspwise.standalone_core.demo.quadrature import Nodes, surface_nodes
from cuspwise.standalone_core.demo.true_areas import TRUE_AREA_NAMES, TrueAreas, areas_of
from oracle.true_fit import TrueFit, best_fit
from oracle.true_measures import NoiseModel, TrueMeasures, measures_of
from scipy.spatial import cKDTree

Direction = Literal["design_to_scan", "scan_to_design"]
Frame = Literal["design", "best_fit"]
DIRECTIONS: tuple[Direction, ...] = ("design_to_scan", "scan_to_design")


@dataclass(frozen=True, eq=False)
class TrueDeviation:
    """Deviations at points spread evenly over one surface.

    Attributes
    ----------
    direction : str
        ``design_to_scan`` or ``scan_to_design``.
    theta, s : (n,) array
        Parameters on the *design* of each point, or of its nearest point there: they decide
        the areas.
    deviation_mm : (n,) array
        Signed deviation.
    weights_mm2 : (n,) array
        Area that each point stands for, on the surface it lies on.
    counted : (n,) bool
        False where the scan is missing at the point or its nearest point.
    unsettled : int
        Points whose nearest point Newton's method did not settle.
    """

    direction: Direction
    theta: FloatArray
    s: FloatArray
    deviation_mm: FloatArray
    weights_mm2: FloatArray
    counted: BoolArray
    unsettled: int


@dataclass(frozen=True, eq=False)
class Truth:
    """Everything true about one produced crown.

    Loose debris is left out. Noise is not in the deviations; :meth:`measures` adds it by
    convolution when it is told how much of it there is.

    Attributes
    ----------
    surface : ProducedSurface
        The produced crown; the scan's pose plays no role.
    areas : TrueAreas
        The design's areas.
    spacing_mm : float
        Spacing of the points; the numbers converge as it shrinks.
    """

    surface: ProducedSurface
    areas: TrueAreas
    spacing_mm: float = 0.1

    @cached_property
    def design_nodes(self) -> Nodes:
        """Points over the design."""
        return surface_nodes(self.surface.shape, self.spacing_mm)

    @cached_property
    def produced_nodes(self) -> Nodes:
        """Points over the part of the produced surface that the scan shows."""
        nodes = surface_nodes(self.surface, self.spacing_mm)
        shown = present(self.surface, nodes.theta, nodes.s)
        return Nodes(
            nodes.theta[shown],
            nodes.s[shown],
            nodes.points[shown],
            nodes.normals[shown],
            nodes.weights_mm2[shown],
        )

    @cached_property
    def fit(self) -> TrueFit:
        """The ideal best fit of the produced surface onto the design."""
        return best_fit(self.surface.shape, self.produced_nodes, self._design_sample)

    @cached_property
    def _design_sample(self) -> SurfaceSample:
        nodes = surface_nodes(self.surface.shape, SAMPLE_MM)
        return SurfaceSample(nodes.theta, nodes.s, cKDTree(nodes.points))

    @cached_property
    def _produced_sample(self) -> SurfaceSample:
        theta, s = self._design_sample.theta, self._design_sample.s
        return SurfaceSample(theta, s, cKDTree(self.surface.points(theta, s)))

    def deviation(self, direction: Direction, frame: Frame = "design") -> TrueDeviation:
        """True deviations in one direction.

        Parameters
        ----------
        direction : {"design_to_scan", "scan_to_design"}
            From the points of which surface to which other surface.
        frame : {"design", "best_fit"}
            With the produced crown where it was made in the design's frame, or best-fitted.
        """
        motion = np.eye(4) if frame == "design" else self.fit.motion
        if direction == "scan_to_design":
            return self._from_scan(motion)
        return self._from_design(motion)

    def _from_scan(self, motion: FloatArray) -> TrueDeviation:
        nodes = self.produced_nodes
        queries = nodes.points @ motion[:3, :3].T + motion[:3, 3]
        feet = nearest_feet(
            self.surface.shape, self._limits, queries, nodes.theta, nodes.s, self._design_sample
        )
        return TrueDeviation(
            "scan_to_design",
            feet.theta,
            feet.s,
            feet.signed_mm,
            nodes.weights_mm2,
            np.ones(len(feet.s), dtype=bool),
            feet.unsettled,
        )

    def _from_design(self, motion: FloatArray) -> TrueDeviation:
        nodes = self.design_nodes
        queries = (nodes.points - motion[:3, 3]) @ motion[:3, :3]
        feet = nearest_feet(
            self.surface, self._limits, queries, nodes.theta, nodes.s, self._produced_sample
        )
        return TrueDeviation(
            "design_to_scan",
            nodes.theta,
            nodes.s,
            -feet.signed_mm,
            nodes.weights_mm2,
            present(self.surface, feet.theta, feet.s),
            feet.unsettled,
        )

    @property
    def _limits(self) -> tuple[float, float]:
        shape = self.surface.shape
        return -shape.intaglio_length_mm, shape.external_length_mm

    def measures(
        self,
        frame: Frame = "design",
        *,
        noise: NoiseModel | None = None,
        tolerances_um: Mapping[str, float] | None = None,
        directions: Sequence[Direction] = DIRECTIONS,
    ) -> tuple[TrueMeasures, ...]:
        """True measures of every area.

        Parameters
        ----------
        frame : {"design", "best_fit"}
            See :meth:`deviation`.
        noise : NoiseModel, optional
            Noise of the scan's vertices, to add to the deviations as it is all over the scan's
            triangles, in both directions; none by default. Minimum and maximum never hold it.
        tolerances_um : mapping, optional
            Tolerance by area, for the share within it.
        directions : sequence of str
            Which to work out; both, ``design_to_scan`` first, by default.

        Returns
        -------
        tuple of TrueMeasures
            Direction by direction.
        """
        limits = tolerances_um or {}
        rows = []
        for direction in directions:
            field = self.deviation(direction, frame)
            for name in TRUE_AREA_NAMES:
                inside = self.areas.contains(name, field.theta, field.s) & field.counted
                row = measures_of(
                    field.deviation_mm[inside],
                    field.weights_mm2[inside],
                    noise=noise,
                    from_vertices=False,
                    tolerance_um=limits.get(name, np.nan),
                )
                rows.append(replace(row, area=name, direction=direction))
        return tuple(rows)


def truth_of(surface: ProducedSurface, *, spacing_mm: float = 0.1) -> Truth:
    """The truth about a produced crown."""
    return Truth(surface, areas_of(surface.shape), spacing_mm)

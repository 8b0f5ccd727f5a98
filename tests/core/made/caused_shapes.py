"""Designs by formula that crowns with known causes are made from, ready to be measured against."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np
from cuspwise.standalone_core.areas.area_set import AreaSet
from cuspwise.standalone_core.arrays import BoolArray, FloatArray
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.checked_mesh import checked_surface
from cuspwise.standalone_core.demo.meshing import mesh_surface
from cuspwise.standalone_core.demo.occlusal import Cusp, OcclusalRelief
from cuspwise.standalone_core.demo.shape import CrownShape, Groove, Outline
from cuspwise.standalone_core.measure import ReadyDesign, ready_design_steps
from cuspwise.standalone_core.mesh.refine import EvaluationMesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import Steps, run
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings

NAMES = ("molar", "premolar", "open cavity", "open rim", "no rim")
"""The designs; the last three are parts of the molar. In an open cavity the roof of the intaglio
is missing, so that the mesh has a border. An open rim is missing over most of a turn, so that
outside and intaglio hang together only mesially; without a rim they are two shells."""

OPEN_RIM_DEG = 40.0, 320.0
"""Between which angles an open rim is missing."""

CAVITY_MM = 3.6
"""How far up the intaglio of an open cavity goes along a meridian."""

RIM_MM = 0.25
"""How much is missing on each side of the margin line where there is no rim."""


@dataclass(frozen=True)
class PremolarShape(CrownShape):
    """A first upper premolar, about 7 × 9 × 7 mm; all numbers invented, no tooth was measured."""

    contour: Outline = Outline(4.05, (0.02, -0.52, 0.0, -0.06), (0.06, 0.0, 0.05))
    margin_outline: Outline = Outline(3.32, (0.05, -0.36), (0.02, 0.03))
    margin_height: Outline = Outline(0.1, (0.02, 0.55, -0.02), (-0.06, 0.03))
    grooves: tuple[Groove, ...] = (Groove(8.0, 0.12, 40.0),)
    corner_exponent: float = 3.5
    corner_exponent_buccal: float = 0.2
    taper_power: float = 1.8
    wall_mm: float = 0.62
    taper_deg: float = 7.0
    roof_drop_mm: float = 1.35
    external_length_mm: float = 9.6
    intaglio_length_mm: float = 6.9

    @cached_property
    def cones(self) -> tuple[Cusp, ...]:
        """A buccal and a lingual cusp, a mesial and a distal marginal ridge."""
        return (
            Cusp(0.15, 2.35, 7.2, 270.0, 0.66, 0.80, 0.45),
            Cusp(-0.3, -2.2, 6.3, 88.0, 0.66, 0.84, 0.5),
            Cusp(2.7, 0.1, 5.5, 90.0, 0.14, 1.0, 0.4),
            Cusp(-2.75, 0.0, 5.4, 92.0, 0.16, 1.0, 0.4),
        )

    @cached_property
    def relief(self) -> OcclusalRelief:
        """The external occlusal relief."""
        return OcclusalRelief(self.cones, waviness_mm=0.08)

    @cached_property
    def roof(self) -> OcclusalRelief:
        """The smoother relief that the roof of the intaglio follows."""
        return OcclusalRelief(
            self.cones,
            fissure_roundness_mm=0.2,
            groove_depth_mm=0.0,
            extra_roundness_mm=0.7,
            waviness_mm=0.08,
        )


@dataclass(frozen=True, eq=False)
class CausedDesign:
    """A design whose evaluation points are points of its formula.

    Attributes
    ----------
    name : str
        One of :data:`NAMES`.
    shape : CrownShape
    edge_mm : float
        Mean edge length.
    theta, s : (n,) array
        Surface parameters of the evaluation points, in their order.
    points, normals : (n, 3) array
        The formula's points, mm, and outward unit normals there.
    settings : CheckSettings
        With a spacing so wide that the evaluation points are the mesh's vertices.
    ready : ReadyDesign
        What scans are measured against.
    """

    name: str
    shape: CrownShape
    edge_mm: float
    theta: FloatArray
    s: FloatArray
    points: FloatArray
    normals: FloatArray
    settings: CheckSettings
    ready: ReadyDesign

    @property
    def mesh(self) -> TriangleMesh:
        """The evaluation mesh."""
        return self.ready.evaluation.mesh

    @property
    def weights_mm2(self) -> FloatArray:
        """Area that each point stands for, (n,)."""
        return self.ready.evaluation.weights_mm2

    @property
    def external(self) -> BoolArray:
        """Which points lie outside by the formula, (n,)."""
        outside: BoolArray = self.s >= 0.0
        return outside

    @cached_property
    def rigid(self) -> FloatArray:
        """Change of the deviation under small turns and shifts about the origin, (n, 6)."""
        return np.concatenate([np.cross(self.points, self.normals), self.normals], axis=1)

    def less_rigid(self, values: FloatArray, counted: BoolArray | None = None) -> FloatArray:
        """Values (n,) less the small motion that makes their mean square over the area least.

        Only the points that count decide on the motion.
        """
        weights = self.weights_mm2 * (1.0 if counted is None else counted)
        known = np.where(weights > 0.0, values, 0.0)
        left = self.rigid.T * weights
        motion = np.linalg.solve(left @ self.rigid, left @ known)
        result: FloatArray = values - self.rigid @ motion
        return result

    def rms_um(self, values: FloatArray) -> float:
        """Area-weighted root mean square of values in mm, µm."""
        return 1e3 * float(np.sqrt(np.average(values**2, weights=self.weights_mm2)))

    def shown(self, theta: FloatArray, s: FloatArray) -> BoolArray:
        """Which parameters the design has a surface at; nothing else of a scan is kept."""
        return _shown(self.name, theta, s)


@cache
def caused_design(
    name: str = "molar", edge_mm: float = 0.1, *, areas_given: bool = True
) -> CausedDesign:
    """Make a design ready, once a process for each name and edge length.

    Parameters
    ----------
    name : str
        One of :data:`NAMES`.
    edge_mm : float
        Mean edge length: 0.1 gives some 50,000 points, 0.2 a quarter of it.
    areas_given : bool
        Whether a part of the molar has the molar's areas and margin line, as from an areas file;
        else those that are found on the part itself, where mostly some are missing. Whole
        designs always have those that are found.
    """
    shape = PremolarShape() if name == "premolar" else CrownShape()
    ends = -shape.intaglio_length_mm, shape.external_length_mm
    grid = mesh_surface(shape.points, *ends, edge_mm)
    whole = TriangleMesh(shape.points(grid.theta, grid.s), grid.faces, name)
    kept = _shown(name, grid.theta, grid.s)[grid.faces].all(axis=1)
    used = np.unique(grid.faces[kept])
    settings = CheckSettings(
        design_unit="mm",
        scan_unit="mm",
        spacing_mm=2.5 * edge_mm,
        superimpose=SuperimposeSettings(look_for_rivals=False),
    )

    def areas_of_whole(evaluation: EvaluationMesh) -> Steps[AreaSet]:
        of_whole = caused_design("molar", edge_mm).ready.area_set
        areas = {k: replace(area, points=area.points[used]) for k, area in of_whole.areas.items()}
        return replace(of_whole, evaluation=evaluation, areas=areas)
        yield  # steps that end at once

    ready = run(
        ready_design_steps(
            checked_surface(whole.kept(kept)),
            settings,
            find_areas=areas_of_whole if areas_given and len(used) < len(grid.s) else None,
            threads=1,
        )
    )
    theta, s = grid.theta[used], grid.s[used]
    points, normals = shape.points_and_normals(theta, s)
    np.testing.assert_allclose(ready.evaluation.points, points, rtol=0.0, atol=1e-9)
    return CausedDesign(name, shape, edge_mm, theta, s, points, normals, settings, ready)


def _shown(name: str, theta: FloatArray, s: FloatArray) -> BoolArray:
    shown: BoolArray = np.ones(np.shape(s), dtype=bool)
    if name == "open cavity":
        shown = s > -CAVITY_MM
    elif name == "no rim":
        shown = np.abs(s) > RIM_MM
    elif name == "open rim":
        low, high = np.deg2rad(OPEN_RIM_DEG)
        shown = (np.abs(s) > RIM_MM) | (theta < low) | (theta > high)
    return shown

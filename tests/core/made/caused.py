"""Crowns with known causes: first-order deviations in milliseconds, and whole scans of them.

To first order a place of the design deviates by ``n · (Q - P)``, Q the same place of the produced
crown by formula, less the motion that a superimposition takes away.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from cuspwise.standalone_core.arrays import BoolArray, FloatArray
from cuspwise.standalone_core.checked_mesh import checked_surface
from cuspwise.standalone_core.demo.nearest import SurfaceSample, nearest_feet
from cuspwise.standalone_core.demo.produced import ProducedSurface
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, ScannerNoise
from cuspwise.standalone_core.deviation.field import COUNTED, TOO_FAR, DeviationField
from cuspwise.standalone_core.measure import MeasuredScan, measure_scan_steps, ready_scan_steps
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from made.caused_shapes import CausedDesign
from scipy.spatial import cKDTree

Shift = Callable[[FloatArray, FloatArray], FloatArray]
"""Points of the design (n, 3), mm, and their normals to the shift along these, (n,), mm."""

SCAN_EDGE_MM = 0.12
WHITE_UM = 2.0
"""Independent noise of a scan's vertices, µm."""

WHITE_AT_POINTS_UM = 1.5
"""The same as it reaches a design's points: a foot on a face averages its corners."""

SMOOTH_UM, SMOOTH_MM = 1.5, 1.0
"""Scanner noise that changes over that many mm."""

NOISE_WAVES = 60


@dataclass(frozen=True)
class Flaws:
    """How crowns differ from their design.

    Attributes
    ----------
    errors : ProductionErrors
        What the demo can be produced with.
    shifts : tuple of Shift
        Other displacements along the normals.
    """

    errors: ProductionErrors = ProductionErrors()
    shifts: tuple[Shift, ...] = ()


def together(*flaws: Flaws) -> Flaws:
    """All flaws on one crown: shifts add up, factors multiply."""
    errors = ProductionErrors()
    for other in (flaw.errors for flaw in flaws):
        joined = {
            name: getattr(errors, name) + getattr(other, name)
            for name in ("offset_um", "waves", "spots", "bends", "rings", "fills", "stretches")
        }
        outside, inside = np.add(errors.growth_um, other.growth_um)
        x, y, z = np.multiply(errors.scale, other.scale)
        errors = replace(
            errors, **joined, growth_um=(float(outside), float(inside)), scale=(x, y, z)
        )
    return Flaws(errors, tuple(shift for flaw in flaws for shift in flaw.shifts))


@lru_cache(maxsize=64)
def raw_field(design: CausedDesign, flaws: Flaws) -> FloatArray:
    """First-order deviation at the design's points where it lies, (n,), mm: n · (Q - P).

    Under rolling balls, where places move far and not along their normals, the exact one. Read
    only. Kept for the next crowns with the same flaws.
    """
    field = normal_parts(design, flaws.errors)
    if flaws.errors.fills:
        filled = np.abs(normal_parts(design, ProductionErrors(fills=flaws.errors.fills))) > 5e-4
        field[filled] = nearest_field(design, flaws.errors, filled)
    for shift in flaws.shifts:
        field = field + shift(design.points, design.normals)
    field.setflags(write=False)
    return field


def normal_parts(design: CausedDesign, errors: ProductionErrors) -> FloatArray:
    """Parts of the places' ways along their normals, (n,), mm."""
    surface = ProducedSurface(design.shape, errors)
    moved = surface.moved(design.theta, design.s, design.points, design.normals)
    parts: FloatArray = np.einsum("ij,ij->i", moved - design.points, design.normals)
    return parts


def nearest_field(
    design: CausedDesign, errors: ProductionErrors, where: BoolArray | None = None
) -> FloatArray:
    """Exact deviation where the crown lies, mm: distance to the nearest place of its formula.

    At the points (n,) of the design that are asked for; all by default.
    """
    where = np.ones(len(design.points), dtype=bool) if where is None else where
    surface = ProducedSurface(design.shape, errors)
    moved = surface.moved(design.theta, design.s, design.points, design.normals)
    sample = SurfaceSample(design.theta, design.s, cKDTree(moved))
    limits = -design.shape.intaglio_length_mm, design.shape.external_length_mm
    start = design.theta[where], design.s[where]
    feet = nearest_feet(surface, limits, design.points[where], *start, sample)
    return -feet.signed_mm


def first_order(
    design: CausedDesign,
    *flaws: Flaws,
    rng: np.random.Generator | None = None,
    white_um: float = WHITE_AT_POINTS_UM,
    smooth_um: float = SMOOTH_UM,
    counted: BoolArray | None = None,
) -> FloatArray:
    """Deviation of a superimposed crown from design to scan, to first order.

    Parameters
    ----------
    design : CausedDesign
        With n points.
    flaws : Flaws
        Give causes and form error apart: the fields of what several crowns share are kept.
    rng : Generator, optional
        For the scanner's noise; none without it.
    white_um, smooth_um : float
        Standard deviations of the independent noise and of that which changes over 1 mm.
    counted : (n,) bool, optional
        The points that the superimposition runs on; all by default.

    Returns
    -------
    (n,) array
        mm, at every point, counted or not.
    """
    deviation = np.sum([raw_field(design, flaw) for flaw in flaws], axis=0) + np.zeros(
        len(design.points)
    )
    if rng is not None:
        deviation += 1e-3 * white_um * rng.standard_normal(len(deviation))
        deviation += smooth_noise(design.points, rng, smooth_um)
    return design.less_rigid(deviation, counted)


def smooth_noise(
    points: FloatArray, rng: np.random.Generator, sigma_um: float, correlation_mm: float = SMOOTH_MM
) -> FloatArray:
    """Random plane waves of correlation exp(-r²/2L²) at points (n, 3), mm; single precision."""
    frequencies = rng.normal(0.0, 1.0 / correlation_mm, (3, NOISE_WAVES))
    phases = rng.uniform(0.0, 2.0 * np.pi, NOISE_WAVES)
    angles = (points @ frequencies + phases).astype(np.float32)
    waves: FloatArray = np.cos(angles).sum(axis=1).astype(np.float64)
    return 1e-3 * sigma_um * np.sqrt(2.0 / NOISE_WAVES) * waves


def as_field(
    design: CausedDesign, deviation_mm: FloatArray, counted: BoolArray | None = None
) -> DeviationField:
    """Deviations (n,) at a design's points as a measured field from design to scan.

    Points that do not count (all do by default) have nothing within the search distance.
    """
    counted = np.ones(len(deviation_mm), dtype=bool) if counted is None else counted
    return DeviationField(
        direction="design_to_scan",
        points_mm=design.mesh.vertices,
        deviation_mm=np.where(counted, deviation_mm, np.nan),
        status=np.where(counted, COUNTED, TOO_FAR).astype(np.uint8),
        weights_mm2=design.weights_mm2,
        area_point=np.arange(len(deviation_mm)),
        settings=design.settings.deviation,
    )


def scan_of(
    design: CausedDesign,
    *flaws: Flaws,
    rng: np.random.Generator,
    edge_mm: float = SCAN_EDGE_MM,
    white_um: float = WHITE_UM,
    smooth_um: float = SMOOTH_UM,
    external_only: bool = False,
    any_pose: bool = True,
) -> TriangleMesh:
    """Scan a crown of a design, with vertices of its own.

    Parameters
    ----------
    design : CausedDesign
        The scan shows the parts of it that the design has.
    flaws : Flaws
    rng : Generator
        For sampling, noise and pose.
    edge_mm : float
        Mean edge length.
    white_um, smooth_um : float
        Noise of each vertex, and noise that changes over 1 mm.
    external_only : bool
        Whether only the outside was scanned.
    any_pose : bool
        Whether the scan lies anywhere; else where the design lies.
    """
    whole = together(*flaws)
    errors = replace(
        whole.errors,
        noise=ScannerNoise(white_um, smooth_um, SMOOTH_MM),
        intaglio_missing=external_only,
        any_pose=any_pose,
    )
    made = produce(design.shape, errors, edge_mm=edge_mm, rng=rng)
    mesh = made.mesh
    if whole.shifts:
        places = design.shape.points_and_normals(made.theta, made.s)
        moved = sum(shift(*places) for shift in whole.shifts)
        shifted = mesh.vertices + moved[:, None] * mesh.vertex_normals
        mesh = TriangleMesh(shifted, mesh.faces, mesh.name)
    return mesh.kept(design.shown(made.theta, made.s)[mesh.faces].all(axis=1))


def measured(design: CausedDesign, scan: TriangleMesh) -> MeasuredScan:
    """Superimpose a scan and measure it, as a check does."""
    scan_steps = ready_scan_steps(checked_surface(scan), design.settings, threads=1)
    return run(measure_scan_steps(run(scan_steps), design.ready, design.settings))


def whole(
    design: CausedDesign,
    *flaws: Flaws,
    rng: np.random.Generator,
    edge_mm: float = SCAN_EDGE_MM,
    white_um: float = WHITE_UM,
    smooth_um: float = SMOOTH_UM,
    external_only: bool = False,
    any_pose: bool = True,
) -> MeasuredScan:
    """Produce, scan, superimpose and measure a crown: :func:`scan_of`, then :func:`measured`."""
    scan = scan_of(
        design,
        *flaws,
        rng=rng,
        edge_mm=edge_mm,
        white_um=white_um,
        smooth_um=smooth_um,
        external_only=external_only,
        any_pose=any_pose,
    )
    return measured(design, scan)

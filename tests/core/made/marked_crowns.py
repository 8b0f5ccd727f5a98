"""Produced crowns with stubs and gouges at random places, and their deviations where they lie."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import NamedTuple

import numpy as np
from cuspwise.standalone_core.areas.area_set import AreaSet
from cuspwise.standalone_core.areas.find import find_areas
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.demo.crown import DemoCrown
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import (
    BallFill,
    Bend,
    Cap,
    Layers,
    ProductionErrors,
    ScannerNoise,
    Wave,
)
from cuspwise.standalone_core.demo.shape import Chip
from cuspwise.standalone_core.deviation.field import DeviationField, measure_deviation
from cuspwise.standalone_core.deviation.matching import mutual
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.crowns import demo_crown
from scipy.spatial import cKDTree


class Sampling(NamedTuple):
    """Mean edges of design and scan, and the longest edges of the evaluation mesh, mm."""

    edge_mm: float
    spacing_mm: float


FINE, QUICK = Sampling(0.1, 0.1), Sampling(0.12, 0.3)
RIM_MM = 0.8
"""No mark has its middle nearer to the margin line."""
APART_MM = 0.3
"""Between the edges of two marks."""


@dataclass(frozen=True, eq=False)
class MarkedCrown:
    """One produced crown.

    Attributes
    ----------
    caps : tuple of Cap
        Its stubs and gouges.
    centres_mm : (k, 3) float
        Their middles on the design.
    field : DeviationField
        Design to scan, in the design's frame.
    """

    caps: tuple[Cap, ...]
    centres_mm: FloatArray
    field: DeviationField


@cache
def design(sampling: Sampling = FINE) -> DemoCrown:
    return demo_crown(sampling.edge_mm)


@cache
def design_index(sampling: Sampling = FINE) -> tuple[AreaSet, SurfaceIndex]:
    evaluation = evaluation_mesh(design(sampling).mesh, sampling.spacing_mm)
    return find_areas(evaluation), SurfaceIndex(evaluation.mesh, threads=1)


def marked_crown(errors: ProductionErrors, seed: int, sampling: Sampling = FINE) -> MarkedCrown:
    """Produce, scan and measure a crown where the design lies."""
    crown = design(sampling)
    areas, index = design_index(sampling)
    scan = produce(
        crown,
        replace(errors, any_pose=False),
        edge_mm=sampling.edge_mm,
        rng=np.random.default_rng([seed, 1]),
    )
    surface = SurfaceIndex(scan.mesh, threads=1)
    field = measure_deviation(areas.evaluation.mesh, surface)
    field = mutual(field, areas.evaluation.mesh, surface, index)
    centres = [
        crown.shape.points(np.array(np.deg2rad(one.angle_deg)), np.array(one.s_mm))
        for one in errors.spots
    ]
    return MarkedCrown(errors.spots, np.array(centres).reshape(-1, 3), field)


def form_error(rng: np.random.Generator, rms_um: float = 4.0, count: int = 6) -> tuple[Wave, ...]:
    """Waves of 3 to 12 mm in any direction, together of this RMS."""
    return tuple(
        Wave(
            tuple(rng.normal(size=3)),
            rng.uniform(3.0, 12.0),
            rms_um * np.sqrt(2.0 / count),
            rng.uniform(0.0, 360.0),
        )
        for _ in range(count)
    )


def other_errors(rng: np.random.Generator, kind: str) -> ProductionErrors:
    """All that goes wrong beside the marks.

    ``plain``: form error, scanner noise and a wrong factor; ``unfilled`` has layers, a chip and a
    bent margin as well. ``printed`` adds filled fossae, ``milled`` a tool's radius in place of the
    layers; ``coarse`` is printed in layers as thick as the demo's.
    """
    plain = ProductionErrors(
        waves=form_error(rng),
        scale=(0.999, 0.999, 0.999),
        noise=ScannerNoise(2.0, 1.5, 1.0),
    )
    bend = Bend(rng.uniform(0.0, 360.0), 4.0, 2.0, rng.choice([-50.0, 50.0]))
    chip = Chip(rng.uniform(0.0, 360.0), 1.2, 0.12)
    if kind == "plain":
        return plain
    if kind == "milled":
        fills = (BallFill(0.5, 1.0), BallFill(1.0, 1.0, "intaglio"))
        return replace(plain, fills=fills, chips=(chip,), bends=(bend,))
    layers = Layers(0.1, resolution_mm=0.05) if kind == "coarse" else Layers(0.05)
    unfilled = replace(plain, layers=layers, chips=(chip,), bends=(bend,))
    return unfilled if kind == "unfilled" else replace(unfilled, fills=(BallFill(0.9, 0.2),))


def random_caps(rng: np.random.Generator, count: int, sampling: Sampling = FINE) -> tuple[Cap, ...]:
    """Stubs and gouges of 40 to 150 µm and 0.3 to 0.7 mm, outside, off the rim and the fossae."""
    crown = design(sampling)
    off_rim = cKDTree(crown.margin_line_mm).query(crown.mesh.vertices)[0] > RIM_MM
    free = crown.vertex_areas["external"] & ~crown.vertex_areas["fossae"] & off_rim
    weights = np.where(free, crown.mesh.vertex_areas, 0.0)
    caps: list[Cap] = []
    places: list[FloatArray] = []
    while len(caps) < count:
        vertex = rng.choice(len(weights), p=weights / weights.sum())
        place, radius = crown.mesh.vertices[vertex], rng.uniform(0.3, 0.7)
        if any(
            np.linalg.norm(place - other) < radius + one.radius_mm + APART_MM
            for other, one in zip(places, caps, strict=True)
        ):
            continue
        height = rng.choice([-1.0, 1.0]) * rng.uniform(40.0, 150.0)
        angle, s = np.rad2deg(crown.theta[vertex]), crown.s[vertex]
        caps.append(Cap(float(angle), float(s), float(radius), float(height)))
        places.append(place)
    return tuple(caps)


@cache
def random_crown(
    seed: int,
    kind: str,
    marks: bool = True,
    sampling: Sampling = FINE,
) -> MarkedCrown:
    """Return a crown with 2 to 6 marks at random places, or with none."""
    rng = np.random.default_rng([seed, 0])
    errors = other_errors(rng, kind)
    if marks:
        caps = random_caps(rng, int(rng.integers(2, 7)), sampling)
        errors = replace(errors, spots=caps)
    return marked_crown(errors, seed, sampling)

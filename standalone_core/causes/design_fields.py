"""What every cause would do to a design: fields at its evaluation points, and their cell means."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csr_matrix
from scipy.spatial.distance import cdist

from ..areas.area_set import AreaSet
from ..areas.margin_distance import distance_to_line
from ..arrays import BoolArray, FloatArray, IntArray
from ..progress import Steps, run
from ..surface.closest import SurfaceIndex
from .corner_fields import corner_fields_steps
from .covariance import Sites
from .mark_ground import MarkGround, mark_ground
from .rings import ring_columns
from .settings import CausesSettings, ProductionFacts
from .strain import strain_columns

REACHES_MM = (1.5, 2.5, 4.0)
"""What is tried where the reach of a deformed margin is searched; common practice, no source."""

_LEAST_SHARE = 0.15
"""Cells with less of a full cell's area than this are left out."""

_COUNTED_SHARE = 0.6
"""A cell is measured if at least this share of its area counts."""

MOST_CELLS = 1500
"""Beyond, cells are made larger: their covariance takes time with the cube of their count."""

_TINY_MM2 = 1e-12

PER_UM = 1e-3


@dataclass(frozen=True, eq=False)
class Fields:
    """Columns at the evaluation points, mm per unit of each cause.

    Attributes
    ----------
    rigid : (n, 6) float
        mm per mm of shift and per 10 mrad of turn or so.
    strain : (n, 6) float
        Per ‰; see :func:`.strain.strain_columns`.
    outside, inside : (n,) float
        Per µm of growth.
    rings : mapping of float to (n, 7) float
        By reach, mm; empty without a margin line. See :func:`.rings.ring_columns`.
    fossae : mapping of float to (n,) float
        By the ball's radius, mm: the excess of the external surface's corners, mm per mm at the
        deepest place. Empty where there is none.
    bur_outside, bur_inside : mapping of float to (n,) float
        By the bur's radius, mm: what it leaves, mm.
    """

    rigid: FloatArray
    strain: FloatArray
    outside: FloatArray
    inside: FloatArray
    rings: Mapping[float, FloatArray]
    fossae: Mapping[float, FloatArray]
    bur_outside: Mapping[float, FloatArray]
    bur_inside: Mapping[float, FloatArray]

    def mapped(self, change: Callable[[FloatArray], FloatArray]) -> Fields:
        """Return the fields, each column changed alike."""

        def each(columns: Mapping[float, FloatArray]) -> dict[float, FloatArray]:
            return {shape: change(column) for shape, column in columns.items()}

        return Fields(
            rigid=change(self.rigid),
            strain=change(self.strain),
            outside=change(self.outside),
            inside=change(self.inside),
            rings=each(self.rings),
            fossae=each(self.fossae),
            bur_outside=each(self.bur_outside),
            bur_inside=each(self.bur_inside),
        )

    def at(self, chosen: BoolArray) -> Fields:
        """Return the fields at some of their places."""
        return self.mapped(lambda column: column[chosen])


@dataclass(frozen=True, eq=False)
class CauseFields:
    """A design made ready for its crowns' causes; made once.

    Attributes
    ----------
    area_set : AreaSet
    settings : CausesSettings
    fields : Fields
    along_mm : (n,) float
        Distance to the margin line along the surface; infinite without one.
    centre : (3,) float
        Of the margin line, or of the surface.
    cell : (n,) int
        The cell of each evaluation point; −1 near the margin and in cells that are too small.
    cell_points : (c, 3) float
        The cells' mean places, mm.
    cell_inside : (c,) bool
        Whether a cell belongs to the intaglio.
    cell_mm : float
        Size of the cells: that of the settings, or larger where they would be too many.
    """

    area_set: AreaSet
    settings: CausesSettings
    fields: Fields
    along_mm: FloatArray
    centre: FloatArray
    cell: IntArray
    cell_points: FloatArray
    cell_inside: BoolArray
    cell_mm: float

    @cached_property
    def mark_ground(self) -> MarkGround:
        """What looking for support marks needs to know of the design."""
        return mark_ground(self.area_set)

    @cached_property
    def averaging(self) -> csr_matrix:
        """Takes values at the points (n, …) to sums over cells (c, …), weighted by area."""
        weights = self.area_set.evaluation.weights_mm2
        used = np.flatnonzero(self.cell >= 0)
        shape = (len(self.cell_points), len(self.cell))
        return csr_matrix((weights[used], (self.cell[used], used)), shape=shape)

    @cached_property
    def cell_mm2(self) -> FloatArray:
        """Area of each cell, (c,), mm²."""
        area: FloatArray = self.averaging @ np.ones(len(self.cell))
        return area

    @cached_property
    def sites(self) -> Sites:
        """The cells as the covariance takes them."""
        return Sites(
            distance_mm=cdist(self.cell_points, self.cell_points),
            across=self.cell_inside[:, None] != self.cell_inside[None, :],
            count=np.bincount(self.cell[self.cell >= 0], minlength=len(self.cell_points)).astype(
                np.float64
            ),
        )

    @cached_property
    def cell_columns(self) -> Fields:
        """The fields' means over the cells."""
        return self.fields.mapped(self.means)

    def means(self, columns: FloatArray) -> FloatArray:
        """Mean over each cell, (c, …), of values at the evaluation points (n, …)."""
        divisor = self.cell_mm2 if columns.ndim == 1 else self.cell_mm2[:, None]
        mean: FloatArray = (self.averaging @ columns) / divisor
        return mean

    def measured_means(self, deviation_mm: FloatArray) -> FloatArray:
        """Mean of each cell, (c,), over the points that count; NaN where too few do."""
        counts = np.isfinite(deviation_mm)
        area = self.averaging @ counts.astype(np.float64)
        total = self.averaging @ np.where(counts, deviation_mm, 0.0)
        enough = area >= _COUNTED_SHARE * self.cell_mm2
        means: FloatArray = np.where(enough, total / np.maximum(area, _TINY_MM2), np.nan)
        return means


def cause_fields_steps(
    area_set: AreaSet,
    index: SurfaceIndex,
    settings: CausesSettings | None = None,
    productions: Sequence[ProductionFacts] = (ProductionFacts(),),
) -> Steps[CauseFields]:
    """Make a design ready as :func:`cause_fields` does, step by step."""
    settings = settings or CausesSettings()
    mesh = area_set.evaluation.mesh
    points, normals = mesh.vertices, mesh.vertex_normals
    line = area_set.margin_line
    centre = points.mean(axis=0) if line is None else line.points_mm.mean(axis=0)
    along = np.full(len(points), np.inf) if line is None else distance_to_line(mesh, line)
    inside = _side(area_set, "intaglio")
    inner = along > settings.rim_mm
    rings: dict[float, FloatArray] = {}
    if line is not None and area_set.insertion is not None:
        for reach in _tried(settings.warp_reach_mm, REACHES_MM):
            rings[reach] = ring_columns(points, normals, centre, area_set.insertion, along, reach)
    rolling = corner_fields_steps(area_set.evaluation, index, inside, inner, settings, productions)
    corners = yield from rolling
    fields = Fields(
        rigid=np.hstack([normals, 0.1 * np.cross(points - centre, normals)]),
        strain=strain_columns(points, normals, centre),
        outside=np.where(inside, 0.0, PER_UM),
        inside=np.where(inside, PER_UM, 0.0),
        rings=rings,
        fossae=corners.fossae,
        bur_outside=corners.bur_outside,
        bur_inside=corners.bur_inside,
    )
    cell_mm = settings.cell_mm
    cell, places, cell_inside = _cells(area_set, inner, inside, cell_mm)
    while len(places) > MOST_CELLS:
        cell_mm *= 1.01 * (len(places) / MOST_CELLS) ** 0.5
        cell, places, cell_inside = _cells(area_set, inner, inside, cell_mm)
    return CauseFields(
        area_set=area_set,
        settings=settings,
        fields=fields,
        along_mm=along,
        centre=centre,
        cell=cell,
        cell_points=places,
        cell_inside=cell_inside,
        cell_mm=cell_mm,
    )


def cause_fields(
    area_set: AreaSet,
    index: SurfaceIndex,
    settings: CausesSettings | None = None,
    productions: Sequence[ProductionFacts] = (ProductionFacts(),),
) -> CauseFields:
    """Work out what every cause would do to a design.

    Parameters
    ----------
    area_set : AreaSet
        Areas, margin line and path of insertion; what is missing there is done without.
    index : SurfaceIndex
        Of its evaluation mesh.
    settings : CausesSettings, optional
    productions : sequence of ProductionFacts
        Of all ways of production whose crowns are to be explained: which corners are looked at.
    """
    return run(cause_fields_steps(area_set, index, settings, productions))


def _side(area_set: AreaSet, name: str) -> BoolArray:
    area = area_set.areas.get(name)
    none = np.zeros(len(area_set.evaluation.points), dtype=bool)
    return none if area is None else area.points.copy()


def _tried(given: float | None, tried: tuple[float, ...]) -> tuple[float, ...]:
    return tried if given is None else (given,)


def _cells(
    area_set: AreaSet, inner: BoolArray, inside: BoolArray, size_mm: float
) -> tuple[IntArray, FloatArray, BoolArray]:
    """Cut the surface into cells; outside and intaglio apart."""
    points = area_set.evaluation.points
    weights = area_set.evaluation.weights_mm2
    used = np.flatnonzero(inner)
    box = np.floor((points[used] - points.min(axis=0)) / size_mm).astype(np.int64)
    keys = np.column_stack([box, inside[used]])
    _, label = np.unique(keys, axis=0, return_inverse=True)
    label = label.ravel()
    area = np.bincount(label, weights[used])
    large = area >= _LEAST_SHARE * size_mm**2
    number = np.cumsum(large) - 1
    cell = np.full(len(points), -1, dtype=np.int64)
    cell[used] = np.where(large[label], number[label], -1)
    sums = [np.bincount(label, weights[used] * points[used, k]) for k in range(3)]
    places = (np.stack(sums, axis=1) / area[:, None])[large]
    side = (np.bincount(label, inside[used]) > 0)[large]
    return cell, places, side

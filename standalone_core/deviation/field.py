"""Signed deviation at points of one surface from another, and which of them count."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..errors import SettingError
from ..mesh.morton import curve_order
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps, run, scaled
from .direction import DIRECTIONS, Direction
from .settings import DeviationSettings

if TYPE_CHECKING:
    from ..areas.area_set import Area
    from ..arrays import BoolArray, FloatArray, IntArray
    from ..surface.closest import ClosestPoints, SurfaceIndex
    from ..surface.held import HeldPoints

COUNTED, TOO_FAR, ON_BORDER, NORMALS_DISAGREE, NOT_MUTUAL = range(5)
STATUS_WORDS = (
    "counted",
    "nothing within the search distance",
    "nearest to an open border",
    "facing another way",
    "without a mutual match: only through a wall, or past the end of the other surface",
)

_POINTS_PER_STEP = 50_000
"""About 100 ms of work."""


@dataclass(frozen=True, eq=False)
class DeviationField:
    """Deviations at the points of one surface.

    Attributes
    ----------
    direction : str
        ``design_to_scan``: points of the design's evaluation mesh, distance to the scan;
        ``scan_to_design``: points of the scan's own evaluation mesh, distance to the design.
    points_mm : (n, 3) float
        Where, in the design's frame.
    deviation_mm : (n,) float
        Positive where there is material outside the design (excess), negative where it is
        missing; NaN where a point does not count.
    status : (n,) uint8
        0 counted, 1 nothing within the search distance, 2 foot on the other surface's open
        border, 3 normals disagree, 4 no mutual match (see ``matching``). See
        :data:`STATUS_WORDS`.
    weights_mm2 : (n,) float
        Share of the surface's area that each point stands for, mm².
    area_point : (n,) int
        The evaluation point of the design that says which areas a point lies in; −1 where
        nothing was found within the search distance, so that no area but the whole holds it.
    settings : DeviationSettings
        What it was made with.
    foot_mm : (n, 3) float or None
        The other surface's nearest points, mm; NaN where a point does not count. None in a field
        that was not measured but computed from others.
    foot_face : (n,) int or None
        The other surface's faces that hold them; −1 where a point does not count.
    faces : (m, 3) int or None
        Triangles between the points, over which the measures are then integrated; None where
        they are taken at the points.
    unmatched_mm : (n,) float or None
        From scan to design, height above the design, mm, of scan surface that has no counterpart
        on it; NaN elsewhere. See :mod:`.unmatched`.
    """

    direction: Direction
    points_mm: FloatArray
    deviation_mm: FloatArray
    status: NDArray[np.uint8]
    weights_mm2: FloatArray
    area_point: IntArray
    settings: DeviationSettings = field(default_factory=DeviationSettings)
    foot_mm: FloatArray | None = field(default=None, repr=False)
    foot_face: IntArray | None = field(default=None, repr=False)
    faces: IntArray | None = field(default=None, repr=False)
    unmatched_mm: FloatArray | None = field(default=None, repr=False)

    def __len__(self) -> int:
        """Count of points, counted or not."""
        return len(self.deviation_mm)

    @property
    def counted(self) -> BoolArray:
        """Which points count, (n,)."""
        mask: BoolArray = self.status == COUNTED
        return mask

    @property
    def coverage(self) -> float:
        """Share of the surface's area that counts, 0 to 1; NaN for a surface without area."""
        total = float(self.weights_mm2.sum())
        return float(self.weights_mm2[self.counted].sum()) / total if total > 0 else np.nan

    @property
    def status_shares(self) -> dict[str, float]:
        """Share of the area per status, by the words of :data:`STATUS_WORDS`."""
        sums = np.bincount(self.status, weights=self.weights_mm2, minlength=len(STATUS_WORDS))
        total = float(sums.sum()) or np.nan
        return dict(zip(STATUS_WORDS, (sums / total).tolist(), strict=True))

    def inside(self, area: Area) -> BoolArray:
        """Which points lie in an area of the design, (n,)."""
        found = self.area_point >= 0
        if bool(area.points.all()):
            return np.ones(len(self), dtype=bool)
        mask: BoolArray = found & area.points[self.area_point]
        return mask


def measure_deviation_steps(
    mesh: TriangleMesh,
    index: SurfaceIndex,
    direction: Direction = "design_to_scan",
    settings: DeviationSettings | None = None,
    held: HeldPoints | None = None,
) -> Steps[DeviationField]:
    """Measure as :func:`measure_deviation` does, step by step.

    ``held`` finds the feet of the mesh's first vertices on the index, as many as it holds.
    """
    settings = settings or DeviationSettings()
    _refuse_unknown(direction)
    count = len(mesh.vertices)
    deviation, foot = np.full(count, np.nan), np.full((count, 3), np.nan)
    face = np.full(count, -1)
    status = np.full(count, TOO_FAR, dtype=np.uint8)
    area_point = np.arange(count) if direction == "design_to_scan" else np.full(count, -1)
    sign = -1.0 if direction == "design_to_scan" else 1.0

    def take(part: IntArray, feet: ClosestPoints) -> None:
        status[part] = counting_status(mesh.vertex_normals[part], feet, index.mesh, settings)
        assert feet.signed_mm is not None  # signed distances were asked for
        counted = status[part] == COUNTED
        deviation[part] = np.where(counted, sign * feet.signed_mm, np.nan)
        foot[part] = np.where(counted[:, None], feet.foot, np.nan)
        face[part] = np.where(counted, feet.face, -1)
        if direction == "scan_to_design":
            area_point[part] = _nearest_corner(feet, index.mesh)

    known = held.count if held is not None else 0
    if held is not None and known:
        feet = yield from scaled(
            held.closest_steps(mesh.vertices[:known], signed=True), 0.0, known / count
        )
        take(np.arange(known), feet.within(settings.search_mm))
    order = known + curve_order(mesh.vertices[known:])
    for start in range(0, len(order), _POINTS_PER_STEP):
        yield Progress("Measuring", (known + start) / count)
        part = order[start : start + _POINTS_PER_STEP]
        points, limit = mesh.vertices[part], settings.search_mm
        take(part, index.closest(points, max_distance_mm=limit, signed=True))
    return DeviationField(
        direction=direction,
        points_mm=mesh.vertices,
        deviation_mm=deviation,
        status=status,
        weights_mm2=mesh.vertex_areas,
        area_point=area_point,
        settings=settings,
        foot_mm=foot,
        foot_face=face,
        faces=mesh.faces if direction == "scan_to_design" else None,
    )


def _refuse_unknown(direction: str) -> None:
    if direction not in DIRECTIONS:
        raise SettingError(
            f"There is no direction {direction!r}.",
            subject="direction",
            remedy=f"Give one of {', '.join(DIRECTIONS)}.",
        )


def measure_deviation(
    mesh: TriangleMesh,
    surface: TriangleMesh | SurfaceIndex,
    direction: Direction = "design_to_scan",
    settings: DeviationSettings | None = None,
) -> DeviationField:
    """Measure the signed deviation at the vertices of a mesh from another surface.

    Both surfaces lie in the design's frame.

    Parameters
    ----------
    mesh : TriangleMesh
        Where to measure, n vertices: the design's evaluation mesh, or the scan's own.
    surface : TriangleMesh or SurfaceIndex
        Measure to what: the superimposed scan, or the design's *evaluation mesh*, whose faces
        then say which areas a scan point lies in (those of the corner nearest to its foot).
    direction : {"design_to_scan", "scan_to_design"}
        Which of the two it is. A design point inside the scan and a scan point outside the
        design both have positive deviations: material where the design has none.
    settings : DeviationSettings, optional
        Which points count.

    Returns
    -------
    DeviationField
        ``deviation_mm`` (n,) and which of it counts.

    Raises
    ------
    SettingError
        An unknown direction.
    MeshError
        The surface has no faces.

    Notes
    -----
    The deviation is the distance to the nearest point of the other surface, not along the
    normal; the two directions therefore differ wherever the surfaces are not parallel. Its sign
    is that of the angle-weighted pseudonormal at that point (Bærentzen & Aanæs, "Signed distance
    computation using the angle weighted pseudonormal", IEEE TVCG 2005).

    :func:`~cuspwise.check` also leaves out points whose match is not mutual, and finds scan
    surface that has no counterpart on the design; what is measured here alone knows neither.

    Examples
    --------
    A crown that is 100 µm too thick all around, scanned in the design's frame:

    >>> import cuspwise
    >>> import numpy as np
    >>> design = cuspwise.demo_crown(edge_mm=0.4)
    >>> errors = cuspwise.ProductionErrors(offset_um=100, any_pose=False)
    >>> scan = cuspwise.produce(design, errors, edge_mm=0.4)
    >>> found = cuspwise.measure_deviation(design.mesh, scan.mesh)
    >>> round(float(np.nanmedian(found.deviation_mm)), 2)
    0.1
    """
    from ..surface.closest import SurfaceIndex

    index = SurfaceIndex(surface) if isinstance(surface, TriangleMesh) else surface
    return run(measure_deviation_steps(mesh, index, direction, settings))


def counting_status(
    normals: FloatArray, feet: ClosestPoints, surface: TriangleMesh, settings: DeviationSettings
) -> NDArray[np.uint8]:
    """Return why each point counts or not, (n,); the first reason of the list wins."""
    status = np.zeros(len(normals), dtype=np.uint8)
    least_cosine = np.cos(np.radians(settings.max_normal_angle_deg))
    status[~normals_agree(normals, feet, surface, least_cosine)] = NORMALS_DISAGREE
    status[feet.on_border] = ON_BORDER
    status[feet.face < 0] = TOO_FAR
    return status


def normals_agree(
    normals: FloatArray, feet: ClosestPoints, surface: TriangleMesh, least_cosine: float
) -> BoolArray:
    """Return whether each point's normal agrees with the surface's at its foot, (n,).

    The surface's normal is the face's or, failing that, the one interpolated between the
    corners': at a sharp rim a point's normal lies between those of the two sides, which neither
    face alone comes near, while on long faces the interpolated one can be far off.
    """
    face = np.maximum(feet.face, 0)
    agree: BoolArray = np.einsum("ij,ij->i", normals, surface.face_normals[face]) >= least_cosine
    doubtful = np.flatnonzero(~agree & (feet.face >= 0))
    if not len(doubtful):
        return agree
    corners = surface.vertex_normals_of(surface.faces[face[doubtful]])
    smooth = np.einsum("nk,nkj->nj", feet.barycentric_of(doubtful), corners)
    along = np.einsum("ij,ij->i", normals[doubtful], smooth)
    length = np.linalg.norm(smooth, axis=1)
    agree[doubtful] = (length > 0) & (along >= least_cosine * length)
    return agree


def _nearest_corner(feet: ClosestPoints, surface: TriangleMesh) -> IntArray:
    """Return the vertex of the foot's face with the largest barycentric, (n,); −1 for none."""
    corner = np.argmax(np.nan_to_num(feet.barycentric), axis=1)
    vertex: IntArray = surface.faces[np.maximum(feet.face, 0), corner]
    vertex[feet.face < 0] = -1
    return vertex

"""Connected patches outside the tolerance, worst first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ..areas.area_set import AreaSet
from ..errors import SettingError
from ..mesh.triangle_mesh import BoolArray, FloatArray, IntArray
from .field import DeviationField


@dataclass(frozen=True)
class ExceedanceSettings:
    """What counts as a patch worth telling.

    Attributes
    ----------
    tolerance_um : float or None
        Deviations beyond ± this are outside, µm; None takes the whole crown's tolerance.
    min_patch_mm2 : float
        Smaller patches are left out (single noisy points), mm².
    min_area_share : float
        A patch is said to lie in an area that holds at least this share of it, 0 to 1.
    """

    tolerance_um: float | None = None
    min_patch_mm2: float = 0.02
    min_area_share: float = 0.1

    def __post_init__(self) -> None:
        """Refuse negative numbers."""
        for name in ("tolerance_um", "min_patch_mm2", "min_area_share"):
            value = getattr(self, name)
            if value is not None and not 0 <= value < np.inf:
                raise SettingError(
                    f"A value of {value:g} is not allowed.",
                    subject=name,
                    remedy="Give a number of 0 or more.",
                )


@dataclass(frozen=True)
class Exceedance:
    """One connected patch whose deviations all lie outside the tolerance on one side.

    Attributes
    ----------
    kind : str
        ``excess`` (material outside the design) or ``lack``.
    area_mm2 : float
        Surface of the design that it covers, mm².
    peak_um, mean_um : float
        Deviation farthest from zero, and area-weighted mean; signed, µm.
    volume_mm3 : float
        Material in excess (or lacking) under the patch, Σ w·|d| from the design's surface, mm³:
        first order in deviation over radius of curvature.
    centre_mm : (3,) tuple of float
        Area-weighted mean of its points, mm, in the design's frame.
    peak_mm : (3,) tuple of float
        Where the peak is, mm.
    areas : tuple of str
        The areas it lies in, the one with the largest share first; ``whole`` if none.
    n : int
        Evaluation points.
    """

    kind: str
    area_mm2: float
    peak_um: float
    mean_um: float
    volume_mm3: float
    centre_mm: tuple[float, float, float]
    peak_mm: tuple[float, float, float]
    areas: tuple[str, ...]
    n: int


def find_exceedances(
    field: DeviationField,
    area_set: AreaSet,
    tolerance_um: float,
    settings: ExceedanceSettings | None = None,
) -> tuple[Exceedance, ...]:
    """Find the patches outside ± tolerance.

    Parameters
    ----------
    field : DeviationField
        Measured at the points of the area set's evaluation mesh (``design_to_scan``).
    area_set : AreaSet
        The evaluation mesh, whose edges connect its points, and the areas.
    tolerance_um : float
        Used where the settings name none, µm.
    settings : ExceedanceSettings, optional

    Returns
    -------
    tuple of Exceedance
        The one with the largest peak first.

    Raises
    ------
    SettingError
        A field that was not measured at the evaluation points.
    """
    settings = settings or ExceedanceSettings()
    if field.direction != "design_to_scan":
        raise SettingError(
            "Patches are found on the design's evaluation mesh.",
            subject=field.direction,
            remedy="Give the design_to_scan deviations.",
        )
    limit = tolerance_um if settings.tolerance_um is None else settings.tolerance_um
    deviation_um = 1e3 * np.where(field.counted, field.deviation_mm, 0.0)
    patches = []
    for kind, outside in (("excess", deviation_um > limit), ("lack", deviation_um < -limit)):
        for points in _patches(area_set.evaluation.mesh.faces, outside):
            if field.weights_mm2[points].sum() >= settings.min_patch_mm2:
                patches.append(_describe(kind, points, field, area_set, settings))
    return tuple(sorted(patches, key=lambda patch: -abs(patch.peak_um)))


def _patches(faces: IntArray, outside: BoolArray) -> list[IntArray]:
    """Return the points of each connected patch of marked points (joined by marked edges)."""
    marked = np.flatnonzero(outside)
    if not len(marked):
        return []
    number = np.full(len(outside), -1)
    number[marked] = np.arange(len(marked))
    at_least_two = np.count_nonzero(outside[faces], axis=1) >= 2
    corners = number[faces[at_least_two]]
    edges = corners[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    edges = edges[(edges >= 0).all(axis=1)]
    graph = coo_matrix(
        (np.ones(len(edges), dtype=np.int8), (edges[:, 0], edges[:, 1])),
        shape=(len(marked), len(marked)),
    )
    count, patch = connected_components(graph, directed=False)
    order = np.argsort(patch, kind="stable")
    starts = np.searchsorted(patch[order], np.arange(1, count))
    return np.split(marked[order], starts)


def _describe(
    kind: str,
    points: IntArray,
    field: DeviationField,
    area_set: AreaSet,
    settings: ExceedanceSettings,
) -> Exceedance:
    """Return the numbers of one patch."""
    weights, d = field.weights_mm2[points], field.deviation_mm[points]
    places = field.points_mm[points]
    area = float(weights.sum())
    peak = int(np.argmax(np.abs(d)))
    return Exceedance(
        kind=kind,
        area_mm2=area,
        peak_um=1e3 * float(d[peak]),
        mean_um=1e3 * float(weights @ d) / area,
        volume_mm3=abs(float(weights @ d)),
        centre_mm=_place(weights @ places / area),
        peak_mm=_place(places[peak]),
        areas=_areas_of(points, weights, area_set, settings.min_area_share),
        n=len(points),
    )


def _place(point: FloatArray) -> tuple[float, float, float]:
    x, y, z = point.tolist()
    return x, y, z


def _areas_of(
    points: IntArray, weights: FloatArray, area_set: AreaSet, min_share: float
) -> tuple[str, ...]:
    """Return the areas that hold a share of the patch, largest first; ``whole`` if none does."""
    total = float(weights.sum())
    shares = {
        name: float(weights[area.points[points]].sum()) / total
        for name, area in area_set.areas.items()
        if name != "whole"
    }
    held = [name for name, share in shares.items() if share > 0 and share >= min_share]
    return tuple(sorted(held, key=lambda name: -shares[name])) or ("whole",)

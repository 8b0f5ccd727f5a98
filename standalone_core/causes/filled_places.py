"""The places where a fitted cause has filled the surface: where, how deep, how much."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import BoolArray, FloatArray, IntArray
from ..errors import SettingError
from ..mesh.patches import connected_patches
from ..mesh.refine import EvaluationMesh

LEAST_SHARE = 0.2
"""A place goes down to this share of the deepest filling of all."""
LEAST_UM = 5.0
"""Less than this is no place, µm."""
MOST = 10


@dataclass(frozen=True, eq=False)
class FilledPlace:
    """One connected place that was filled.

    Attributes
    ----------
    deepest_um : float
        Largest fitted filling, along the normal, µm.
    place_mm : (3,) tuple of float
        Where that is, on the design.
    area_mm2 : float
        Surface of the design that it covers.
    volume_mm3 : float
        Material in it, the fitted filling summed over its surface.
    left_um : float
        Area-weighted mean of what the fit leaves there: positive where the place is filled more
        than the fit says. NaN where that was not given or not measured.
    points : (k,) int
        Its evaluation points, ascending.
    """

    deepest_um: float
    place_mm: tuple[float, float, float]
    area_mm2: float
    volume_mm3: float
    left_um: float
    points: IntArray


def filled_places(
    evaluation: EvaluationMesh,
    fitted_mm: ArrayLike,
    *,
    residual_mm: ArrayLike | None = None,
    most: int = MOST,
) -> tuple[FilledPlace, ...]:
    """Find the places where a fitted filling is deep, the largest volume first.

    A place is a part of the surface, connected along edges, where the filling is at least a
    fifth of the deepest of all and 5 µm.

    Parameters
    ----------
    evaluation : EvaluationMesh
    fitted_mm : (n,) array_like
        Fitted filling along the normal, mm: the estimate times its column.
    residual_mm : (n,) array_like, optional
        Deviation less everything that was fitted, mm; NaN where it was not measured.
    most : int
        Only so many of them.

    Returns
    -------
    tuple of FilledPlace
        Empty where nothing is filled by 5 µm.

    Raises
    ------
    SettingError
        A value for each point is not what was given; a filling that is not a number.

    Examples
    --------
    >>> import numpy as np, cuspwise
    >>> from cuspwise.standalone_core.causes.filled_places import filled_places
    >>> design = cuspwise.TriangleMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    >>> evaluation = cuspwise.evaluation_mesh(design, 0.5)
    >>> (place,) = filled_places(evaluation, np.full(len(evaluation.points), 0.02))
    >>> round(place.deepest_um), round(place.area_mm2, 6), round(place.volume_mm3, 6)
    (20, 0.5, 0.01)
    """
    n = len(evaluation.points)
    fitted = _column(fitted_mm, n, "fitted_mm")
    residual = np.full(n, np.nan) if residual_mm is None else _column(residual_mm, n, "residual_mm")
    if not np.isfinite(fitted).all():
        raise SettingError(
            "Some of the fitted filling is not a number.",
            subject="fitted_mm",
            remedy="Give 0 where nothing was filled.",
        )
    least = max(LEAST_SHARE * float(np.max(fitted, initial=0.0)), 1e-3 * LEAST_UM)
    filled: BoolArray = fitted >= least
    patches = connected_patches(evaluation.mesh.faces, filled)
    return _largest((_describe(evaluation, fitted, residual, patch) for patch in patches), most)


def _describe(
    evaluation: EvaluationMesh, fitted: FloatArray, residual: FloatArray, points: IntArray
) -> FilledPlace:
    weights = evaluation.weights_mm2[points]
    deepest = points[np.argmax(fitted[points])]
    left, measured = residual[points], np.isfinite(residual[points])
    x, y, z = evaluation.points[deepest].tolist()
    area = float(weights[measured].sum())
    return FilledPlace(
        deepest_um=1e3 * float(fitted[deepest]),
        place_mm=(x, y, z),
        area_mm2=float(weights.sum()),
        volume_mm3=float(weights @ fitted[points]),
        left_um=1e3 * float(weights[measured] @ left[measured]) / area if area > 0.0 else np.nan,
        points=points,
    )


def _largest(places: Iterable[FilledPlace], most: int) -> tuple[FilledPlace, ...]:
    return tuple(sorted(places, key=lambda place: -place.volume_mm3)[:most])


def _column(values: ArrayLike, n: int, name: str) -> FloatArray:
    column = np.asarray(values, dtype=np.float64)
    if column.shape != (n,):
        raise SettingError(
            f"Shape {column.shape} is not one value for each of {n} points.",
            subject=name,
            remedy="Give one value for each measuring point of the design.",
        )
    return column

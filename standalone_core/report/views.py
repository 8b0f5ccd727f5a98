"""The six standard views of a crown: names and directions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
Vector = tuple[float, float, float]

VIEW_NAMES = ("occlusal", "cervical", "mesial", "distal", "side_1", "side_2", "side_3", "side_4")


@dataclass(frozen=True)
class View:
    """One look at the crown.

    Attributes
    ----------
    name : str
        File name of the picture without its ending.
    title : str
        What people call it.
    towards_viewer, up : (3,) tuple of float
        Unit vectors in the design's frame.
    """

    name: str
    title: str
    towards_viewer: Vector
    up: Vector


def standard_views(
    insertion: ArrayLike | None = None,
    mesial: ArrayLike | None = None,
    *,
    has_intaglio: bool = False,
) -> tuple[View, ...]:
    """Return six views along the path of insertion and around it.

    Parameters
    ----------
    insertion : (3,) array_like of float, optional
        To occlusal. Without it the views follow the file's axes and say so.
    mesial : (3,) array_like of float, optional
        Names the sides. Which of the other two is buccal it cannot tell.
    has_intaglio : bool
        Name the view from below after the intaglio.
    """
    top = _unit(insertion) if insertion is not None else np.array([0.0, 0.0, 1.0])
    first = _across(top, mesial)
    second = np.cross(top, first)
    below = "Intaglio side" if has_intaglio else "Cervical"
    if insertion is None:
        heads = [("occlusal", "Towards +z", top), ("cervical", "Towards −z", -top)]
    else:
        heads = [("occlusal", "Occlusal", top), ("cervical", below, -top)]
    if mesial is not None:
        sides = [
            ("mesial", "Mesial", first),
            ("distal", "Distal", -first),
            ("side_1", "Side, mesial to the right", -second),
            ("side_2", "Side, mesial to the left", second),
        ]
    else:
        sides = [
            (f"side_{k}", f"Side towards {_axis_words(way)}", way)
            for k, way in enumerate((first, second, -first, -second), start=1)
        ]
    return tuple(
        [View(name, title, _vector(way), _vector(second)) for name, title, way in heads]
        + [View(name, title, _vector(way), _vector(top)) for name, title, way in sides]
    )


def _across(top: FloatArray, wanted: ArrayLike | None) -> FloatArray:
    """Return the unit vector across ``top`` nearest to the one wanted, or to a file axis."""
    ways = [np.asarray(wanted, dtype=np.float64)] if wanted is not None else []
    ways += [np.eye(3)[k] for k in np.argsort(np.abs(top), kind="stable")]
    for way in ways:
        across = way - (way @ top) * top
        if np.linalg.norm(across) > 1e-3 * max(float(np.linalg.norm(way)), 1e-300):
            return _unit(across)
    raise AssertionError("one of three axes always lies across")


def _axis_words(way: FloatArray) -> str:
    """Name the file axis nearest to a direction."""
    k = int(np.argmax(np.abs(way)))
    return f"{'+' if way[k] > 0 else '−'}{'xyz'[k]}"


def _unit(vector: ArrayLike) -> FloatArray:
    array = np.asarray(vector, dtype=np.float64)
    unit: FloatArray = array / np.linalg.norm(array)
    return unit


def _vector(array: FloatArray) -> Vector:
    x, y, z = array.tolist()
    return x, y, z

"""The six standard views of a crown: names and directions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ...arrays import FloatArray

Vector = tuple[float, float, float]

# Below this, the part of a unit vector across the path of insertion gives no direction.
LEAST_ACROSS = 0.5

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
        Names the sides, unless it lies along the path of insertion. Which of the other two is
        buccal it does not know.
    has_intaglio : bool
        Name the view from below after the intaglio.
    """
    top = _unit(insertion) if insertion is not None else np.array([0.0, 0.0, 1.0])
    to_mesial = None if mesial is None else _across(top, _unit(mesial))
    first = to_mesial if to_mesial is not None else _first_across(top)
    second = np.cross(top, first)
    below = "Intaglio side" if has_intaglio else "Cervical"
    if insertion is None:
        heads = [("occlusal", "Towards +z", top), ("cervical", "Towards −z", -top)]
    else:
        heads = [("occlusal", "Occlusal", top), ("cervical", below, -top)]
    if to_mesial is not None:
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


def _across(top: FloatArray, way: FloatArray) -> FloatArray | None:
    """Return the unit vector across ``top`` nearest to another; None if that lies along it."""
    across = way - (way @ top) * top
    return _unit(across) if np.linalg.norm(across) > LEAST_ACROSS else None


def _first_across(top: FloatArray) -> FloatArray:
    """Return the unit vector across ``top`` nearest to the x axis, or else to the y axis."""
    x, y, _ = np.eye(3)
    found = _across(top, x)
    return found if found is not None else _unit(y - (y @ top) * top)


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

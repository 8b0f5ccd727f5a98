"""Names beside points: each where it covers neither a point, nor a line, nor other words."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from ...arrays import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing
    from matplotlib.text import Annotation, Text

NAME = "name-of-a-point"
_AWAY_PT = (5.0, 9.0, 14.0, 20.0, 28.0, 38.0, 50.0)
_WAYS = ((-1, 1), (1, 1), (-1, -1), (1, -1), (-1, 0), (1, 0), (0, 1), (0, -1))
_POINTS_PER_IN = 72.0
_PIECES = 16  # of a line, whose own box would hold all that is beside a sloping one


def name_point(
    axes: Axes, words: str, place: tuple[float, float], colour: str, *, size: float = 7.0
) -> None:
    """Write a name beside a point, with a thin line to it; :func:`settle_labels` finds its place.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
    words : str
    place : (float, float)
        Of the point, in the units of the axes.
    colour : str
    size : float
        Of the letters, pt.
    """
    label = axes.annotate(
        words,
        place,
        (-5, 5),
        textcoords="offset points",
        ha="right",
        va="bottom",
        fontsize=size,
        color=colour,
        arrowprops={"arrowstyle": "-", "lw": 0.5, "color": colour, "shrinkA": 0, "shrinkB": 2},
        annotation_clip=False,
        label=NAME,
        zorder=6,
    )
    label.set_in_layout(False)  # it finds a place within the axes and asks for no room beside them


def settle_labels(drawing: Drawing) -> None:
    """Move every name of a laid-out figure to where it covers nothing, or least.

    Tried are eight ways about the point at growing distances; the names of a figure are placed
    one after the other. O(names × tries × marks).
    """
    taken = [box for axes in drawing.axes for box in covered_boxes(axes)]
    for axes in drawing.axes:
        for label in names_in(axes):
            _settle(label, axes, np.array(taken).reshape(-1, 4))
            taken.append(text_box(label))


def names_in(axes: Axes) -> list[Annotation]:
    """Return the names beside points of some axes."""
    from matplotlib.text import Annotation

    return [one for one in axes.texts if isinstance(one, Annotation) and one.get_label() == NAME]


def _settle(label: Annotation, axes: Axes, taken: FloatArray) -> None:
    """Put one name where it shares the least area; the nearest such place, the first way."""
    pixels = axes.figure.dpi / _POINTS_PER_IN
    point = axes.transData.transform(label.xy)
    size = np.diff(text_box(label).reshape(2, 2), axis=0)[0]
    offsets = [(away * x, away * y) for away in _AWAY_PT for x, y in _WAYS]
    ways = np.array(_WAYS * len(_AWAY_PT), dtype=np.float64)
    low = point + pixels * np.array(offsets) - 0.5 * (1.0 - ways) * size
    boxes = np.hstack([low, low + size])
    around = np.asarray(axes.bbox.extents, dtype=np.float64)
    costs = [_cost(box, around, taken) for box in boxes]
    best = int(np.argmin(np.round(costs, 3)))
    across, up = _WAYS[best % len(_WAYS)]
    label.xyann = offsets[best]
    label.set(ha="left" if across > 0 else "right", va="bottom" if up > 0 else "top")
    if not across:
        label.set(ha="center")
    if not up:
        label.set(va="center")


def _cost(box: FloatArray, around: FloatArray, taken: FloatArray) -> float:
    """Area in pixels² that words share with what is drawn already or have outside their axes."""
    inside = overlap_area(box, around[None])[0]
    outside = float(np.prod(box[2:] - box[:2])) - inside
    return float(overlap_area(box, taken).sum() + outside)


def overlap_area(box: FloatArray, others: FloatArray) -> FloatArray:
    """Return the area that a box shares with each of some others, (n,).

    Parameters
    ----------
    box : (4,) float
        Left, lower, right and upper end.
    others : (n, 4) float
    """
    low = np.maximum(box[:2], others[:, :2])
    high = np.minimum(box[2:], others[:, 2:])
    shared: FloatArray = np.prod(np.maximum(high - low, 0.0), axis=1)
    return shared


def text_box(text: Text) -> FloatArray:
    """Return the box of some words alone, without the line to their point, in pixels, (4,)."""
    from matplotlib.text import Text

    return np.asarray(Text.get_window_extent(text).extents, dtype=np.float64)


def covered_boxes(axes: Axes) -> Iterator[FloatArray]:
    """Yield a box, in pixels, about every point, bar, straight line and title of some axes."""
    from matplotlib.text import Text

    yield from point_boxes(axes)
    names = names_in(axes)
    for words in axes.get_children():
        if isinstance(words, Text) and words.get_text() and words not in names:
            yield text_box(words)
    for patch in axes.patches:
        yield np.asarray(patch.get_window_extent().extents, dtype=np.float64)
    for line in axes.lines:
        ends = line.get_transform().transform(np.asarray(line.get_xydata()))
        if line.get_marker() in ("None", None, "") and len(ends) == 2:
            for piece in itertools.pairwise(np.linspace(ends[0], ends[1], _PIECES)):
                yield np.concatenate([np.min(piece, axis=0) - 2.0, np.max(piece, axis=0) + 2.0])


def point_boxes(axes: Axes) -> Iterator[FloatArray]:
    """Yield a box, in pixels, about every point that is scattered or marked in some axes."""
    from matplotlib.collections import PathCollection

    pixels = axes.figure.dpi / _POINTS_PER_IN
    for found in axes.collections:
        if isinstance(found, PathCollection):
            places = found.get_offset_transform().transform(found.get_offsets())
            sizes = np.resize(np.sqrt(found.get_sizes()), len(places))
            for place, size in zip(places, sizes, strict=True):
                yield _about(place, 0.5 * size * pixels)
    for line in axes.lines:
        if line.get_marker() not in ("None", None, ""):
            for place in line.get_transform().transform(np.asarray(line.get_xydata())):
                yield _about(place, 0.5 * line.get_markersize() * pixels)


def _about(place: FloatArray, half: float) -> FloatArray:
    return np.concatenate([place - half, place + half])

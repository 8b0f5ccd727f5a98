"""Which piece of the design's surface shows which area in which colour. Needs no Blender.

Areas overlap: the margin band lies on both sides, fossae and marks lie on larger areas. Each
place shows the uppermost of them that is wanted, so that every colour seen is one of the key.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...standalone_core.areas.area_set import AREA_NAMES
from ...standalone_core.areas.support_marks import SUPPORTS, is_support

# Colours that people with any colour vision tell apart. Source: M. Okabe and
# K. Ito, Color Universal Design, 2008 (jfly.uni-koeln.de/color); brown and white are our own: a
# grey would look as if the area had no colour.
ORANGE, SKY_BLUE, BLUISH_GREEN, YELLOW = "#e69f00", "#56b4e9", "#009e73", "#f0e442"
BLUE, VERMILLION, REDDISH_PURPLE = "#0072b2", "#d55e00", "#cc79a7"
BLACK, BROWN, WHITE = "#000000", "#7a4a1e", "#ffffff"
# Given to the user's own areas in this order; those that nothing else on the crown has come first.
COLOURS = (REDDISH_PURPLE, ORANGE, BLUE, BLUISH_GREEN, VERMILLION, YELLOW, SKY_BLUE, WHITE)

AREA_COLOURS = {
    "intaglio": BLUE,
    "external": BROWN,
    "axial": SKY_BLUE,
    "occlusal": YELLOW,
    "contact_mesial": REDDISH_PURPLE,
    "contact_distal": ORANGE,
    "fossae": BLUISH_GREEN,
    "margin": VERMILLION,
}
"""The areas found automatically, from the lowest to the uppermost; own areas lie on them all."""

SUPPORT_COLOUR = BLACK
MARGIN_LINE_COLOUR = BLACK


@dataclass(frozen=True, eq=False)
class AreaPatch:
    """What is seen of one area.

    Attributes
    ----------
    area : str
    colour : str
        ``#rrggbb``.
    triangles : (k, 3) int32
        Corners as places of the points they belong to.
    """

    area: str
    colour: str
    triangles: NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Patches:
    """The design's surface cut into pieces of one area each.

    Attributes
    ----------
    points : (p, 3) float32
        The mesh's own vertices, then the points where triangles were cut.
    patches : tuple of AreaPatch
        From the lowest area to the uppermost, without those of which nothing is seen.
    outward : bool
        Whether the triangles' front sides look out of the body that they enclose.
    """

    points: NDArray[np.float32]
    patches: tuple[AreaPatch, ...]
    outward: bool = True


def draw_order(names: Collection[str]) -> list[str]:
    """Return areas from the lowest to the uppermost."""
    fixed = [name for name in AREA_COLOURS if name in names]
    own = [n for n in names if n not in (*AREA_NAMES, SUPPORTS) and not is_support(n)]
    return [*fixed, *own, *(name for name in names if is_support(name))]


def colours_of(order: Sequence[str]) -> dict[str, str]:
    """Return the colour of every area; own areas take the colours that are free, then any."""
    found = {name: AREA_COLOURS[name] for name in order if name in AREA_COLOURS}
    found |= {name: SUPPORT_COLOUR for name in order if is_support(name)}
    free = [colour for colour in COLOURS if colour not in found.values()]
    free += [colour for colour in COLOURS if colour not in free]
    own = [name for name in order if name not in found]
    return found | {name: free[k % len(free)] for k, name in enumerate(own)}


def area_patches(
    points: NDArray[np.float32],
    faces: NDArray[np.int32],
    groups: Mapping[str, NDArray[np.int64]],
    hidden: Collection[str] = (),
) -> Patches:
    """Cut a surface into the pieces of its areas.

    A triangle whose corners show different areas is cut half-way along its edges, which is where
    the areas end when they are measured.

    Parameters
    ----------
    points : (n, 3) float
    faces : (m, 3) int
    groups : mapping of area name to (k,) int
        The vertices of each area.
    hidden : collection of str
        Areas that are not wanted; what lies below them is seen there.
    """
    order = [name for name in draw_order(groups.keys()) if name not in hidden]
    colours = colours_of(draw_order(groups.keys()))
    label = np.full(len(points), -1, dtype=np.int32)
    for number, name in enumerate(order):
        label[groups[name]] = number
    corner = label[faces]
    even = (corner == corner[:, :1]).all(axis=1)
    cut_points, cut_faces, cut_labels = _cut(points, faces[~even], corner[~even])
    all_faces = np.concatenate([faces[even], cut_faces]).astype(np.int32)
    labels = np.concatenate([corner[even, 0], cut_labels])
    found = tuple(
        AreaPatch(name, colours[name], all_faces[labels == number])
        for number, name in enumerate(order)
        if (labels == number).any()
    )
    whole = np.concatenate([points, cut_points]).astype(np.float32)
    return Patches(whole, found, _looks_outward(points, faces))


def _cut(
    points: NDArray[np.float32], faces: NDArray[np.int32], corner: NDArray[np.int32]
) -> tuple[NDArray[np.float32], NDArray[np.int32], NDArray[np.int32]]:
    """Cut triangles at the middles of their edges; return new points, triangles, their labels."""
    a, b, c = faces.T
    middles = 0.5 * (points[[a, b, c]] + points[[b, c, a]])  # (3, k, 3): of ab, bc, ca
    count = len(faces)
    ab, bc, ca = (len(points) + k * count + np.arange(count) for k in range(3))
    pieces = np.concatenate(
        [
            np.column_stack([a, ab, ca]),
            np.column_stack([b, bc, ab]),
            np.column_stack([c, ca, bc]),
            np.column_stack([ab, bc, ca]),
        ]
    )
    # Two equal corners of three decide the middle piece; of three different ones the uppermost.
    first, second, third = corner.T
    two = np.where(
        second == third, second, np.where((first == second) | (first == third), first, -2)
    )
    middle = np.where(two == -2, corner.max(axis=1, initial=-1), two)
    return middles.reshape(-1, 3), pieces, np.concatenate([first, second, third, middle])


def _looks_outward(points: NDArray[np.float32], faces: NDArray[np.int32]) -> bool:
    """Tell by the sign of the enclosed volume, (1/6) Σ a·(b×c) about the middle of the points."""
    if not len(faces):
        return True
    own = points.astype(np.float64) - points.mean(axis=0)
    a, b, c = (own[faces[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c))) >= 0.0

"""The intaglio laid flat: the margin line is the rim of a disc, the roof its middle."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...arrays import FloatArray, IntArray
from ..drawing.deviation_colours import ColourArray
from ..drawing.flat_triangles import flat_triangles_png
from .colours import Coloured, Scale
from .frame import SeatedFrame, direction_words

if TYPE_CHECKING:
    from ...fit.crown import FitCrown

SIZE, RADIUS = 480.0, 172.0
MIDDLE = 0.5 * SIZE
_FARTHEST = 0.02  # share of the intaglio, farthest from the margin, whose middle is the disc's
_WORDS_BESIDE, _WORDS_ABOVE, _WORDS_DOWN = 14.0, 20.0, 4.5
_NUMBER_OFF, _NUMBER_AT_DEG, _NEXT_NUMBER_DEG = 11.0, 45.0, 72.0  # so that near ones stay apart
HOW_FLAT = (
    "The intaglio laid flat, seen from occlusal: the margin line is the rim, the roof the middle; "
    "distances from the margin along the surface are kept, those around it are not."
)


@dataclass(frozen=True, eq=False)
class FlatIntaglio:
    """Where the intaglio's points lie in the disc.

    Attributes
    ----------
    points : (n', 2) float
        In the unit disc, y upwards; NaN off the intaglio.
    faces : (m, 3) int
        Of the intaglio.
    """

    points: FloatArray
    faces: IntArray

    def png(self, colours: ColourArray) -> str:
        """Draw it in these colours, (n', 3); PNG in base 64."""
        used, flat = np.unique(self.faces, return_inverse=True)
        data = flat_triangles_png(self.points[used], flat.reshape(self.faces.shape), colours[used])
        return base64.b64encode(data).decode("ascii")


@dataclass(frozen=True)
class MapMark:
    """A numbered place on a map.

    Attributes
    ----------
    x, y, radius : float
        Its circle in the view box.
    text : str
        Its number.
    text_x, text_y : float
        The middle of that, beside the circle so that the place itself is seen.
    title : str
        What it is.
    """

    x: float
    y: float
    radius: float
    text: str
    text_x: float
    text_y: float
    title: str


@dataclass(frozen=True)
class IntaglioMap:
    """A map to be drawn.

    Attributes
    ----------
    title : str
    png : str
        The coloured disc, base 64, of :data:`RADIUS` about :data:`MIDDLE`.
    scale : Scale
    marks : tuple of MapMark
    words : tuple of (float, float, str, str)
        Directions around it: x, y, SVG's text-anchor, words.
    """

    title: str
    png: str
    scale: Scale
    marks: tuple[MapMark, ...]
    words: tuple[tuple[float, float, str, str], ...]
    size: float = SIZE
    middle: float = MIDDLE
    radius: float = RADIUS


def flat_intaglio(crown: FitCrown, frame: SeatedFrame) -> FlatIntaglio:
    """Lay the intaglio of a crown flat.

    Each point keeps its angle about the path of insertion through the roof's middle, and its
    distance from the margin along the surface, as a share of the largest.
    """
    inside = crown.intaglio
    distance = np.where(inside, crown.margin_distance_mm, np.nan)
    farthest = np.flatnonzero(inside)[
        np.argsort(-distance[inside])[: max(1, int(_FARTHEST * inside.sum()))]
    ]
    across = frame.across(frame.crown.vertices)
    across = across - across[farthest].mean(axis=0)
    angle = np.arctan2(across[:, 1], across[:, 0])
    radius = 1.0 - distance / np.nanmax(distance)
    points = radius[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    faces = frame.crown.faces
    return FlatIntaglio(points, faces[inside[faces].all(axis=1)])


def intaglio_map(
    title: str,
    flat: FlatIntaglio,
    coloured: Coloured,
    frame: SeatedFrame,
    marks: Sequence[tuple[FloatArray, float, str]] = (),
) -> IntaglioMap:
    """Lay out a map of the intaglio.

    Parameters
    ----------
    title : str
    flat : FlatIntaglio
    coloured : Coloured
    frame : SeatedFrame
    marks : sequence of (place, radius, title)
        Places on the crown in the frame's coordinates, (3,), with the radius of their circles
        and what they are; numbered in their order.
    """
    return IntaglioMap(
        title=title,
        png=flat.png(coloured.colours),
        scale=coloured.scale,
        marks=tuple(
            _mark(flat, frame, place, radius, number, words)
            for number, (place, radius, words) in enumerate(marks, start=1)
        ),
        words=_words(frame),
    )


def _mark(
    flat: FlatIntaglio,
    frame: SeatedFrame,
    place: FloatArray,
    radius: float,
    number: int,
    title: str,
) -> MapMark:
    inside = np.flatnonzero(np.isfinite(flat.points[:, 0]))
    away = np.linalg.norm(frame.crown.vertices[inside] - place, axis=1)
    x, y = flat.points[inside[int(np.argmin(away))]].tolist()
    at_x, at_y = MIDDLE + RADIUS * x, MIDDLE - RADIUS * y
    turn = math.radians(_NUMBER_AT_DEG - _NEXT_NUMBER_DEG * (number - 1))
    away_px = radius + _NUMBER_OFF
    return MapMark(
        x=round(at_x, 1),
        y=round(at_y, 1),
        radius=radius,
        text=str(number),
        text_x=round(at_x + away_px * math.cos(turn), 1),
        text_y=round(at_y - away_px * math.sin(turn), 1),
        title=title,
    )


def _words(frame: SeatedFrame) -> tuple[tuple[float, float, str, str], ...]:
    words = []
    for angle, anchor in ((0.0, "start"), (90.0, "middle"), (180.0, "end"), (270.0, "middle")):
        turn = math.radians(angle)
        x = MIDDLE + (RADIUS + _WORDS_BESIDE) * round(math.cos(turn))
        y = MIDDLE - (RADIUS + _WORDS_ABOVE) * round(math.sin(turn)) + _WORDS_DOWN
        words.append((x, y, anchor, direction_words(frame.directions, angle)))
    return tuple(words)

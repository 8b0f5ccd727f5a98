"""A crown and a die, and the exact signed gaps between them at a pose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix

from ...arrays import BoolArray, FloatArray, IntArray
from ..crown import FitCrown
from ..die import FitDie
from ..settings import SeatSettings
from .facets import Facets
from .motion import placed, undone
from .near_points import WINDOW_MM, NearPoints
from .patches import patch_middles, patch_weights
from .result import Contact

RIM_MM = 0.2
"""The crown's edge rests too: so far beyond the margin line its outside is held against the die."""

_ROOM_MM = 1.5
"""The die's points this far out of the intaglio's box at the start cannot matter."""


@dataclass(frozen=True, eq=False)
class Gaps:
    """Gaps between crown and die at one pose, and how a motion of the crown changes them.

    A small motion of the crown, shift t and turn ω about c, changes a gap by
    u·t + ω·(m − c × u).

    Attributes
    ----------
    row : (k,) int
        Of the pair's rows, ascending.
    gap_mm : (k,) float
        Signed: negative where they overlap.
    direction : (k, 3) float
        u, in which the die pushes the crown there, in the die's frame; unit, or the mean of
        units over a patch.
    moment : (k, 3) float
        m, of u about the origin of the die's frame.
    place_mm : (k, 3) float
        Where, in the die's frame; of a patch its middle.
    """

    row: IntArray
    gap_mm: FloatArray
    direction: FloatArray
    moment: FloatArray
    place_mm: FloatArray

    @property
    def deepest_mm(self) -> float:
        """Deepest overlap, mm; 0 without any."""
        return max(0.0, -float(self.gap_mm.min())) if len(self.gap_mm) else 0.0

    def taken(self, chosen: IntArray | BoolArray) -> Gaps:
        """Some of them."""
        return Gaps(
            self.row[chosen],
            self.gap_mm[chosen],
            self.direction[chosen],
            self.moment[chosen],
            self.place_mm[chosen],
        )


class Pair:
    """What holds a crown and a die apart: rows, each of them a gap that may not become negative.

    With hard contacts a row is a point: first those of the crown (intaglio and rim) against the
    die, then those of the die against the crown's intaglio and rim. With patches a row is the
    mean gap of the intaglio's points over one patch, and the die's points do not count.

    Parameters
    ----------
    crown : FitCrown
    die : FitDie
    contact : "hard" or "patches"
    start : (4, 4) float
        A pose about which the crown is seated; the die's points far from it are left out.
    settings : SeatSettings
    relief_mm : (n',) float, optional
        Taken off the crown at each of its evaluation points along the normal, ≥ 0.

    Attributes
    ----------
    rests : (n',) bool
        The crown's evaluation points that can rest on the die.
    crown_vertices : (k,) int
        The same as indices.
    die_vertices : (d,) int
        The die's vertices near enough to matter.
    centre_mm : (3,) float
        Centroid of the intaglio's area, in the crown's frame.
    arm_mm : float
        From there to the farthest point that can rest.
    """

    def __init__(
        self,
        crown: FitCrown,
        die: FitDie,
        contact: Contact,
        start: FloatArray,
        settings: SeatSettings,
        relief_mm: FloatArray | None = None,
    ) -> None:
        self.crown, self.die, self.contact = crown, die, contact
        self.relief_mm = relief_mm
        self.rests = crown.intaglio | (crown.margin_distance_mm <= RIM_MM)
        points, share = crown.evaluation.points, crown.evaluation.weights_mm2 * crown.intaglio
        self.centre_mm: FloatArray = share @ points / share.sum()
        self.arm_mm = float(np.linalg.norm(points[self.rests] - self.centre_mm, axis=1).max())
        # Of the crown and of the die.
        self.facets = {True: Facets(crown.evaluation.mesh), False: Facets(die.mesh)}
        self._groups: list[RowGroup] = []
        self._starts = [0]
        self.die_vertices = self._die_vertices(start)
        self.crown_vertices = np.flatnonzero(self.rests)
        off = None if relief_mm is None else relief_mm[self.crown_vertices]
        on_crown = self.probe(points[self.crown_vertices], of_crown=True, relief_mm=off)
        self._of_crown = RowGroup(on_crown, True)
        self._of_die = RowGroup(
            self.probe(die.mesh.vertices[self.die_vertices], of_crown=False), False
        )
        if contact == "patches":
            weights, middle = patch_weights(
                crown, self.crown_vertices, settings.patch_mm, settings.margin_left_out_mm
            )
            self._append(RowGroup(on_crown, True, middle, weights))
        else:
            self._append(self._of_crown)
            self._append(self._of_die)

    def __len__(self) -> int:
        """Count of rows."""
        return self._starts[-1]

    def add(
        self, points: FloatArray, *, of_crown: bool, relief_mm: FloatArray | None = None
    ) -> IntArray:
        """Hold more points off; return their rows, (k,). Parameters as for :meth:`probe`."""
        return self._append(
            RowGroup(self.probe(points, of_crown=of_crown, relief_mm=relief_mm), of_crown)
        )

    def probe(
        self, points: FloatArray, *, of_crown: bool, relief_mm: FloatArray | None = None
    ) -> NearPoints:
        """Points (k, 3) of one body, in its own frame, made ready to be held against the other.

        ``relief_mm`` is what is taken off at the points, (k,).
        """
        if of_crown:
            return NearPoints(
                points, self.die.index, self.facets[False], self.die.axis, point_relief_mm=relief_mm
            )
        counted: BoolArray = np.logical_or.reduce(
            self.rests[self.crown.evaluation.mesh.faces], axis=1
        )
        return NearPoints(
            points,
            self.crown.index,
            self.facets[True],
            -self.crown.axis,
            counted,
            point_relief_mm=relief_mm,
            surface_relief_mm=self.relief_mm,
        )

    def _append(self, group: RowGroup) -> IntArray:
        self._groups.append(group)
        self._starts.append(len(self) + len(group))
        return np.arange(self._starts[-2], self._starts[-1])

    def _die_vertices(self, start: FloatArray) -> IntArray:
        """The die's vertices that could come near to the crown's inside, (k,)."""
        mesh = self.die.mesh
        box = self.crown.evaluation.points[self.rests]
        there = placed(undone(start), mesh.vertices)
        inside = (there > box.min(axis=0) - _ROOM_MM) & (there < box.max(axis=0) + _ROOM_MM)
        return np.flatnonzero(inside.all(axis=1) & mesh.used_vertices)

    @property
    def coarse_mm(self) -> float:
        """Spacing of rows that are enough to come near to the seat: patches have many points."""
        return 0.7 if self.contact == "hard" else 1.5

    def thinned(self, spacing_mm: float) -> IntArray:
        """Rows about a spacing apart: enough to come near to the seat."""
        rows = [
            start + patch_middles(group.places, spacing_mm)
            for group, start in zip(self._groups, self._starts[:-1], strict=True)
            if len(group)
        ]
        return np.concatenate(rows)

    def vertex_gaps(self, pose: FloatArray, below_mm: float, *, of_crown: bool) -> FloatArray:
        """Exact gaps at the vertices of one body that matter, whatever holds the two apart.

        Returns
        -------
        (k,) float
            At ``crown_vertices`` or ``die_vertices``, mm; infinite where not below a length.
        """
        near = (self._of_crown if of_crown else self._of_die).near
        rows = np.arange(len(near.points))
        due = near.refresh(pose if of_crown else undone(pose), below_mm, rows)
        return np.where(due, near.gap_mm, np.inf)

    def gaps(
        self,
        pose: FloatArray,
        below_mm: float,
        rows: IntArray | None = None,
        *,
        likely: bool = False,
    ) -> Gaps:
        """Return the gaps that are smaller than a length.

        Parameters
        ----------
        pose : (4, 4) float
            Of the crown, in the die's frame.
        below_mm : float
            No gap below it is missed; at most ``WINDOW_MM``.
        rows : (k,) int, optional
            Ascending; only among these.
        likely : bool
            One may be missed where a smooth surface turns unusually fast.
        """
        rows = np.arange(len(self)) if rows is None else rows
        cuts = np.searchsorted(rows, self._starts)
        below = min(below_mm, WINDOW_MM)
        found = [
            group.gaps(pose, below, rows[low:high] - start, start, likely=likely)
            for group, start, low, high in zip(
                self._groups, self._starts[:-1], cuts[:-1], cuts[1:], strict=True
            )
        ]
        return joined(found)


def joined(parts: list[Gaps]) -> Gaps:
    """Gaps one after the other."""
    return Gaps(
        np.concatenate([each.row for each in parts]),
        np.concatenate([each.gap_mm for each in parts]),
        np.concatenate([each.direction for each in parts]),
        np.concatenate([each.moment for each in parts]),
        np.concatenate([each.place_mm for each in parts]),
    )


class RowGroup:
    """Rows of one body's points against the other: each a point, or the mean over a patch.

    Parameters
    ----------
    near : NearPoints
    of_crown : bool
        Whether the points are the crown's, held against the die, or the other way round.
    middle : (r,) int, optional
        With patches, the point in the middle of each.
    weights : (r, n) sparse, optional
        With patches, the points' weights.
    """

    def __init__(
        self,
        near: NearPoints,
        of_crown: bool,
        middle: IntArray | None = None,
        weights: csr_matrix | None = None,
    ) -> None:
        self.near, self.of_crown, self.middle, self.weights = near, of_crown, middle, weights

    def __len__(self) -> int:
        """Count of rows."""
        return len(self.places)

    @property
    def places(self) -> FloatArray:
        """A place for each row, in its body's frame, (r, 3)."""
        return self.near.points if self.middle is None else self.near.points[self.middle]

    def gaps(
        self, pose: FloatArray, below_mm: float, rows: IntArray, start: int, *, likely: bool
    ) -> Gaps:
        """Those of some rows whose gap is below a length; numbered from ``start`` on."""
        motion = pose if self.of_crown else undone(pose)
        if self.weights is None:
            rows = rows[self.near.refresh(motion, below_mm, rows, likely=likely)]
            gap, (direction, moment, place) = self.near.gap_mm[rows], self._pushes(pose, rows)
        else:
            weights = self.weights[rows]
            points = _columns(weights)
            now = placed(motion, self.near.points)
            least = np.zeros(len(now))
            least[points] = self.near.at_least_mm(now[points], points, likely=likely)
            due = weights @ least < below_mm + self.near.facets.most_mm
            rows, weights = rows[due], weights[due]
            points = _columns(weights)
            self.near.refresh(motion, np.inf, points)
            direction, moment = np.zeros((2, len(now), 3))
            direction[points], moment[points], _ = self._pushes(pose, points)
            gap, direction, moment = (
                weights @ each for each in (self.near.gap_mm, direction, moment)
            )
            place = now[self.middle[rows]] if self.middle is not None else now[rows]
        on = np.flatnonzero(gap < below_mm)
        return Gaps(start + rows[on], gap[on], direction[on], moment[on], place[on])

    def _pushes(
        self, pose: FloatArray, points: IntArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Direction, moment and place of points, each (k, 3), in the die's frame."""
        direction, place = self.near.direction[points], self.near.points[points]
        if self.of_crown:
            place = placed(pose, place)
        else:  # the crown's surface recedes from the die's point as the crown moves against it
            direction = -direction @ pose[:3, :3].T
        return direction, np.cross(place, direction), place


def _columns(weights: csr_matrix) -> IntArray:
    """Columns that hold a weight, ascending."""
    held = np.zeros(weights.shape[1], dtype=bool)
    held[weights.indices] = True
    return np.flatnonzero(held)

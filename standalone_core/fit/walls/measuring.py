"""How thick a crown's walls are, against what is asked for and against its design."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...arrays import BoolArray, FloatArray, IntArray
from ...deviation.margin_directions import Directions, directions_of
from ...errors import AreaError
from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps, scaled
from ...superimpose.feet import weighted_quantile
from ...surface.closest import SurfaceIndex
from ..crown import FitCrown
from ..settings import WallSettings
from .inward import Lines, least_of_each, lines_inward
from .result import AreaWall, ThinPlace, Walls
from .thickness import Thickness, thickness_steps
from .words import lost_words, where_words

NO_LOSS = "The design has no intaglio, so what the walls lost against it is not measured."
_ROUNDING_MM = 1e-6
"""A wall thinner than asked for by less than this is not thin."""
_SAME_PLACE_MM = 0.5
"""Farther from the design's intaglio than this, a place has no counterpart on it."""


def measure_walls_steps(
    crown: FitCrown,
    settings: WallSettings | None = None,
    *,
    design: FitCrown | None = None,
    T_design_crown: FloatArray | None = None,
    directions: Directions | None = None,
) -> Steps[Walls]:
    """Measure the walls of a crown from its intaglio.

    From outside, a ray beside an edge looks along a wall and not through it; from the intaglio,
    beyond ``margin_left_out_mm`` of the margin line, none does. The thickness is the smaller of
    two, both exact on the facets: straight into the material to the far side, and the diameter of
    the largest ball in the material that touches the place. What lies in the margin's part beyond
    ``margin_left_out_mm`` counts as axial.

    Parameters
    ----------
    crown : FitCrown
        Design or scan, in its own frame.
    settings : WallSettings, optional
    design : FitCrown, optional
        In its own frame; the change is along the same line from the nearest place of its intaglio.
    T_design_crown : (4, 4) float, optional
        Pose of the crown on the design; as they lie if not given.
    directions : Directions, optional
        Around the crown, in its frame; from its areas if not given.

    Raises
    ------
    AreaError
        It has no intaglio, margin line or path of insertion, or none of the intaglio lies far
        enough from the margin line.
    """
    settings = settings or WallSettings()
    crown.refuse_without_intaglio()
    unlike = design is not None and not design.can_be_seated
    design = None if unlike else design
    judged = crown.intaglio & (crown.margin_distance_mm > settings.margin_left_out_mm)
    _refuse_nothing(judged, crown, settings)
    mesh = crown.evaluation.mesh
    lines = lines_inward(crown.index, judged)
    share = 1.0 if design is None else 0.5
    found = yield from scaled(
        thickness_steps(mesh, mesh.vertices[lines.point], lines.inward, settings.least_angle_deg),
        0.0,
        share,
    )
    lines, found = _thinnest_lines(lines, found)
    change = np.full(len(lines.point), np.nan)
    if design is not None:
        there = yield from scaled(
            _design_steps(mesh, lines, design, T_design_crown, settings), share, 0.95
        )
        change = 1e3 * (found.least_mm - there.least_mm)
    yield Progress("Finding the thinnest places", 0.95)
    walls = _walls(crown, settings, judged, lines.point, found, change, directions)
    return replace(walls, warnings=(*walls.warnings, NO_LOSS)) if unlike else walls


def _refuse_nothing(judged: BoolArray, crown: FitCrown, settings: WallSettings) -> None:
    if not judged.any():
        raise AreaError(
            f"None of its intaglio lies more than {settings.margin_left_out_mm:g} mm from the "
            "margin line, so it has no walls to measure.",
            subject=crown.evaluation.design.name,
            remedy="Leave out less at the margin.",
            arguments=("margin_left_out_mm",),
        )


def _thinnest_lines(lines: Lines, found: Thickness) -> tuple[Lines, Thickness]:
    """Of several lines at one place, as in a crease, the one along which it is thinnest."""
    least = least_of_each(lines, found.least_mm)
    kept = Lines(lines.point[least], lines.inward[least])
    return kept, Thickness(found.ray_mm[least], found.ball_mm[least])


def _design_steps(
    mesh: TriangleMesh,
    lines: Lines,
    design: FitCrown,
    pose: FloatArray | None,
    settings: WallSettings,
) -> Steps[Thickness]:
    """Thickness of the design at the same places along the same lines; NaN without one."""
    turn, shift = np.eye(3), np.zeros(3)
    if pose is not None:
        turn, shift = pose[:3, :3], pose[:3, 3]
    whole = design.evaluation.mesh
    intaglio = SurfaceIndex(
        whole.kept(design.intaglio[whole.faces].all(axis=1)), threads=design.index.threads
    )
    feet = intaglio.closest(
        mesh.vertices[lines.point] @ turn.T + shift, max_distance_mm=_SAME_PLACE_MM
    )
    there = np.flatnonzero(feet.found & ~feet.on_border)
    found = yield from thickness_steps(
        whole, feet.foot[there], lines.inward[there] @ turn.T, settings.least_angle_deg
    )
    both = np.full((2, len(lines.point)), np.nan)
    both[:, there] = found.ray_mm, found.ball_mm
    return Thickness(both[0], both[1])


def _walls(
    crown: FitCrown,
    settings: WallSettings,
    judged: BoolArray,
    point: IntArray,
    found: Thickness,
    change: FloatArray,
    directions: Directions | None,
) -> Walls:
    maps = np.full((4, len(judged)), np.nan)
    maps[:, point] = found.ray_mm, found.ball_mm, found.least_mm, change
    ray, ball, thickness, change_um = maps
    occlusal = judged & crown.parts["occlusal"]
    parts = {"axial": judged & ~occlusal, "occlusal": occlusal}
    least = {"axial": settings.least_axial_mm, "occlusal": settings.least_occlusal_mm}
    weights = crown.evaluation.weights_mm2
    areas = tuple(
        _area(name, thickness[part], weights[part], least[name], change_um[part])
        for name, part in parts.items()
        if part.any()
    )
    directions = directions or directions_of(crown.area_set)
    spare = thickness - np.where(occlusal, least["occlusal"], least["axial"])
    thinnest = tuple(
        _thin_place(k, ray, ball, crown, directions, is_wall=not occlusal[k])
        for k in _thinnest(crown.evaluation.points, spare, settings)
    )
    lost = judged & ~np.isfinite(thickness)
    return Walls(
        ray_mm=ray,
        ball_mm=ball,
        thickness_mm=thickness,
        change_um=change_um,
        areas=areas,
        thinnest=thinnest,
        within=all(area.within for area in areas),
        settings=settings,
        warnings=lost_words(int(lost.sum()), float(weights[lost].sum() / weights[judged].sum())),
    )


def _area(
    name: str, thickness: FloatArray, weights: FloatArray, required: float, change: FloatArray
) -> AreaWall:
    """Numbers of one part, from its points (k,)."""
    there = np.isfinite(thickness)
    thickness, weights, change = thickness[there], weights[there], change[there]
    if not len(thickness):
        return AreaWall(name, np.nan, np.nan, np.nan, required, 0.0, False, np.nan)
    least = float(thickness.min())
    compared = np.isfinite(change) & (weights > 0.0)
    return AreaWall(
        area=name,
        least_mm=least,
        p5_mm=weighted_quantile(thickness, weights, 0.05),
        p50_mm=weighted_quantile(thickness, weights, 0.5),
        required_mm=required,
        thin_area_mm2=float(weights[thickness < required - _ROUNDING_MM].sum()),
        within=least >= required - _ROUNDING_MM,
        loss_um=(
            float(np.average(change[compared], weights=weights[compared]))
            if compared.any()
            else np.nan
        ),
    )


def _thin_place(
    k: int,
    ray: FloatArray,
    ball: FloatArray,
    crown: FitCrown,
    directions: Directions,
    *,
    is_wall: bool,
) -> ThinPlace:
    place = crown.evaluation.points[k]
    return ThinPlace(
        place_mm=place.copy(),
        area="axial" if is_wall else "occlusal",
        thickness_mm=float(min(ray[k], ball[k])),
        ray_mm=float(ray[k]),
        ball_mm=float(ball[k]),
        where=where_words(place, crown, directions, is_wall=is_wall),
    )


def _thinnest(points: FloatArray, spare: FloatArray, settings: WallSettings) -> list[int]:
    """Places with the least thickness to spare, each far enough from those before it."""
    left = np.flatnonzero(np.isfinite(spare))
    chosen: list[int] = []
    while len(left) and len(chosen) < settings.places:
        k = int(left[np.argmin(spare[left])])
        chosen.append(k)
        away = np.linalg.norm(points[left] - points[k], axis=1)
        left = left[(away >= settings.apart_mm) & (left != k)]
    return chosen

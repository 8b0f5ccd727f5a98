"""What kind of design it is, its path of insertion, its margin line and its two sides."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray, IntArray
from ..errors import AreaError
from ..mesh.geodesics import polyline_sources
from ..mesh.refine import EvaluationMesh
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps
from .area_set import MarginLine
from .insertion import Mouth, evenly_inclined_axis, find_mouth, shell_axis
from .margin_line import dividing_loop, longest_loop, loop_area_mm2
from .min_cut import part_of_items
from .occlusal import face_sides
from .plausible import cavity_of
from .rim_crest import crest_points
from .settings import AreaSettings
from .sides import external_faces

_FAR_OFF_DEG = 30.0  # a path of insertion given this far off the cavity's own is remarked on

Kind = Literal["crown", "shell", "solid"]


@dataclass(frozen=True, eq=False)
class Layout:
    """The coarse structure of a design, from which its areas follow.

    Attributes
    ----------
    kind : "crown", "shell" or "solid"
        Closed with a cavity, open with a border, or neither.
    insertion : (3,) float or None
        Path of insertion to occlusal.
    margin_line : MarginLine or None
    external, intaglio : (n',) bool or None
        Evaluation points on either side; None if there is no such side.
    reason : str
        Why something is missing, in words; empty for a crown.
    warnings : tuple of str
    """

    kind: Kind
    insertion: FloatArray | None
    margin_line: MarginLine | None
    external: BoolArray | None
    intaglio: BoolArray | None
    reason: str = ""
    warnings: tuple[str, ...] = ()


def find_layout_steps(evaluation: EvaluationMesh, settings: AreaSettings) -> Steps[Layout]:
    """Distinguish a crown from a shell or a solid and find its path of insertion and margin line.

    Only the design's largest piece is looked at; smaller pieces belong to no side.
    """
    yield Progress("Looking for pieces and borders", 0.0)
    design = evaluation.design
    piece = design.graph.piece_of_face
    sizes = np.bincount(piece, weights=design.face_areas)
    in_main = piece == sizes.argmax()
    main = design if in_main.all() else TriangleMesh(design.vertices, design.faces[in_main])
    rows = np.flatnonzero(in_main)
    layout = _shell_layout(evaluation, main, rows, settings)
    if layout is None:
        layout = yield from _crown_layout_steps(evaluation, main, rows, settings)
    return replace(layout, warnings=(*layout.warnings, *_remarks(main, layout, len(sizes))))


def _remarks(main: TriangleMesh, layout: Layout, pieces: int) -> list[str]:
    """Say what was left aside."""
    remarks = []
    loops = len(main.graph.border_loops)
    if layout.kind == "shell" and loops > 1:
        remarks.append(
            f"The shell has {loops} border loops; the longest is taken as the margin line, "
            "the others as holes."
        )
    if layout.kind != "shell" and loops:
        remarks.append(f"The design has {loops} open borders, taken as holes.")
    if pieces > 1:
        remarks.append(f"{pieces - 1} smaller pieces of the design are in no area but the whole.")
    return remarks


def _shell_layout(
    evaluation: EvaluationMesh, main: TriangleMesh, rows: IntArray, settings: AreaSettings
) -> Layout | None:
    """Layout of an open shell; None if no border loop is wide enough to be its opening."""
    loops = main.graph.border_loops
    if not loops:
        return None
    border = longest_loop(main, loops)
    border_points = main.vertices[border]
    axis = shell_axis(main, border_points)
    seen = float(main.face_areas @ np.abs(main.face_normals @ axis))
    if loop_area_mm2(border_points) < settings.min_opening_share * seen:
        return None
    all_points = _points_of_faces(evaluation, rows)
    looks_out = float(main.face_areas @ (main.face_normals @ axis)) > 0
    return Layout(
        kind="shell",
        insertion=_given_axis(settings, axis),
        margin_line=MarginLine(border_points),
        external=all_points if looks_out else None,
        intaglio=None if looks_out else all_points,
        reason=f"The design is an open shell that faces {'outward' if looks_out else 'inward'}.",
    )


def _crown_layout_steps(
    evaluation: EvaluationMesh, main: TriangleMesh, rows: IntArray, settings: AreaSettings
) -> Steps[Layout]:
    """Layout of a crown with a cavity, or of a solid."""
    yield Progress("Looking for the cavity", 0.2)
    of_main = _points_of_faces(evaluation, rows)
    surface = evaluation.points if of_main.all() else evaluation.points[of_main]
    mouth = find_mouth(main, surface)
    if mouth is None or mouth.radius_mm < settings.min_cavity_radius_mm:
        widest = 0.0 if mouth is None else mouth.radius_mm
        reason = (
            f"The design has no cavity: its widest hollow takes a ball of {widest:.2f} mm "
            f"radius, at least {settings.min_cavity_radius_mm:g} mm are asked for."
        )
        return _solid(of_main, settings, reason)
    yield Progress("Parting outside and inside", 0.4)
    external = external_faces(main, surface, mouth.axis, mouth.centre_mm, settings)
    border = dividing_loop(main, external)
    ratio = _depth_ratio(main, ~external, mouth)
    if border is None or ratio < settings.min_cavity_area_ratio:
        reason = (
            "The design has no cavity: the area of its widest hollow is "
            f"{ratio:.2f} times its opening, at least {settings.min_cavity_area_ratio:g} times "
            "are asked for."
        )
        return _solid(of_main, settings, reason)
    yield Progress("Finding the margin line", 0.8)
    axis = evenly_inclined_axis(
        main.face_normals[~external], main.face_areas[~external], mouth.axis, settings.wall_share
    )
    # The points of the margin line itself count as external.
    outer = _points_of_faces(evaluation, rows[external])
    crest = crest_points(main, external, border)
    inner = of_main & ~outer
    if inner.any() and (doubt := cavity_of(evaluation, outer, inner, crest, mouth.axis).doubt):
        return replace(_solid(of_main, settings, doubt), warnings=(doubt,))
    return Layout(
        kind="crown",
        insertion=_given_axis(settings, mouth.axis if axis is None else axis),
        margin_line=MarginLine(crest),
        external=outer,
        intaglio=inner,
        warnings=_axis_remarks(settings, mouth.axis, axis),
    )


def _axis_remarks(
    settings: AreaSettings, mouth_axis: FloatArray, wall_axis: FloatArray | None
) -> tuple[str, ...]:
    if settings.insertion is not None:
        turn = float(np.degrees(np.arccos(_given_axis(settings, mouth_axis) @ mouth_axis)))
        if turn < _FAR_OFF_DEG:
            return ()
        return (f"The path of insertion given is {turn:.0f}° off the axis of the cavity.",)
    if wall_axis is None:
        return ("The path of insertion follows the cavity's mouth: its walls do not show it.",)
    return ()


def _solid(points: BoolArray, settings: AreaSettings, reason: str) -> Layout:
    axis = None if settings.insertion is None else _given_axis(settings, np.zeros(3))
    return Layout("solid", axis, None, points, None, reason)


def _given_axis(settings: AreaSettings, found: FloatArray) -> FloatArray:
    if settings.insertion is None:
        return found
    given = np.asarray(settings.insertion, dtype=np.float64)
    return given / np.linalg.norm(given)


def _depth_ratio(mesh: TriangleMesh, inner: BoolArray, mouth: Mouth) -> float:
    """Area of the hollow by its projection along the axis."""
    areas = mesh.face_areas[inner]
    projected = float(areas @ np.abs(mesh.face_normals[inner] @ mouth.axis))
    return float(areas.sum()) / projected if projected > 0 else 0.0


def _points_of_faces(evaluation: EvaluationMesh, rows: IntArray) -> BoolArray:
    """Evaluation points on these faces of the design, (n',) bool."""
    chosen = np.zeros(len(evaluation.design), dtype=bool)
    chosen[rows] = True
    points = np.zeros(len(evaluation.points), dtype=bool)
    points[evaluation.mesh.faces[chosen[evaluation.source_face]].ravel()] = True
    return points


def with_margin_line(evaluation: EvaluationMesh, layout: Layout, line: MarginLine) -> Layout:
    """Put another margin line in place and part the two sides along it.

    On a crown, the points farther than one spacing from the line fall into connected parts; the
    part with most of the former intaglio is the new intaglio. Points on the line itself go with
    the nearest part.

    Raises
    ------
    AreaError
        The line is not closed around the cavity, so that it does not part the surface.
    """
    if layout.kind != "crown" or layout.external is None or layout.intaglio is None:
        return replace(layout, margin_line=line)
    mesh = evaluation.mesh
    sources = polyline_sources(mesh, line.points_mm, closed=line.closed)
    on_line = np.zeros(len(mesh.vertices), dtype=bool)
    on_line[sources.vertices] = True
    both = layout.external | layout.intaglio
    edges = face_sides(mesh.faces)
    part = part_of_items(both & ~on_line, edges)
    weights = evaluation.weights_mm2
    inner = _heaviest(part, np.where(layout.intaglio, weights, 0.0))
    outer = _heaviest(part, np.where(layout.external, weights, 0.0))
    if inner == outer:
        raise AreaError(
            "The margin line does not part the surface into an outer and an inner side.",
            subject=evaluation.design.name,
            remedy="Draw it closed, once around the cavity, on the surface.",
        )
    labelled = np.flatnonzero((part == inner) | (part == outer))
    rest = np.flatnonzero(both & (part != inner) & (part != outer))
    nearest = cKDTree(mesh.vertices[labelled]).query(mesh.vertices[rest])[1]
    part[rest] = part[labelled[np.asarray(nearest)]]
    intaglio = both & (part == inner)
    return replace(layout, margin_line=line, external=both & ~intaglio, intaglio=intaglio)


def _heaviest(part: IntArray, weights: FloatArray) -> int:
    inside = part >= 0
    return int(np.bincount(part[inside], weights=weights[inside], minlength=1).argmax())

"""Crowns and dies of revolution whose seats are known by arithmetic.

All are closed, outward and in mm, with the path of insertion along z. Crown and die of a pair
have the same number of sides at the same angles, so that their facets are parallel.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from cuspwise.standalone_core.areas.area_set import Area, AreaSet, AreaSettings, MarginLine
from cuspwise.standalone_core.demo.crown import DemoCrown
from cuspwise.standalone_core.demo.die import DemoDie
from cuspwise.standalone_core.fit.crown import FitCrown, crown_of_areas
from cuspwise.standalone_core.fit.die import FitDie
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex

AXIS = np.array([0.0, 0.0, 1.0])
Profile = list[tuple[float, float]]


@dataclass(frozen=True, eq=False)
class FitPair:
    """A crown above its die, and how far it drops along −z to rest there, mm."""

    crown: FitCrown
    die: FitDie
    drop_mm: float


def revolved(profile: Profile, sides: int, step_mm: float, name: str) -> TriangleMesh:
    """Closed surface of a profile (r, z) from the axis on top, down the outside, to the axis.

    Rows are at most ``step_mm`` apart; the vertices are the rows' rings, then the two poles.
    """
    rows = dense(profile, step_mm)
    angles = 2 * np.pi * np.arange(sides) / sides
    ring = np.column_stack([np.cos(angles), np.sin(angles)])
    inner = rows[1:-1]
    vertices = [np.column_stack([r * ring, np.full(sides, z)]) for r, z in inner]
    poles = np.array([[0, 0, rows[0][1]], [0, 0, rows[-1][1]]])
    j, k = np.arange(sides), (np.arange(sides) + 1) % sides
    last, top = (len(inner) - 1) * sides, len(inner) * sides
    faces = [np.column_stack([np.full(sides, top), j, k])]
    for p in range(0, last, sides):
        q = p + sides
        faces += [np.column_stack([p + j, q + j, q + k]), np.column_stack([p + j, q + k, p + k])]
    faces.append(np.column_stack([last + k, last + j, np.full(sides, top + 1)]))
    return TriangleMesh(np.vstack([*vertices, poles]), np.vstack(faces), name)


def dense(profile: Profile, step_mm: float) -> Profile:
    """The same profile with places at most ``step_mm`` apart."""
    rows = [profile[0]]
    for start, end in pairwise(profile):
        a, b = np.array(start, float), np.array(end, float)
        count = max(1, int(np.ceil(np.linalg.norm(b - a) / step_mm - 1e-9)))
        rows += [tuple(a + (b - a) * i / count) for i in range(1, count + 1)]
    return rows


def revolved_crown(
    outside: Profile, inside: Profile, *, sides: int, step_mm: float, spacing_mm: float = 9.0
) -> FitCrown:
    """A crown of two profiles: from the axis on top to the margin line, and from there on.

    The inside, its first row (the margin line) included, is the intaglio. Edges longer than
    ``spacing_mm`` are split for the evaluation points.
    """
    mesh = revolved(outside[:-1] + inside, sides, step_mm, "crown")
    margin = len(dense(outside, step_mm)) - 2  # the row of the margin line among the rings
    rows = np.arange(len(mesh.vertices)) // sides
    on_inside = (rows >= margin).astype(float)
    on_inside[-2] = 0.0  # the pole on top
    evaluation = evaluation_mesh(mesh, spacing_mm)
    intaglio = evaluation.interpolate(on_inside) > 1 - 1e-9
    line = MarginLine(mesh.vertices[margin * sides : (margin + 1) * sides])
    areas = {
        "whole": Area("whole", np.ones_like(intaglio)),
        "external": Area("external", ~intaglio),
        "intaglio": Area("intaglio", intaglio),
    }
    settings = AreaSettings(
        insertion=(0.0, 0.0, 1.0),
        mesial_direction=(1.0, 0.0, 0.0),
        buccal_direction=(0.0, 1.0, 0.0),
    )
    return crown_of_areas(
        AreaSet(evaluation, areas, line, AXIS.copy(), settings=settings), threads=1
    )


def revolved_die(
    profile: Profile, *, sides: int, step_mm: float, finish: tuple[float, float] | None = None
) -> FitDie:
    """A die of one profile; ``finish`` is (r, z) of its finish line."""
    mesh = revolved(profile, sides, step_mm, "die")
    line = None
    if finish is not None:
        angles = 2 * np.pi * np.arange(sides) / sides
        r, z = finish
        line = MarginLine(
            np.column_stack([r * np.cos(angles), r * np.sin(angles), np.full(sides, z)])
        )
    return FitDie(mesh, SurfaceIndex(mesh, threads=1), AXIS.copy(), line)


def cone_pair(
    taper_deg: float = 6.0,
    gap_mm: float = 0.05,
    *,
    radius_mm: float = 4.0,
    height_mm: float = 5.0,
    roof_gap_mm: float = 0.5,
    sides: int = 90,
    step_mm: float = 0.4,
) -> FitPair:
    """A truncated cone in a cavity that is wider by a gap along the normal.

    It drops by gap / sin taper, where the walls touch all around; the roof is then still
    ``roof_gap_mm`` away. The cone goes on below its finish line at z = 0, and the crown's edge
    comes to rest 0.1 mm above that.
    """
    slope = np.tan(np.deg2rad(taper_deg))
    drop = gap_mm / np.sin(np.deg2rad(taper_deg))
    low, roof = drop + 0.1, height_mm + roof_gap_mm + drop

    def cavity(z: float) -> float:
        return float(radius_mm - slope * z + gap_mm / np.cos(np.deg2rad(taper_deg)))

    wide = cavity(low) + 1.0
    crown = revolved_crown(
        [(0, roof + 1), (wide, roof + 1), (wide, low), (cavity(low), low)],
        [(cavity(low), low), (cavity(roof), roof), (0, roof)],
        sides=sides,
        step_mm=step_mm,
    )
    top, foot = radius_mm - slope * height_mm, radius_mm + 2 * slope
    die = revolved_die(
        [(0, height_mm), (top, height_mm), (radius_mm, 0), (foot, -2), (0, -2)],
        sides=sides,
        step_mm=step_mm,
        finish=(radius_mm, 0.0),
    )
    return FitPair(crown, die, drop)


def roof_first_pair(
    roof_gap_mm: float = 0.5, taper_deg: float = 2.0, gap_mm: float = 0.03, **more: float
) -> FitPair:
    """A cone pair whose roof touches before its walls do: it drops by ``roof_gap_mm``.

    ``roof_gap_mm`` is the gap under the roof before it drops.
    """
    wall_drop = gap_mm / np.sin(np.deg2rad(taper_deg))
    assert roof_gap_mm < wall_drop
    pair = cone_pair(taper_deg, gap_mm, roof_gap_mm=roof_gap_mm - wall_drop, **more)
    return FitPair(pair.crown, pair.die, roof_gap_mm)


def shoulder_pair(
    gap_mm: float = 0.05,
    drop_mm: float = 0.3,
    *,
    radius_mm: float = 4.0,
    height_mm: float = 5.0,
    shoulder_mm: float = 1.0,
    edge_mm: float | None = None,
    roof_gap_mm: float = 0.2,
    sides: int = 90,
    step_mm: float = 0.4,
) -> FitPair:
    """A cylinder with a flat shoulder in a cavity that is wider by a gap.

    The crown's flat edge drops by ``drop_mm`` onto the shoulder at z = 0; it plays by the gap
    to every side. ``edge_mm`` is how far the edge reaches out, the shoulder's width by default:
    less is an under-extension. The flat of the edge is part of the intaglio.
    """
    reach = radius_mm + (shoulder_mm if edge_mm is None else edge_mm)
    bore, roof = radius_mm + gap_mm, height_mm + drop_mm + roof_gap_mm
    crown = revolved_crown(
        [(0, roof + 1.5), (reach, roof + 1.5), (reach, drop_mm)],
        [(reach, drop_mm), (bore, drop_mm), (bore, roof), (0, roof)],
        sides=sides,
        step_mm=step_mm,
    )
    foot = radius_mm + shoulder_mm
    die = revolved_die(
        [(0, height_mm), (radius_mm, height_mm), (radius_mm, 0), (foot, 0), (foot, -2), (0, -2)],
        sides=sides,
        step_mm=step_mm,
        finish=(foot, 0.0),
    )
    return FitPair(crown, die, drop_mm)


def demo_fit_crown(crown: DemoCrown, mesh: TriangleMesh | None = None) -> FitCrown:
    """The demo crown with its true intaglio; ``mesh`` is it with its vertices moved."""
    evaluation = evaluation_mesh(crown.mesh if mesh is None else mesh, 9.0)
    inside = crown.s <= 0.0
    areas = {
        "whole": Area("whole", np.ones_like(inside)),
        "external": Area("external", ~inside),
        "intaglio": Area("intaglio", inside),
    }
    settings = AreaSettings(
        insertion=(0.0, 0.0, 1.0),
        mesial_direction=(1.0, 0.0, 0.0),
        buccal_direction=(0.0, 1.0, 0.0),
    )
    line = MarginLine(crown.margin_line_mm)
    return crown_of_areas(
        AreaSet(evaluation, areas, line, crown.insertion, settings=settings), threads=1
    )


def demo_fit_die(die: DemoDie, mesh: TriangleMesh | None = None) -> FitDie:
    """The demo crown's die; ``mesh`` is it with its vertices moved."""
    mesh = die.mesh if mesh is None else mesh
    line = MarginLine(die.finish_line_mm)
    return FitDie(mesh, SurfaceIndex(mesh, threads=1), die.insertion, line)

"""All areas of a design, found automatically."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..errors import AreaError
from ..mesh.geodesics import geodesic_distance, polyline_sources
from ..mesh.refine import EvaluationMesh, evaluation_mesh
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps, run, scaled
from .area_set import AREA_NAMES, Area, AreaSet
from .contact_zones import contact_points
from .fossae import fossa_points
from .layout import Layout, find_layout_steps
from .occlusal import occlusal_points
from .settings import AreaSettings

Points = dict[str, BoolArray]

NO_MESIAL = "The mesial direction is not given."
NO_INSERTION = (
    "The path of insertion is not given, and without a crown's cavity it cannot be found."
)


def find_areas(
    design: TriangleMesh | EvaluationMesh, settings: AreaSettings | None = None
) -> AreaSet:
    """Find path of insertion, margin line and areas of a crown, an outer shell or a solid.

    Parameters
    ----------
    design : TriangleMesh or EvaluationMesh
        With n vertices, faces turned outward. A mesh is split to the usual spacing first; give
        :func:`~cuspwise.evaluation_mesh` for another one.
    settings : AreaSettings, optional

    Returns
    -------
    AreaSet
        Each area as a mask (n',) of the evaluation points. What cannot be found is in
        ``missing``, with the reason.

    Raises
    ------
    AreaError
        The design has no faces.

    Examples
    --------
    >>> import cuspwise
    >>> design = cuspwise.demo_crown(edge_mm=0.4).mesh
    >>> areas = cuspwise.find_areas(cuspwise.evaluation_mesh(design, spacing_mm=0.4))
    >>> list(areas.areas)
    ['whole', 'external', 'intaglio', 'occlusal', 'axial', 'margin', 'fossae']
    >>> areas.missing["contact_mesial"]
    'The mesial direction is not given.'
    """
    evaluation = evaluation_mesh(design) if isinstance(design, TriangleMesh) else design
    return run(find_areas_steps(evaluation, settings))


def find_areas_steps(
    evaluation: EvaluationMesh, settings: AreaSettings | None = None
) -> Steps[AreaSet]:
    """Find the areas as :func:`find_areas` does, step by step."""
    settings = settings or AreaSettings()
    if not len(evaluation.design):
        raise AreaError(
            "It has no triangles.", subject=evaluation.design.name, remedy="Choose another file."
        )
    layout = yield from scaled(find_layout_steps(evaluation, settings), 0.0, 0.5)
    return (yield from scaled(areas_of_layout_steps(evaluation, layout, settings), 0.5, 1.0))


def areas_of_layout_steps(
    evaluation: EvaluationMesh, layout: Layout, settings: AreaSettings
) -> Steps[AreaSet]:
    """Make every area that follows from a design's sides, margin line and path of insertion."""
    points: Points = {"whole": np.ones(len(evaluation.points), dtype=bool)}
    points |= {"external": layout.external} if layout.external is not None else {}
    points |= {"intaglio": layout.intaglio} if layout.intaglio is not None else {}
    yield Progress("Measuring along the surface", 0.0)
    points |= _margin(evaluation, layout, settings)
    yield Progress("Finding the occlusal surface", 0.3)
    points |= _occlusal_and_axial(evaluation, layout, settings)
    yield Progress("Finding the fossae", 0.5)
    points |= _fossae(evaluation, layout, settings, points)
    yield Progress("Finding the contact zones", 0.9)
    points |= _contacts(evaluation, layout, settings, points)
    yield Progress("Areas found", 1.0)
    notes = {"external": layout.reason} if layout.kind == "solid" else {}
    return AreaSet(
        evaluation=evaluation,
        areas={name: Area(name, mask, note=notes.get(name, "")) for name, mask in points.items()},
        margin_line=layout.margin_line,
        insertion=layout.insertion,
        missing={name: _why(name, layout, settings) for name in AREA_NAMES if name not in points},
        warnings=layout.warnings,
        settings=settings,
    )


def _margin(evaluation: EvaluationMesh, layout: Layout, settings: AreaSettings) -> Points:
    """Everything within the band's width of the margin line, along the surface."""
    line = layout.margin_line
    if line is None:
        return {}
    sources = polyline_sources(evaluation.mesh, line.points_mm, closed=line.closed)
    distance = geodesic_distance(evaluation.mesh, sources, limit_mm=settings.margin_band_mm)
    return {"margin": np.isfinite(distance)}


def _occlusal_and_axial(
    evaluation: EvaluationMesh, layout: Layout, settings: AreaSettings
) -> Points:
    if layout.external is None or layout.insertion is None:
        return {}
    occlusal = occlusal_points(
        evaluation, layout.external, layout.insertion, settings.occlusal_slope_deg
    )
    both = {"occlusal": occlusal, "axial": layout.external & ~occlusal}
    return {name: mask for name, mask in both.items() if mask.any()}


def _fossae(
    evaluation: EvaluationMesh, layout: Layout, settings: AreaSettings, points: Points
) -> Points:
    if "occlusal" not in points or layout.insertion is None:
        return {}
    mask = fossa_points(
        evaluation.mesh,
        points["occlusal"],
        points["external"],
        layout.insertion,
        ball_radius_mm=settings.fossa_ball_radius_mm,
        gap_mm=settings.fossa_gap_mm,
    )
    return {"fossae": mask} if mask.any() else {}


def _contacts(
    evaluation: EvaluationMesh, layout: Layout, settings: AreaSettings, points: Points
) -> Points:
    direction = _mesial_across(layout.insertion, settings)
    if direction is None or "axial" not in points:
        return {}
    return {
        name: contact_points(
            evaluation.mesh,
            points["axial"],
            sign * direction,
            radius_mm=settings.contact_radius_mm,
            depth_mm=settings.contact_depth_mm,
        )
        for name, sign in (("contact_mesial", 1.0), ("contact_distal", -1.0))
    }


def _mesial_across(insertion: FloatArray | None, settings: AreaSettings) -> FloatArray | None:
    """Mesial direction made square to the path of insertion."""
    if insertion is None or settings.mesial_direction is None:
        return None
    given = np.asarray(settings.mesial_direction, dtype=np.float64)
    across = given - (given @ insertion) * insertion
    length = np.linalg.norm(across)
    if length < 0.1 * np.linalg.norm(given):
        raise AreaError(
            "The mesial direction runs along the path of insertion.",
            subject="mesial_direction",
            remedy="Give the direction towards mesial, about square to the path of insertion.",
        )
    direction: FloatArray = across / length
    return direction


def _why(name: str, layout: Layout, settings: AreaSettings) -> str:
    """Say why an area is missing."""
    if name.startswith("contact") and settings.mesial_direction is None:
        return NO_MESIAL
    if name in ("intaglio", "margin") or (name == "external" and layout.external is None):
        return layout.reason
    if layout.external is None:
        return f"It is a part of the external surface. {layout.reason}"
    if layout.insertion is None:
        return NO_INSERTION
    if name == "fossae":
        return (
            f"A ball of {settings.fossa_ball_radius_mm:g} mm radius touches the whole occlusal "
            "surface."
        )
    return "No part of the external surface is inclined like it."

"""A crown laid roughly on its die, with the path of insertion and directions that both share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..areas.settings import AreaSettings
from ..arrays import FloatArray
from ..deviation.same_surface import is_same_surface
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Steps
from ..superimpose.prepared import PreparedDesign
from ..superimpose.rigid import inverse, turned
from ..surface.closest import SurfaceIndex
from .crown import FitCrown, ready_crown_steps
from .die import FitDie
from .intaglio_holes import intaglio_holes
from .one_of_many import OneOfMany
from .ready_die import ready_die_steps
from .seat.rough_pose import LaidOnDesign, RoughPose
from .settings import FitSettings


@dataclass(frozen=True, eq=False)
class PlacedCrown:
    """A crown that lies roughly on its die.

    Attributes
    ----------
    crown : FitCrown
        In its own frame, with the die's path of insertion and directions.
    die : FitDie
        Without a finish line.
    pose : RoughPose
    is_scan : bool
        Whether the crown is not the design's own surface.
    warnings : tuple of str
        What was wrong, and what was done about it.
    """

    crown: FitCrown
    die: FitDie
    pose: RoughPose
    is_scan: bool
    warnings: tuple[str, ...]


def own_crown_steps(
    mesh: TriangleMesh,
    design: FitCrown | None,
    settings: FitSettings,
    threads: int | None = None,
) -> Steps[FitCrown]:
    """Find a crown's areas in its own frame, whatever pose it lies in.

    A crown that is its design's copy in place has the design's areas already.
    """
    if design is not None and design.evaluation.design.checksum == mesh.checksum:
        return design
    areas = replace(settings.areas, insertion=None, mesial_direction=None, buccal_direction=None)
    return (
        yield from ready_crown_steps(
            mesh,
            areas,
            spacing_mm=settings.spacing_mm,
            without_intaglio=True,
            threads=threads,
        )
    )


def placed_steps(
    crown: FitCrown,
    die_mesh: TriangleMesh,
    design: FitCrown | None,
    settings: FitSettings,
    known: OneOfMany | None = None,
) -> Steps[PlacedCrown]:
    """Lay a crown roughly on its die.

    Parameters
    ----------
    crown : FitCrown
        In its own frame.
    die_mesh : TriangleMesh
    design : FitCrown or None
        The crown's design, in the die's frame.
    settings : FitSettings
    known : OneOfMany, optional
        With where the crown lies on the design, and threads.

    Raises
    ------
    AreaError
        The crown has no intaglio.
    SuperimpositionError
        The die does not match.
    """
    crown.refuse_without_intaglio()
    known = known or OneOfMany()
    on: PreparedDesign | LaidOnDesign | None = known.laid
    if design is not None and on is None:
        on = PreparedDesign(SurfaceIndex(design.evaluation.design, threads=known.threads))
    axis = _known_axis(design, settings.areas)
    ready = yield from ready_die_steps(die_mesh, crown, on, axis=axis, threads=known.threads)
    moved = crown.evaluation.design.moved(ready.pose.T_die_crown)
    return PlacedCrown(
        crown=directed(crown, ready.pose.T_die_crown, ready.die.axis, settings.areas),
        die=ready.die,
        pose=ready.pose,
        is_scan=design is None or not is_same_surface(design.evaluation.design, moved),
        warnings=(*ready.warnings, *intaglio_holes(crown)),
    )


def directed(
    crown: FitCrown, T_die_crown: FloatArray, axis: FloatArray, areas: AreaSettings
) -> FitCrown:
    """Return a crown with the path of insertion and the directions of its die.

    Parameters
    ----------
    crown : FitCrown
        In its own frame.
    T_die_crown : (4, 4) float
    axis : (3,) float
        The die's path of insertion.
    areas : AreaSettings
        With the directions in the die's frame.
    """
    to_crown = inverse(T_die_crown)

    def own(direction: tuple[float, ...] | None) -> tuple[float, ...] | None:
        return None if direction is None else tuple((to_crown[:3, :3] @ direction).tolist())

    settings = replace(
        crown.area_set.settings,
        mesial_direction=own(areas.mesial_direction),
        buccal_direction=own(areas.buccal_direction),
    )
    area_set = replace(crown.area_set, insertion=turned(to_crown, axis[None])[0], settings=settings)
    return replace(crown, area_set=area_set)


def _known_axis(design: FitCrown | None, areas: AreaSettings) -> Sequence[float] | None:
    """The path of insertion in the die's frame, given or the design's; None if neither is known."""
    if areas.insertion is not None:
        return areas.insertion
    if design is None or design.area_set.insertion is None:
        return None
    axis: list[float] = design.area_set.insertion.tolist()
    return axis

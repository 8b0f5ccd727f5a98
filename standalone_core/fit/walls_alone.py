"""The walls of a crown by themselves, without a die."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from ..areas.settings import AreaSettings
from ..checked_mesh import checked_surface
from ..mesh.files import read_mesh
from ..progress import Steps, scaled
from ..superimpose.superimposition import superimpose_steps
from .crown import FitCrown, ready_crown_steps
from .placing import directed
from .settings import FitSettings, WallSettings
from .walls.measuring import measure_walls_steps
from .walls.result import Walls


@dataclass(frozen=True, eq=False)
class WallsAlone:
    """A crown and its walls.

    Attributes
    ----------
    crown : FitCrown
        In its own frame.
    walls : Walls
        Of that crown.
    """

    crown: FitCrown
    walls: Walls


def walls_alone_steps(
    crown: str | Path, settings: FitSettings | None = None, *, design: str | Path | None = None
) -> Steps[WallsAlone]:
    """Measure the walls of a crown's file, a scan or a design.

    Parameters
    ----------
    crown : path
    settings : FitSettings, optional
        Units, spacing, areas (directions in the crown's frame) and walls are used.
    design : path, optional
        For the loss against it; the crown is superimposed on it, from any pose.

    Raises
    ------
    CuspwiseError
        A file cannot be used, or the crown has no intaglio that could be measured.
    """
    settings = settings or FitSettings()
    ready = yield from scaled(_ready_steps(crown, settings, settings.areas), 0.0, 0.3)
    if design is None:
        walls = yield from scaled(measure_walls_steps(ready, settings.walls), 0.3, 1.0)
        return WallsAlone(ready, walls)
    # The design lies in a frame of its own, in which the crown's directions mean nothing.
    areas = replace(settings.areas, insertion=None, mesial_direction=None, buccal_direction=None)
    designed = yield from scaled(_ready_steps(design, settings, areas), 0.3, 0.5)
    measuring = lost_walls_steps(ready, designed, settings.walls)
    return WallsAlone(ready, (yield from scaled(measuring, 0.5, 1.0)))


def lost_walls_steps(
    crown: FitCrown,
    design: FitCrown,
    settings: WallSettings | None = None,
    directions: AreaSettings | None = None,
) -> Steps[Walls]:
    """Measure the walls of a crown and what they lost against its design, from any pose.

    Parameters
    ----------
    crown, design : FitCrown
        Each in a frame of its own.
    settings : WallSettings, optional
    directions : AreaSettings, optional
        Directions in the design's frame, by which places are named; the crown's own if not given.

    Raises
    ------
    CuspwiseError
        The crown has no intaglio that could be measured, or cannot be laid on the design.
    """
    crown.refuse_without_intaglio()
    laid = yield from scaled(superimpose_steps(crown.evaluation.design, design.index), 0.0, 0.4)
    if directions is not None and design.can_be_seated:
        crown = directed(crown, laid.T_design_scan, design.axis, directions)
    measuring = measure_walls_steps(
        crown, settings, design=design, T_design_crown=laid.T_design_scan
    )
    walls = yield from scaled(measuring, 0.4, 1.0)
    return replace(walls, warnings=(*walls.warnings, *laid.warnings))


def _ready_steps(path: str | Path, settings: FitSettings, areas: AreaSettings) -> Steps[FitCrown]:
    mesh = checked_surface(read_mesh(path, unit=settings.crown_unit)).mesh
    return (yield from ready_crown_steps(mesh, areas, spacing_mm=settings.spacing_mm))

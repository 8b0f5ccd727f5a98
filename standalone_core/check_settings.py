"""What can be chosen about a check, and whether the areas it names are there."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from .areas.area_set import AreaSet, AreaSettings
from .areas.support_marks import SupportMark
from .deviation.field import DeviationSettings
from .deviation.patches import PatchSettings
from .deviation.support_marks import MarkSettings
from .deviation.tolerances import ANY_AREA, Tolerances
from .errors import AreaError, SettingError
from .mesh.triangle_mesh import BoolArray
from .superimpose.settings import SuperimposeSettings


@dataclass(frozen=True)
class CheckSettings:
    """Everything that can be chosen about a check.

    Attributes
    ----------
    design_unit, scan_unit : str
        Unit of the files' coordinates: ``auto`` (guessed from the size), ``mm``, ``cm``, ``m``,
        ``inch`` or ``um``.
    spacing_mm : float
        Longest edge of the evaluation meshes of design and scan, mm.
    drop_debris : bool
        Leave out small pieces that float beside the crown.
    areas : AreaSettings
        Thresholds of the automatic areas.
    areas_file : pathlib.Path or None
        Areas saved for this very design, instead of the automatic ones.
    superimpose : SuperimposeSettings
        How the scan is laid on the design.
    fit_areas : tuple of str
        The areas that the superimposition runs on; the whole crown if empty.
    deviation : DeviationSettings
        Which points count.
    patches : PatchSettings
        Which patches are listed.
    tolerances : Tolerances
        What is good enough.
    weighted : bool
        Whether measures are weighted by area.
    marks : tuple of SupportMark
        Support marks beside those of the areas file.
    mark : MarkSettings
        When a support mark counts as a stub or a gouge.

    Examples
    --------
    >>> import cuspwise
    >>> tolerances = cuspwise.Tolerances().changed({"margin": 12.0})
    >>> settings = cuspwise.CheckSettings(spacing_mm=0.2, tolerances=tolerances)
    >>> settings.tolerances.limit_um("margin"), settings.design_unit
    (12.0, 'auto')
    """

    design_unit: str = "auto"
    scan_unit: str = "auto"
    spacing_mm: float = 0.1
    drop_debris: bool = False
    areas: AreaSettings = field(default_factory=AreaSettings)
    areas_file: Path | None = None
    superimpose: SuperimposeSettings = field(default_factory=SuperimposeSettings)
    fit_areas: tuple[str, ...] = ()
    deviation: DeviationSettings = field(default_factory=DeviationSettings)
    patches: PatchSettings = field(default_factory=PatchSettings)
    tolerances: Tolerances = field(default_factory=Tolerances)
    weighted: bool = True
    marks: tuple[SupportMark, ...] = ()
    mark: MarkSettings = field(default_factory=MarkSettings)

    def __post_init__(self) -> None:
        """Refuse a spacing that makes no mesh."""
        if not 0 < self.spacing_mm < np.inf:
            raise SettingError(
                f"A spacing of {self.spacing_mm:g} mm makes no evaluation mesh.",
                subject="spacing_mm",
                remedy="Give a length above 0 mm; 0.1 mm is usual.",
            )


def faces_to_fit(area_set: AreaSet, names: tuple[str, ...]) -> BoolArray | None:
    """Return the faces of the evaluation mesh whose corners all lie in the named areas, (m',)."""
    if not names:
        return None
    points = np.zeros(len(area_set.evaluation.points), dtype=bool)
    for name in names:
        if name not in area_set.areas:
            raise no_area(name, area_set)
        points |= area_set.areas[name].points
    faces: BoolArray = np.all(points[area_set.evaluation.mesh.faces], axis=1)
    return faces


def refuse_unknown_areas(area_set: AreaSet, tolerances: Tolerances) -> None:
    """A tolerance for a misspelt area would leave the area itself to the default."""
    named = {*tolerances.mean_abs_um, *tolerances.scanner_um} - {ANY_AREA}
    for name in sorted(named):
        if name not in area_set.areas and name not in area_set.missing:
            raise no_area(name, area_set)


def no_area(name: str, area_set: AreaSet) -> AreaError:
    """Return the error for an area that is not there."""
    return AreaError(
        area_set.missing.get(name, f"There is no area called {name!r}."),
        subject=name,
        remedy=f"Choose from {', '.join(area_set.areas)}.",
    )

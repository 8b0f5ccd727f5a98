"""One measured crown of a study that is to be seated on its die: what that needs, and its key."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from ...areas.area_set import AreaSet
from ...areas.settings import AreaSettings
from ...check_settings import CheckSettings
from ...errors import SettingError
from ...fit.settings import FitSettings
from ..fit_plan import FitPlan
from .result_store import file_checksum, key_of
from .scan_job import ScanJob


@dataclass(frozen=True)
class FitFile:
    """A file that fits depend on.

    Attributes
    ----------
    path : pathlib.Path
    sha256 : str
        Checksum of its content.
    """

    path: Path
    sha256: str

    @classmethod
    def of(cls, path: Path) -> FitFile:
        """Look at a file; raises :class:`FileError` if it cannot be read."""
        return cls(path.resolve(), file_checksum(path))

    @property
    def told(self) -> tuple[str, str]:
        """What results depend on: content, and the name, which sentences hold."""
        return self.path.name, self.sha256


@dataclass(frozen=True)
class SharedFiles:
    """What all crowns of a study are seated on and beside.

    Attributes
    ----------
    die, finish_line, antagonist : FitFile or None
    neighbours : tuple of FitFile
    """

    die: FitFile | None = None
    finish_line: FitFile | None = None
    neighbours: tuple[FitFile, ...] = ()
    antagonist: FitFile | None = None


@dataclass(frozen=True)
class FitJob:
    """One measured crown of a study that is to be seated.

    Attributes
    ----------
    scan : ScanJob
        Kept already.
    die : FitFile
    own_die : bool
        Whether no other crown sits on it.
    seated : FitFile or None
        A scan of the crown on its die.
    finish_line, antagonist : FitFile or None
    neighbours : tuple of FitFile
    in_design_frame : bool
        Whether the die lies in the design's frame.
    settings : FitSettings
        With the study's areas, spacing and units; see :func:`study_fit_settings`.
    """

    scan: ScanJob
    die: FitFile
    own_die: bool
    seated: FitFile | None
    finish_line: FitFile | None
    neighbours: tuple[FitFile, ...]
    antagonist: FitFile | None
    in_design_frame: bool
    settings: FitSettings

    @cached_property
    def key(self) -> str:
        """Under which the fit is kept: all that it depends on."""
        given = (self.seated, self.finish_line, self.antagonist)
        return key_of(
            "fit",
            self.scan.key,
            self.scan.study.areas,
            [self.die.told, self.own_die, self.in_design_frame],
            [None if file is None else file.told for file in given],
            [file.told for file in self.neighbours],
            self.settings,
        )


def die_unit(plan: FitPlan, check: CheckSettings) -> str:
    """Return the unit of dies and teeth: their own, else the design's."""
    own = plan.settings.die_unit
    return check.design_unit if own == "auto" else own


def study_fit_settings(plan: FitPlan, check: CheckSettings, areas: AreaSet) -> FitSettings:
    """Return how the crowns of a study are seated.

    Thresholds of areas, spacing and units are the study's; so are path of insertion and directions
    where the dies lie in the design's frame. Elsewhere these would point anywhere.

    Parameters
    ----------
    plan : FitPlan
    check : CheckSettings
        The study's.
    areas : AreaSet
        The study's.
    """
    settings: AreaSettings = areas.settings
    if not plan.in_design_frame:
        settings = replace(settings, insertion=None, mesial_direction=None, buccal_direction=None)
    return replace(
        plan.settings,
        crown_unit=check.scan_unit,
        die_unit=die_unit(plan, check),
        spacing_mm=check.spacing_mm,
        areas=settings,
        force=True,  # the plan's numbers have been looked at already
    )


def fit_job(
    scan: ScanJob,
    shared: SharedFiles,
    plan: FitPlan,
    settings: FitSettings,
    own_die: Path | None,
    seated: Path | None,
) -> FitJob:
    """Return what is to be done to seat a crown.

    Raises
    ------
    FileError
        Its own die, or the scan of it on that, cannot be read.
    SettingError
        No die is given for it.
    """
    die = shared.die if own_die is None else FitFile.of(own_die)
    if die is None:
        raise SettingError(
            "No die is given for it.",
            subject=scan.name,
            remedy="Give one die for all crowns, or the dies of its group.",
        )
    return FitJob(
        scan=scan,
        die=die,
        own_die=own_die is not None,
        seated=None if seated is None else FitFile.of(seated),
        finish_line=shared.finish_line if own_die is None else None,
        neighbours=shared.neighbours,
        antagonist=shared.antagonist,
        in_design_frame=plan.in_design_frame,
        settings=settings,
    )

"""What the crowns of a study are seated with: files read once, the design made ready once."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property, lru_cache
from pathlib import Path

from ...checked_mesh import CheckedMesh, checked_surface
from ...errors import SettingError
from ...fit.crown import FitCrown, crown_of_areas
from ...fit.gap.finish_file import finish_line_from_file
from ...fit.inputs import FitInputs
from ...fit.settings import FitSettings
from ...measure import ReadyDesign
from ...mesh.files import read_mesh
from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps
from ...words.text import listed
from ..plan import StudyPlan
from .fit_job import FitFile, FitJob, SharedFiles, die_unit

_FILES = 8
"""Surfaces that are held: a die, its neighbours, the antagonist, and some of single crowns."""


class FitSurfaces:
    """Surfaces beside the crowns, each read and repaired once unless many others come between.

    Parameters
    ----------
    shared : SharedFiles, optional
        What all crowns are seated on and beside.
    """

    def __init__(self, shared: SharedFiles | None = None) -> None:
        self.shared = shared or SharedFiles()
        self._read = lru_cache(maxsize=_FILES)(_surface)

    def of(self, file: FitFile, unit: str) -> CheckedMesh:
        """Return a file's surface; raises :class:`CuspwiseError` if it cannot be used."""
        return self._read(file, unit)

    def shared_ones(self, unit: str) -> Iterator[tuple[str, CheckedMesh]]:
        """Yield every surface that all crowns share with what it is."""
        given = [("Die", self.shared.die), *(("Neighbour", one) for one in self.shared.neighbours)]
        for name, file in (*given, ("Antagonist", self.shared.antagonist)):
            if file is not None:
                yield name, self.of(file, unit)


def _surface(file: FitFile, unit: str) -> CheckedMesh:
    return checked_surface(read_mesh(file.path, unit=unit))


def shared_surfaces_steps(plan: StudyPlan) -> Steps[FitSurfaces]:
    """Read what all crowns of a study are seated on and beside, before any is measured.

    Raises
    ------
    CuspwiseError
        A file cannot be used, or a crown that is to be seated is none of the study.
    """
    fit = plan.fit
    if fit is None:
        return FitSurfaces()
    yield Progress("Reading the die", 0.0)
    _refuse_unknown_crowns(fit.crowns, plan)
    shared = SharedFiles(
        die=_if_given(fit.die),
        finish_line=_if_given(fit.finish_line),
        neighbours=tuple(FitFile.of(path) for path in fit.neighbours),
        antagonist=_if_given(fit.antagonist),
    )
    surfaces = FitSurfaces(shared)
    for _ in surfaces.shared_ones(die_unit(fit, plan.check)):
        yield Progress("Reading the die", 0.5)
    if shared.finish_line is not None:
        finish_line_from_file(shared.finish_line.path)
    return surfaces


def _if_given(path: Path | None) -> FitFile | None:
    return None if path is None else FitFile.of(path)


def _refuse_unknown_crowns(names: tuple[str, ...], plan: StudyPlan) -> None:
    known = plan.crown_names().values()
    for name in names:
        if name not in known:
            raise SettingError(
                f"There is no crown called {name!r} to be seated.",
                subject="crowns",
                remedy=f"Choose from {listed(tuple(known))}.",
            )


class FitBench:
    """What crowns are seated with in one process.

    Parameters
    ----------
    ready : ReadyDesign
    settings : FitSettings
        Of the study's fits.
    surfaces : FitSurfaces, optional
        Those that have been read already.
    threads : int, optional
        For indices; all processors by default.
    """

    def __init__(
        self,
        ready: ReadyDesign,
        settings: FitSettings,
        surfaces: FitSurfaces | None = None,
        threads: int | None = None,
    ) -> None:
        self._ready, self._settings, self.threads = ready, settings, threads
        self._surfaces = surfaces or FitSurfaces()

    @cached_property
    def design(self) -> FitCrown:
        """The design as it is held against dies in its frame, with the study's own areas."""
        areas = self._ready.area_set
        return crown_of_areas(areas, without_intaglio=True, threads=self.threads)

    def inputs(self, job: FitJob, crown: TriangleMesh) -> FitInputs:
        """Return the surfaces of a crown's fit, all but the design's.

        Raises
        ------
        CuspwiseError
            A file cannot be used.
        """
        unit, line = self._settings.die_unit, job.finish_line
        seated, antagonist = job.seated, job.antagonist
        of = self._surfaces.of
        return FitInputs(
            crown=checked_surface(crown),
            die=of(job.die, unit),
            seated=None if seated is None else of(seated, self._settings.crown_unit),
            neighbours=tuple(of(file, unit) for file in job.neighbours),
            antagonist=None if antagonist is None else of(antagonist, unit),
            finish_line=None if line is None else finish_line_from_file(line.path),
        )

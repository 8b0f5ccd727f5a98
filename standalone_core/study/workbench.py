"""The design of a study, made ready for many scans."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from ..areas.area_set import AreaSet
from ..areas.files import load_areas
from ..areas.find import find_areas_steps
from ..check import CheckedMesh, CheckSettings
from ..mesh.files import read_mesh
from ..mesh.refine import EvaluationMesh, evaluation_mesh
from ..mesh.repair import repair_mesh
from ..progress import Progress, Steps, run, scaled
from ..superimpose.prepared import PreparedDesign
from ..surface.closest import SurfaceIndex


@dataclass(frozen=True, eq=False)
class Workbench:
    """A design with its areas and its index.

    Attributes
    ----------
    design : CheckedMesh
    area_set : AreaSet
    prepared : PreparedDesign
        Of the evaluation mesh.
    """

    design: CheckedMesh
    area_set: AreaSet
    prepared: PreparedDesign

    @property
    def evaluation(self) -> EvaluationMesh:
        """The points that every crown is measured at."""
        return self.area_set.evaluation


def workbench_steps(
    design: Path, settings: CheckSettings, threads: int | None = None
) -> Steps[Workbench]:
    """Read a design and find or load its areas.

    Parameters
    ----------
    design : pathlib.Path
    settings : CheckSettings
    threads : int, optional
        For the index; all processors by default. Results do not depend on it.

    Raises
    ------
    CuspwiseError
        The design or its areas cannot be used.
    """
    yield Progress("Reading the design", 0.0)
    file = read_mesh(design, unit=settings.design_unit)
    repair = repair_mesh(file.mesh, drop_debris=settings.drop_debris)
    yield Progress("Placing the evaluation points", 0.2)
    evaluation = evaluation_mesh(repair.mesh, settings.spacing_mm)
    if settings.areas_file is None:
        area_set = yield from scaled(find_areas_steps(evaluation, settings.areas), 0.3, 0.8)
    else:
        area_set = load_areas(settings.areas_file, evaluation)
    yield Progress("Indexing the design", 0.8)
    prepared = PreparedDesign(SurfaceIndex(evaluation.mesh, threads=threads))
    return Workbench(CheckedMesh(repair.mesh, repair, file), area_set, prepared)


@lru_cache(maxsize=1)
def _workbench(
    path: str, unit: str, spacing_mm: float, drop_debris: bool, areas_file: str
) -> Workbench:
    settings = replace(
        CheckSettings(),
        design_unit=unit,
        spacing_mm=spacing_mm,
        drop_debris=drop_debris,
        areas_file=Path(areas_file),
    )
    return run(workbench_steps(Path(path), settings, threads=1))


def workers_bench(design: Path, settings: CheckSettings, areas_file: Path) -> Workbench:
    """Return a worker process's bench, made on its first job and kept for the next.

    Parameters
    ----------
    design : pathlib.Path
    settings : CheckSettings
    areas_file : pathlib.Path
        The study's areas, named after their content.
    """
    return _workbench(
        str(design),
        settings.design_unit,
        settings.spacing_mm,
        settings.drop_debris,
        str(areas_file),
    )

"""The design of a study in a worker process: made ready on its first job, kept for the next."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from ...check_settings import CheckSettings
from ...measure import ReadyDesign, read_design, ready_design_steps
from ...progress import run


def workers_design(design: Path, settings: CheckSettings, areas_file: Path) -> ReadyDesign:
    """Return the ready design that a worker process measures its scans against.

    Parameters
    ----------
    design : pathlib.Path
    settings : CheckSettings
    areas_file : pathlib.Path
        The study's areas, named after their content; they hold its support marks too.
    """
    return _ready(
        str(design),
        settings.design_unit,
        settings.spacing_mm,
        settings.drop_debris,
        str(areas_file),
    )


@lru_cache(maxsize=1)
def _ready(
    path: str, unit: str, spacing_mm: float, drop_debris: bool, areas_file: str
) -> ReadyDesign:
    settings = replace(
        CheckSettings(),
        design_unit=unit,
        spacing_mm=spacing_mm,
        drop_debris=drop_debris,
        areas_file=Path(areas_file),
    )
    return run(ready_design_steps(read_design(Path(path), settings), settings, threads=1))

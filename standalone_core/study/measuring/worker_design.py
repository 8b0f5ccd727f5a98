"""The design of a study in a worker process: made ready on its first job, kept for the next.

Areas reach a worker through the study's kept results, exactly as the main process has them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import asdict, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...areas.area_set import Area, AreaSet, MarginLine
from ...areas.settings import AreaSettings
from ...check_settings import CheckSettings
from ...checked_mesh import read_design
from ...measure import ReadyDesign, ready_design_steps
from ...mesh.refine import EvaluationMesh
from ...progress import Steps, run
from ...records import with_tuples
from .result_store import ResultStore, key_of, still_kept


def workers_design(design: Path, settings: CheckSettings, folder: Path, areas: str) -> ReadyDesign:
    """Return the ready design that a worker process measures its scans against.

    Parameters
    ----------
    design : pathlib.Path
    settings : CheckSettings
    folder : pathlib.Path
        Of the kept results.
    areas : str
        Under which the study's areas are kept; they hold its support marks too.

    Raises
    ------
    CuspwiseError
        The design cannot be read, or the areas are gone.
    """
    unit, ignore = settings.design_unit, settings.ignore_loose_pieces
    return _ready(str(design), unit, settings.spacing_mm, ignore, str(folder), areas)


@lru_cache(maxsize=1)
def _ready(
    path: str, unit: str, spacing_mm: float, ignore_loose_pieces: bool, folder: str, areas: str
) -> ReadyDesign:
    settings = replace(
        CheckSettings(),
        design_unit=unit,
        spacing_mm=spacing_mm,
        ignore_loose_pieces=ignore_loose_pieces,
    )

    def kept_areas(evaluation: EvaluationMesh) -> Steps[AreaSet]:
        yield from ()
        return load_areas(ResultStore(folder), areas, evaluation)

    design = read_design(Path(path), settings)
    return run(ready_design_steps(design, settings, find_areas=kept_areas, threads=1))


def keep_areas(store: ResultStore, area_set: AreaSet) -> str:
    """Keep a study's areas, and return the key, which stands for their content."""
    line = area_set.margin_line
    record = {
        "areas": [[area.name, area.origin, area.note] for area in area_set.areas.values()],
        "line": None if line is None else [line.closed, line.origin],
        "insertion": None if area_set.insertion is None else area_set.insertion.tolist(),
        "missing": dict(area_set.missing),
        "warnings": list(area_set.warnings),
        "settings": asdict(area_set.settings),
        "points": len(area_set.evaluation.points),
        "spacing_mm": area_set.evaluation.spacing_mm,
    }
    arrays: dict[str, NDArray[Any]] = {
        "inside": np.packbits([area.points for area in area_set.areas.values()], axis=1)
    }
    if line is not None:
        arrays["line_mm"] = line.points_mm
    sums = [hashlib.sha256(array.tobytes()).hexdigest() for array in arrays.values()]
    key = key_of("areas", record, area_set.evaluation.design.checksum, sums)
    if not store.holds(key):
        store.save(key, record, arrays)
    return key


def load_areas(store: ResultStore, key: str, evaluation: EvaluationMesh) -> AreaSet:
    """Return a study's areas.

    Raises
    ------
    StudyError
        They are gone.
    """
    record, arrays = still_kept(store.load(key))
    inside = np.unpackbits(arrays["inside"], axis=1, count=record["points"]).astype(bool)
    areas = [
        Area(name, points, origin, note)
        for (name, origin, note), points in zip(record["areas"], inside, strict=True)
    ]
    return AreaSet(
        evaluation,
        {area.name: area for area in areas},
        margin_line=_line(record, arrays),
        insertion=None if record["insertion"] is None else np.array(record["insertion"]),
        missing=record["missing"],
        warnings=tuple(record["warnings"]),
        settings=AreaSettings(**with_tuples(record["settings"])),
    )


def _line(record: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> MarginLine | None:
    if record["line"] is None:
        return None
    closed, origin = record["line"]
    return MarginLine(arrays["line_mm"], closed, origin)

"""Cuspwise: how far a produced dental crown is from its design, where, and why.

Everything below comes from here and is loaded when it is first used; importing this package loads
neither numpy nor Blender::

    import cuspwise

    result = cuspwise.check("design.stl", "scan.stl")
    result.measures_of("margin").mean_abs_um

==================  =======================================================================
the whole job       ``check``, ``check_meshes``, ``explain``, ``write_check``;
                    ``CheckSettings``; for many crowns at once: ``check_tray``, ``write_tray``
its parts           ``read_mesh``, ``inspect_mesh``, ``repair_mesh``, ``evaluation_mesh``,
                    ``find_areas``, ``save_areas``, ``load_areas``, ``superimpose``,
                    ``measure_deviation``, ``measure_areas``, ``find_patches``,
                    ``write_mesh``; ``TriangleMesh``, ``SurfaceIndex``
their settings      ``AreaSettings``, ``SuperimposeSettings``, ``DeviationSettings``,
                    ``PatchSettings``, ``MarkSettings``, ``SupportMark``, ``Tolerances``,
                    ``CausesSettings``, ``ProductionFacts``
its fit             ``check_fit``, ``write_fit``; ``FitFiles``, ``FitSettings``,
                    ``SeatSettings``, ``GapSettings``, ``WallSettings``, ``ContactSettings``,
                    ``TripleScanSettings``
a study             ``new_study``, ``read_study``, ``run_study``, ``analyse_study``,
                    ``write_study``, ``study_figures``; ``StudyPlan``, ``GroupPlan``, ``FitPlan``,
                    ``AnalysisPlan``; before it: ``crowns_needed``; against one of before:
                    ``read_earlier_study``, ``against_earlier``
results             ``CheckResult``, ``TrayResult``, ``TrayCrown``, ``MeshFile``,
                    ``HealthReport``, ``Repair``,
                    ``EvaluationMesh``, ``AreaSet``, ``Superimposition``,
                    ``DeviationField``, ``AreaMeasures``, ``Patch``, ``CausesResult``,
                    ``Cause``, ``FitResult``, ``WrittenStudy``,
                    ``StudyInputs``, ``StudyRun``, ``StudyAnalysis``, ``Figure``,
                    ``EarlierStudy``, ``EarlierComparison``, ``CrownsNeeded``
to try it           ``demo_crown``, ``demo_die``, ``produce``, ``demo_study``; ``ProductionErrors``,
                    ``DemoCrown``, ``DemoDie``, ``ProducedCrown``
errors              ``CuspwiseError`` and, all of its kind, ``FileError``, ``MeshError``,
                    ``SettingError``, ``ImplausibleError``, ``SuperimpositionError``, ``AreaError``,
                    ``OtherDesignError``, ``ReportError``, ``StudyError``,
                    ``StudyFileError``
==================  =======================================================================

The repository root is the Python package and the Blender extension at once: the core is
:mod:`cuspwise.standalone_core`, and Blender calls ``register``.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from .standalone_core.version import VERSION

__version__ = VERSION


def register() -> None:
    """Add the extension to Blender."""
    from . import addon

    addon.register()


def unregister() -> None:
    """Remove the extension from Blender."""
    from . import addon

    addon.unregister()


@cache
def _homes() -> dict[str, str]:
    """Return the module of each public name, as ``__init__.pyi`` tells type checkers."""
    import ast
    from pathlib import Path

    stub = ast.parse(Path(__file__).with_suffix(".pyi").read_text(encoding="utf-8"))
    return {
        alias.name: f".{line.module}"
        for line in stub.body
        if isinstance(line, ast.ImportFrom)
        for alias in line.names
    }


def __getattr__(name: str) -> Any:
    """Load a public name from its module when it is used."""
    from importlib import import_module

    if name == "__all__":
        return list(_homes())
    if name.startswith("_") or name not in _homes():
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_homes()[name], __name__), name)


def __dir__() -> list[str]:
    """List what there is, loaded or not."""
    return sorted({*globals(), *_homes()})

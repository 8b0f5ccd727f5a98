"""The computing core of Cuspwise: numpy and scipy only, no Blender, no printing, no state.

The public interface, loaded on first use::

    from cuspwise import standalone_core as cuspwise

    result = cuspwise.check_files("design.stl", "scan.stl")
    result.measures_of("margin").mean_abs_um

===================  =====================================================================
files and meshes     ``read_mesh``, ``write_mesh``, ``TriangleMesh``, ``inspect_mesh``,
                     ``repair_mesh``, ``evaluation_mesh``
surface              ``SurfaceIndex``
superimposition      ``superimpose_scan``, ``SuperimposeSettings``
areas                ``find_areas``, ``AreaSettings``, ``save_areas``, ``load_areas``
deviation            ``measure_deviation``, ``measure_areas``, ``find_patches``,
                     ``Tolerances``
the whole job        ``check_files``, ``check_meshes``, ``CheckSettings``, ``write_check``
demo                 ``demo_crown``, ``produce``
errors               ``CuspwiseError``
===================  =====================================================================

Long functions have a twin ``…_steps`` in the same module, a generator of progress.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOMES = {
    "AreaSettings": "areas.settings",
    "CheckSettings": "check_settings",
    "CuspwiseError": "errors",
    "SuperimposeSettings": "superimpose.settings",
    "SurfaceIndex": "surface.closest",
    "Tolerances": "deviation.tolerances",
    "TriangleMesh": "mesh.triangle_mesh",
    "check_files": "check:check",
    "check_meshes": "check",
    "demo_crown": "demo.crown",
    "evaluation_mesh": "mesh.refine",
    "find_areas": "areas.find",
    "find_patches": "deviation.patches",
    "inspect_mesh": "mesh.health",
    "load_areas": "areas.files",
    "measure_areas": "deviation.measures",
    "measure_deviation": "deviation.field",
    "produce": "demo.production",
    "read_mesh": "mesh.files",
    "repair_mesh": "mesh.repair",
    "save_areas": "areas.files",
    "superimpose_scan": "superimpose.superimposition:superimpose",
    "write_check": "report.check.output",
    "write_mesh": "mesh.write",
}

__all__ = list(_HOMES)


def __getattr__(name: str) -> Any:
    """Load a public name from its module when it is first used."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, _, original = _HOMES[name].partition(":")
    value = getattr(import_module(f".{module}", __name__), original or name)
    globals()[name] = value
    return value

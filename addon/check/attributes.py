"""A check's deviations as attributes of the meshes that they were measured on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..blender import bridge
from ..blender.session import mesh_of
from ..identifiers import deviation_attribute, unmatched_attribute

if TYPE_CHECKING:
    from ...standalone_core.check_result import CheckResult
    from .inputs import DesignInput, ScanInput


def write_deviations(
    design: DesignInput, scan: ScanInput, result: CheckResult, result_id: str
) -> None:
    """Write the deviations of both directions to the vertices that they were measured at."""
    for part, read, values, source in (
        (design.design, design.mesh, result.design_to_scan.deviation_mm, result.design.mesh),
        (scan.scan, scan.mesh, result.scan_to_design.deviation_mm, result.scan.mesh),
    ):
        own = values[: len(source.vertices)]
        carried = bridge.carried_to(read.vertices, source.vertices, own)
        bridge.write_attribute(mesh_of(part), deviation_attribute(result_id), "FLOAT", carried)


def write_unmatched(scan: ScanInput, result: CheckResult, result_id: str) -> None:
    """Write the heights of unmatched surface to the scan's own vertices, if it has any."""
    height, source = result.scan_to_design.unmatched_mm, result.scan.mesh
    if height is None or not np.isfinite(height).any():
        return
    own = height[: len(source.vertices)]
    carried = bridge.carried_to(scan.mesh.vertices, source.vertices, own)
    bridge.write_attribute(mesh_of(scan.scan), unmatched_attribute(result_id), "FLOAT", carried)

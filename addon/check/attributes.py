"""A check's deviations as attributes of the meshes that they were measured on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...standalone_core.progress import Progress, Steps
from ..blender import bridge
from ..blender.session import mesh_of
from ..identifiers import deviation_attribute, unmatched_attribute

if TYPE_CHECKING:
    from ...standalone_core.check_result import CheckResult
    from .inputs import DesignInput, ScanInput


def write_steps(
    design: DesignInput, scan: ScanInput, result: CheckResult, result_id: str
) -> Steps[None]:
    """Write what was measured at vertices to them, step by step.

    That is the deviations of both directions, and the heights of unmatched surface of the scan, if
    it has any.
    """
    there, back = result.design_to_scan, result.scan_to_design
    deviation = deviation_attribute(result_id)
    written = [
        (design.design, design.mesh, result.design.mesh, there.deviation_mm, deviation),
        (scan.scan, scan.mesh, result.scan.mesh, back.deviation_mm, deviation),
    ]
    height = back.unmatched_mm
    if height is not None and np.isfinite(height).any():
        name = unmatched_attribute(result_id)
        written.append((scan.scan, scan.mesh, result.scan.mesh, height, name))
    for obj, read, source, values, name in written:
        yield Progress("Keeping the result", 0.0)
        carried = bridge.carried_to(read.vertices, source.vertices, values[: len(source.vertices)])
        yield Progress("Keeping the result", 0.5)
        bridge.write_attribute(mesh_of(obj), name, "FLOAT", carried)
    yield Progress("Keeping the result", 1.0)

"""The result of a check of a ball with a cap, made up; and a reader of pages."""

from __future__ import annotations

from html.parser import HTMLParser

import numpy as np
import trimesh
from cuspwise.standalone_core.areas.area_set import Area, AreaSet
from cuspwise.standalone_core.check import CheckSettings
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.checked_mesh import CheckedMesh
from cuspwise.standalone_core.deviation.field import DeviationField
from cuspwise.standalone_core.deviation.measures import measure_areas
from cuspwise.standalone_core.deviation.patches import find_patches
from cuspwise.standalone_core.deviation.verdict import judge, with_verdicts
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.repair import repair_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.result import (
    Superimposition,
)
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings


class Reader(HTMLParser):
    """Collects elements and texts; a page is well formed if everything opened is closed."""

    VOID = frozenset(("meta", "img", "br", "input", "line", "rect", "path"))

    def __init__(self, page: str) -> None:
        super().__init__()
        self.opened: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.opened.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.VOID:
            assert self.opened.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def ball(radius_mm: float = 5.0, name: str = "design.stl") -> TriangleMesh:
    sphere = trimesh.creation.icosphere(subdivisions=3, radius=radius_mm)
    return TriangleMesh(sphere.vertices, sphere.faces, name)


def make_result(name: str = "scan.stl", area: str = "chewing") -> CheckResult:
    """A ball 20 µm too large on one half, 60 µm on a cap, not measured below: known numbers."""
    design = ball()
    evaluation = evaluation_mesh(design, 0.5)
    z = evaluation.points[:, 2]
    areas = [
        Area("whole", np.ones(len(z), dtype=bool)),
        Area("occlusal", z > 2.0),
        Area("margin", np.abs(z) < 1.0),
        Area("intaglio", z < -4.0),
        Area(area, z > 4.0, origin="user", note="the user's own"),
    ]
    area_set = AreaSet(
        evaluation,
        {a.name: a for a in areas},
        insertion=np.array([0.0, 0.0, 1.0]),
        missing={"fossae": "The occlusal area has no concave place."},
    )
    deviation = np.where(z > 0.0, 0.020, -0.010)
    deviation = np.where(z > 4.5, 0.060, deviation)
    status = np.where(z < -3.9, 1, 0).astype(np.uint8)
    deviation = np.where(status == 0, deviation, np.nan)
    fields = [
        DeviationField(
            direction,
            evaluation.points,
            deviation,
            status,
            evaluation.weights_mm2,
            np.arange(len(z)),
        )
        for direction in ("design_to_scan", "scan_to_design")
    ]
    fit = Superimposition(
        T_design_scan=np.eye(4),
        rms_mm=0.012,
        mean_abs_mm=0.010,
        iterations=5,
        converged=True,
        remaining_mm=1e-6,
        share_used=0.95,
        points_used=1000,
        start="auto",
        weak_directions=(),
        rivals=(),
        verdict="good",
        reason="",
        warnings=(),
        settings=SuperimposeSettings(),
    )
    settings = CheckSettings(spacing_mm=0.5)
    measures = measure_areas(fields, area_set, settings.tolerances.tolerances_um)
    verdicts = judge(measures, fit, settings.tolerances)
    scan = ball(5.02, name)
    return CheckResult(
        design=CheckedMesh(design, repair_mesh(design)),
        scan=CheckedMesh(scan, repair_mesh(scan)),
        area_set=area_set,
        superimposition=fit,
        scan_in_place=evaluation,
        design_to_scan=fields[0],
        scan_to_design=fields[1],
        measures=with_verdicts(measures, verdicts),
        patches=find_patches(fields[0], area_set, 25.0, settings.patches),
        verdicts=verdicts,
        warnings=("Coverage: only 0.0 % of intaglio was measured.",),
        seconds={"read": 0.1, "total": 0.5},
        versions={"cuspwise": "0"},
        settings=settings,
    )

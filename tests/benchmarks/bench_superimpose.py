"""Best fit and pose search against open3d's point-to-plane registration, alternately.

Best fit: 250,000 scan points, 2° and 0.3 mm off, at most the time of open3d's point-to-plane ICP on
500,000 samples of the design; with it, how far either ends from the exact optimum. Any pose: coarse
and fine together on 150,000 + 150,000 triangles, at most 1.5 s; the design's index is built
outside, its samples and lookup grid inside.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run as run_steps
from cuspwise.standalone_core.superimpose.best_fit import FitProblem, best_fit_steps
from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
from cuspwise.standalone_core.superimpose.rigid import (
    largest_displacement,
    motion,
    rotation_from_vector,
)
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from cuspwise.standalone_core.superimpose.superimposition import superimpose
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from peers import installed
from ratios import THREADS, Row, alternate, seconds

SEED = 3
ANY_POSE_GOAL_S = 1.5
OFF = motion(rotation_from_vector(np.radians(2.0) * np.array([0.6, -0.64, 0.48])), [0.2, -0.2, 0.1])
FAR = motion(rotation_from_vector([1.3, -2.0, 0.7]), [30.0, -12.0, 55.0])


def run(short: bool) -> list[Row]:
    """Best fit from near by and superimposition from anywhere."""
    if not installed("open3d"):
        return any_pose(1 if short else 5)
    return best_fit(2 if short else 5) + any_pose(2 if short else 5)


def scan_of(edge_mm: float) -> TriangleMesh:
    """A crown of other triangles than the design's, 20 µm form error and 2 µm noise."""
    rng = np.random.default_rng(SEED)
    mesh = demo_crown(edge_mm, margin_edges=False, rng=rng).mesh
    waves, phases = rng.normal(size=(6, 3)) * 0.6, rng.uniform(0.0, 6.0, 6)
    form = 0.02 * np.sin(mesh.vertices @ waves.T + phases).sum(axis=1) / np.sqrt(3.0)
    off = form + 0.002 * rng.normal(size=len(form))
    return TriangleMesh(mesh.vertices + mesh.vertex_normals * off[:, None], mesh.faces)


def best_fit(rounds: int) -> list[Row]:
    """Ours on 250,000 points against open3d with 500,000 samples of the design as target."""
    import open3d

    design = demo_crown(0.1).mesh
    scan = scan_of(0.0435)
    count = min(250_000, len(scan.vertices))
    prepared = PreparedDesign(SurfaceIndex(design, threads=int(THREADS)))
    _ = prepared.tree
    problem = FitProblem(
        scan.vertices[:count], scan.vertex_areas[:count], prepared, SuperimposeSettings()
    )
    source = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(np.array(problem.points)))
    surface = open3d.geometry.TriangleMesh(
        open3d.utility.Vector3dVector(np.array(design.vertices)),
        open3d.utility.Vector3iVector(design.faces.astype(np.int32)),
    )
    surface.compute_triangle_normals()
    open3d.utility.random.seed(SEED)
    target = surface.sample_points_uniformly(500_000, use_triangle_normal=True)
    icp = open3d.pipelines.registration

    def peer() -> np.ndarray:
        found = icp.registration_icp(
            source,
            target,
            1.0,
            OFF,
            icp.TransformationEstimationPointToPlane(),
            icp.ICPConvergenceCriteria(1e-9, 1e-9, 60),
        )
        return np.asarray(found.transformation)

    def ours() -> np.ndarray:
        return run_steps(best_fit_steps(problem, OFF)).T_design_scan

    strict = replace(problem.settings, tolerance_mm=1e-9, max_iterations=60)
    exact = run_steps(best_fit_steps(replace(problem, settings=strict), ours()))
    gaps = [
        1000.0 * largest_displacement(found, exact.T_design_scan, problem.corners)
        for found in (ours(), peer())
    ]
    note = f"from the exact optimum: ours {gaps[0]:.2g} µm, open3d {gaps[1]:.2g} µm"
    return alternate(
        f"best fit, {count} points on {len(design)} triangles",
        ours,
        {"open3d, 500k samples": peer},
        rounds=rounds,
        goals={"open3d, 500k samples": 1.0},
        notes={"open3d, 500k samples": note},
    )


def any_pose(rounds: int) -> list[Row]:
    """Coarse and fine from a far pose; the goal is a time, shown as the ratio to it."""
    design, scan = demo_crown(0.079).mesh, scan_of(0.079).moved(FAR)
    index = SurfaceIndex(design, threads=int(THREADS))
    times = []
    for _ in range(rounds):
        fresh = TriangleMesh(scan.vertices, scan.faces)
        times.append(seconds(lambda fresh=fresh: superimpose(fresh, index)))
    again = PreparedDesign(index)
    superimpose(scan, again)
    later = float(np.median([seconds(lambda: superimpose(scan, again)) for _ in range(rounds)]))
    took = float(np.median(times))
    return [
        Row(
            what=f"from any pose, {len(scan)} + {len(design)} triangles",
            peer=f"the goal of {ANY_POSE_GOAL_S} s",
            ours_s=took,
            peer_s=ANY_POSE_GOAL_S,
            ratio=ANY_POSE_GOAL_S / took,
            goal=1.0,
            note=f"every further scan on the same design {later:.2f} s",
        )
    ]


ROWS = {"superimpose": run}
SHORT = tuple(ROWS)

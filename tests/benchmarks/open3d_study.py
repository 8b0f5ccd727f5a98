"""The peer: a whole study as one would write it with open3d and scipy.

Every crown against the design, every pair of a group by ICP from where they lie, three measures
each, Welch's test between groups. Called by ``bench_study.py`` in a process of its own:
``python open3d_study.py DESIGN GROUP_FOLDER …``.
"""

from __future__ import annotations

import itertools
import json
import sys
from pathlib import Path

import numpy as np
import open3d as o3d
from open3d_pipeline import VOXEL_MM, cloud, read, superimpose
from scipy import stats


def scene_of(mesh: o3d.geometry.TriangleMesh) -> o3d.t.geometry.RaycastingScene:
    scene = o3d.t.geometry.RaycastingScene(nthreads=2)
    scene.add_triangles(o3d.t.geometry.TriangleMesh.from_legacy(mesh))
    return scene


def signed(scene: o3d.t.geometry.RaycastingScene, points: np.ndarray) -> np.ndarray:
    query = o3d.core.Tensor(np.ascontiguousarray(points, dtype=np.float32))
    return scene.compute_signed_distance(query, nthreads=2).numpy()


def measures(d: np.ndarray) -> list[float]:
    spread = np.subtract(*np.percentile(d, [90, 10])) / 2
    return [1e3 * float(v) for v in (np.abs(d).mean(), np.sqrt((d * d).mean()), spread)]


def fitted(points: o3d.geometry.PointCloud, target: o3d.geometry.PointCloud) -> np.ndarray:
    registration = o3d.pipelines.registration
    return registration.registration_icp(
        points,
        target,
        VOXEL_MM,
        np.eye(4),
        registration.TransformationEstimationPointToPlane(),
        registration.ICPConvergenceCriteria(1e-9, 1e-9, 60),
    ).transformation


def main(design_path: str, folders: list[str]) -> dict[str, object]:
    o3d.utility.random.seed(7)
    design = read(design_path)
    design_cloud, design_scene = cloud(design), scene_of(design)
    trueness: dict[str, list[list[float]]] = {}
    precision: dict[str, list[list[float]]] = {}
    for folder in map(Path, folders):
        crowns, true = [], []
        for file in sorted(folder.glob("*.stl")):
            scan = read(str(file))
            scan.transform(superimpose(cloud(scan), design_cloud))
            own = scene_of(scan)
            signed(design_scene, np.asarray(scan.vertices))
            true.append(measures(-signed(own, np.asarray(design.vertices))))
            crowns.append((cloud(scan), own))
        pairs = []
        for (_, own), (other, _), target in (
            (a, b, a[0]) for a, b in itertools.combinations(crowns, 2)
        ):
            T = fitted(other, target)
            points = np.asarray(other.points) @ T[:3, :3].T + T[:3, 3]
            pairs.append(measures(signed(own, points)))
        trueness[folder.name], precision[folder.name] = true, pairs
    tests = {
        f"{a} {b}": stats.ttest_ind(trueness[a], trueness[b], equal_var=False).pvalue.tolist()
        for a, b in itertools.combinations(trueness, 2)
    }
    return {"trueness": trueness, "precision": precision, "tests": tests}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(sys.argv[1], sys.argv[2:])))

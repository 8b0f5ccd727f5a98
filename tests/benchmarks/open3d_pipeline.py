"""The peer: the whole job as one would write it with open3d and numpy.

Read two files, merge vertices, lay the scan on the design (feature matching with RANSAC, then
point-to-plane ICP on vertices), signed distances both ways, three measures. Called by
``bench_check.py`` in a process of its own: ``python open3d_pipeline.py DESIGN SCAN``.
"""

from __future__ import annotations

import json
import sys
import time

import numpy as np
import open3d as o3d

VOXEL_MM = 0.4


def read(path: str) -> o3d.geometry.TriangleMesh:
    mesh = o3d.io.read_triangle_mesh(path)
    mesh.remove_duplicated_vertices()
    mesh.compute_vertex_normals()
    return mesh


def cloud(mesh: o3d.geometry.TriangleMesh) -> o3d.geometry.PointCloud:
    points = o3d.geometry.PointCloud(mesh.vertices)
    points.normals = mesh.vertex_normals
    return points


def features(points: o3d.geometry.PointCloud):
    small = points.voxel_down_sample(VOXEL_MM)
    search = o3d.geometry.KDTreeSearchParamHybrid(radius=VOXEL_MM * 5, max_nn=100)
    return small, o3d.pipelines.registration.compute_fpfh_feature(small, search)


def superimpose(scan: o3d.geometry.PointCloud, design: o3d.geometry.PointCloud) -> np.ndarray:
    registration = o3d.pipelines.registration
    small_scan, scan_features = features(scan)
    small_design, design_features = features(design)
    coarse = registration.registration_ransac_based_on_feature_matching(
        small_scan,
        small_design,
        scan_features,
        design_features,
        True,
        VOXEL_MM * 1.5,
        registration.TransformationEstimationPointToPoint(False),
        3,
        [
            registration.CorrespondenceCheckerBasedOnEdgeLength(0.9),
            registration.CorrespondenceCheckerBasedOnDistance(VOXEL_MM * 1.5),
        ],
        registration.RANSACConvergenceCriteria(100_000, 0.999),
    )
    fine = registration.registration_icp(
        scan,
        design,
        VOXEL_MM,
        coarse.transformation,
        registration.TransformationEstimationPointToPlane(),
        registration.ICPConvergenceCriteria(1e-9, 1e-9, 60),
    )
    return fine.transformation


def signed(mesh: o3d.geometry.TriangleMesh, points: np.ndarray) -> np.ndarray:
    scene = o3d.t.geometry.RaycastingScene(nthreads=2)
    scene.add_triangles(o3d.t.geometry.TriangleMesh.from_legacy(mesh))
    query = o3d.core.Tensor(np.ascontiguousarray(points, dtype=np.float32))
    return scene.compute_signed_distance(query, nthreads=2).numpy()


def main(design_path: str, scan_path: str) -> dict[str, object]:
    start = time.perf_counter()
    o3d.utility.random.seed(7)
    design, scan = read(design_path), read(scan_path)
    motion = superimpose(cloud(scan), cloud(design))
    scan.transform(motion)
    to_design = signed(design, np.asarray(scan.vertices))
    to_scan = -signed(scan, np.asarray(design.vertices))
    measures = {
        name: {
            "mean_abs_um": 1e3 * float(np.abs(d).mean()),
            "rms_um": 1e3 * float(np.sqrt((d * d).mean())),
            "half_p90_p10_um": 5e2 * float(np.subtract(*np.percentile(d, [90, 10]))),
        }
        for name, d in (("scan_to_design", to_design), ("design_to_scan", to_scan))
    }
    return {"seconds": time.perf_counter() - start, "measures": measures, "T": motion.tolist()}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(sys.argv[1], sys.argv[2])))

"""Exact closest points with side against open3d and libigl, alternately, two threads each.

Reference surfaces: the demo crown with its intaglio, evenly meshed, as CAD slivers and in rows
crowded at the margin; query points as a scanner gives them: near the surface or 0.08 mm off, in
order or shuffled. Peers are timed on the query alone, as we are; libigl's signed distance cannot
but build its tree in every call. open3d computes in float32.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.demo.shape import CrownShape
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from lathe import crowded_rows, lathe_mesh
from peers import installed
from ratios import THREADS, Row, alternate, seconds

SIGNED_GOAL, UNSIGNED_GOAL, UNEVEN_GOAL = 1.2, 0.85, 0.7
SEED = 7
Work = Callable[[], object]


def run(short: bool) -> list[Row]:
    """Queries on both references, build with one query, growth; the short form is a sample."""
    even, uneven, shape = demo_crown(0.1).mesh, slivers(), CrownShape()
    rows_crowd = crowded_rows(shape, shape.points, 260, 360)
    rows: list[Row] = []
    sizes = (250_000,) if short else (250_000, 1_000_000)
    rounds = 3 if short else 7
    for mesh, kind in ((even, "even"), (uneven, "uneven"), (rows_crowd, "crowded rows")):
        print(difference(mesh, kind))
        for count in sizes:
            for off_mm, shuffled in ((0.0, False), (0.08, True)):
                points = scan_points(mesh, count, off_mm, shuffled)
                order = "shuffled" if shuffled else "in order"
                what = f"{kind} {len(mesh)}, {count} points {off_mm} mm off, {order}"
                rows += compare(what, mesh, points, kind, rounds)
    rows += build_and_query(even, rounds)
    print(growth(short))
    return rows


def compare(what: str, mesh: TriangleMesh, points: np.ndarray, kind: str, rounds: int) -> list[Row]:
    """Signed queries against signed peers, plain ones against plain peers."""
    index = SurfaceIndex(mesh, threads=int(THREADS))
    signed_goal = SIGNED_GOAL if kind == "even" else UNEVEN_GOAL
    rows = []
    for word, signed, peers in (
        ("signed", True, signed_peers(mesh, points)),
        ("plain", False, plain_peers(mesh, points)),
    ):
        goal = signed_goal if signed else UNSIGNED_GOAL if kind == "even" else None
        rows += alternate(
            f"{word}: {what}",
            lambda signed=signed: index.closest(points, signed=signed),
            peers,
            rounds=rounds,
            goals={name: goal for name in peers if goal is not None},
        )
    return rows


def build_and_query(mesh: TriangleMesh, rounds: int) -> list[Row]:
    """One index and one signed query on it: what the deviation of one scan costs."""
    points = scan_points(mesh, 250_000, 0.0, False)

    def ours() -> object:
        fresh = TriangleMesh(mesh.vertices, mesh.faces)
        return SurfaceIndex(fresh, threads=int(THREADS)).closest(points, signed=True)

    peers = signed_peers(mesh, points, build_each_time=True)
    return alternate(f"build and signed: even {len(mesh)}, 250000", ours, peers, rounds=rounds)


def signed_peers(
    mesh: TriangleMesh, points: np.ndarray, *, build_each_time: bool = False
) -> dict[str, Work]:
    """What others offer for a signed distance by exact closest point."""
    peers: dict[str, Work] = {}
    if installed("open3d"):
        scene, queries = open3d_scene(mesh), points.astype(np.float32)

        def by_open3d() -> object:
            used = open3d_scene(mesh) if build_each_time else scene
            return used.compute_signed_distance(queries, nthreads=int(THREADS)).numpy()

        peers["open3d signed (float32)"] = by_open3d
    if installed("libigl"):
        import igl

        peers["libigl signed, with build"] = lambda: igl.signed_distance(
            points, mesh.vertices, mesh.faces, igl.SIGNED_DISTANCE_TYPE_PSEUDONORMAL
        )
    return peers


def plain_peers(mesh: TriangleMesh, points: np.ndarray) -> dict[str, Work]:
    """What others offer for the closest point without side."""
    peers: dict[str, Work] = {}
    if installed("open3d"):
        scene, queries = open3d_scene(mesh), points.astype(np.float32)

        def by_open3d() -> object:
            return scene.compute_closest_points(queries, nthreads=int(THREADS))["points"].numpy()

        peers["open3d closest (float32)"] = by_open3d
    if installed("libigl"):
        import igl

        tree = igl.AABB()
        tree.init(mesh.vertices, mesh.faces)
        peers["libigl AABB"] = lambda: tree.squared_distance(mesh.vertices, mesh.faces, points)
    return peers


def open3d_scene(mesh: TriangleMesh) -> object:
    """The mesh in open3d's ray casting scene (float32)."""
    import open3d as o3d

    scene = o3d.t.geometry.RaycastingScene(nthreads=int(THREADS))
    scene.add_triangles(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32))
    return scene


def scan_points(
    mesh: TriangleMesh, count: int, off_mm: float, shuffled: bool, noise_mm: float = 0.004
) -> np.ndarray:
    """Points of a noisy scan, face after face as a mesh file lists them, or shuffled."""
    rng = np.random.default_rng(SEED)
    face = np.sort(rng.choice(len(mesh), count, p=mesh.face_areas / mesh.area_mm2))
    weights = rng.dirichlet([1.0, 1.0, 1.0], count)
    points = np.einsum("nk,nki->ni", weights, mesh.triangles[face])
    points += off_mm * mesh.face_normals[face] + noise_mm * rng.normal(size=points.shape)
    return points[rng.permutation(count)] if shuffled else points


def slivers(turns: int = 72, levels: int = 41) -> TriangleMesh:
    """The demo crown as CAD programs export it: few, long triangles of very unlike area."""
    shape, rng = CrownShape(), np.random.default_rng(SEED)
    theta, s = (np.cumsum(rng.lognormal(0.0, 1.0, count)) for count in (turns, levels + 1))
    low, high = -shape.intaglio_length_mm, shape.external_length_mm
    theta, s = 2.0 * np.pi * theta / theta[-1], (low + (high - low) * s / s[-1])[:-1]
    return lathe_mesh(shape.points, theta, np.concatenate([[low], s, [high]]), "slivers")


def difference(mesh: TriangleMesh, kind: str) -> str:
    """Largest difference to libigl on 100k points: near, far, and on edges and vertices."""
    if not installed("libigl"):
        return "libigl is missing: no differences measured"
    import igl

    rng = np.random.default_rng(SEED)
    near = scan_points(mesh, 60_000, 0.0, False)
    off = near[:20_000] + rng.normal(size=(20_000, 3)) * np.repeat([0.1, 1.0], 10_000)[:, None]
    corner = mesh.triangles[rng.integers(0, len(mesh), 10_000)]
    points = np.concatenate([near, off, corner[:, 0], 0.5 * (corner[:, 1] + corner[:, 2])])
    kind_of_sign = igl.SIGNED_DISTANCE_TYPE_PSEUDONORMAL
    theirs = igl.signed_distance(points, mesh.vertices, mesh.faces, kind_of_sign)[0]
    ours = SurfaceIndex(mesh).closest(points, signed=True)
    gap = np.abs(np.abs(theirs) - ours.distance_mm).max()
    other_side = (np.sign(theirs) != np.sign(ours.signed_mm)) & (np.abs(theirs) > 1e-9)
    return (
        f"{kind}: largest difference to libigl on {len(points)} points {gap:.1e} mm,"
        f" {np.count_nonzero(other_side)} of other sign"
    )


def growth(short: bool) -> str:
    """Build and query times as the reference grows to two million triangles."""
    lines = []
    for edge_mm in (0.14, 0.07) if short else (0.14, 0.07, 0.044, 0.0222):
        mesh = demo_crown(edge_mm).mesh
        points = scan_points(mesh, 250_000, 0.0, False)
        _ = mesh.triangles, mesh.bounds
        build = min(seconds(lambda m=mesh: SurfaceIndex(m)) for _ in range(3))
        index = SurfaceIndex(mesh, threads=int(THREADS))
        query = min(seconds(lambda i=index, p=points: i.closest(p, signed=True)) for _ in range(3))
        lines.append(
            f"growth: {len(mesh):8d} triangles, build {build:.3f} s"
            f" ({build / len(mesh) * 1e6:.2f} µs each), 250000 points {query:.3f} s"
        )
    return "\n".join(lines)


ROWS = {"closest": run}
SHORT = tuple(ROWS)

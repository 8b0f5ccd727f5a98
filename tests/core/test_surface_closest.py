"""The exact closest point: closed forms, brute force, and libigl as an independent reference."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import MeshError, SettingError
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface import search
from cuspwise.standalone_core.surface.closest import SurfaceIndex

CUBE_FACES = [
    [0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4],
    [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7],
]  # fmt: skip


def cube() -> TriangleMesh:
    """Cube from −1 to 1 mm, faces outwards."""
    low = [[-1, -1], [1, -1], [1, 1], [-1, 1]]
    return TriangleMesh([[*xy, -1] for xy in low] + [[*xy, 1] for xy in low], CUBE_FACES)


def thimble(n: int = 40) -> TriangleMesh:
    """Closed bumpy surface of about 4n² triangles, with slivers at its poles."""
    polar, turn = np.linspace(0, np.pi, n)[1:-1, None], np.arange(2 * n)[None] * np.pi / n
    radius = 5 + 0.4 * np.cos(4 * turn) * np.sin(polar) ** 2 + 0.3 * np.cos(6 * polar)
    x, y, z = np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar) + 0 * turn
    rows, m = n - 2, 2 * n
    vertices = [*(radius[..., None] * np.stack([x, y, z], -1)).reshape(-1, 3), (0, 0, 5.3)]
    vertices.append((0, 0, -5.3))
    i, j = np.arange(rows - 1)[:, None] * m, np.arange(m)[None]
    k = (j + 1) % m
    around, after = j[0], k[0]
    top, bottom = np.full(m, rows * m), np.full(m, rows * m + 1)
    last = (rows - 1) * m
    faces = [
        np.stack([i + j, i + m + j, i + m + k], -1).reshape(-1, 3),
        np.stack([i + j, i + m + k, i + k], -1).reshape(-1, 3),
        np.stack([top, around, after], -1),
        np.stack([bottom, last + after, last + around], -1),
    ]
    return TriangleMesh(vertices, np.concatenate(faces))


def cube_signed_distance(points: np.ndarray) -> np.ndarray:
    """Signed distance to the cube: outside the length of the overshoot, inside the nearest wall."""
    over = np.abs(points) - 1.0
    outside = np.linalg.norm(np.maximum(over, 0.0), axis=1)
    return np.where(over.max(axis=1) > 0, outside, over.max(axis=1))


def brute_force(points: np.ndarray, mesh: TriangleMesh) -> np.ndarray:
    """Distance by definition: least over faces of plane foot inside, edges' segments."""
    best = np.full(len(points), np.inf)
    for a, b, c in mesh.triangles:
        for p, q in ((a, b), (b, c), (c, a)):
            d = q - p
            t = np.clip((points - p) @ d / max(d @ d, 1e-300), 0, 1)
            best = np.minimum(best, np.linalg.norm(points - p - t[:, None] * d, axis=1))
        normal = np.cross(b - a, c - a)
        if normal @ normal > 1e-24:
            unit = normal / np.linalg.norm(normal)
            height = (points - a) @ unit
            on_plane = points - height[:, None] * unit
            inside = np.ones(len(points), dtype=bool)
            for p, q in ((a, b), (b, c), (c, a)):
                inside &= np.cross(q - p, on_plane - p) @ unit >= 0
            best = np.where(inside, np.minimum(best, np.abs(height)), best)
    return best


def test_cube_in_all_its_regions() -> None:
    points = np.random.default_rng(1).uniform(-3, 3, (20_000, 3))
    found = SurfaceIndex(cube()).closest(points, signed=True)
    expected = cube_signed_distance(points)
    assert found.signed_mm == pytest.approx(expected, abs=1e-14)
    assert found.distance_mm == pytest.approx(np.abs(expected), abs=1e-14)
    outside = (np.abs(points) > 1).any(axis=1)
    assert found.foot[outside] == pytest.approx(np.clip(points[outside], -1, 1), abs=1e-14)
    again = np.einsum("nk,nki->ni", found.barycentric, cube().triangles[found.face])
    assert again == pytest.approx(found.foot, abs=1e-14)
    assert not found.on_border.any()


@pytest.mark.parametrize(
    ("point", "signed_mm", "feature"),
    [
        ((0.3, 0.2, 1.5), 0.5, 0),
        ((2.0, 2.0, 0.1), np.sqrt(2), 1),
        ((2.0, 2.0, 2.0), np.sqrt(3), 4),
        ((0.2, 0.3, 0.9), -0.1, 0),
        ((1.0, 1.0, 1.0), 0.0, 4),
    ],
)
def test_cube_names_the_feature(point: tuple[float, ...], signed_mm: float, feature: int) -> None:
    found = SurfaceIndex(cube()).closest([point], signed=True)
    assert found.signed_mm == pytest.approx([signed_mm], abs=1e-15)
    kind = int(found.feature[0])
    assert (kind > 0) + (kind > 3) == (feature > 0) + (feature > 3)
    if kind >= 4:
        corner = cube().triangles[found.face[0], kind - 4]
        assert corner == pytest.approx(found.foot[0], abs=0)


def test_shared_features_go_to_the_lowest_face() -> None:
    mesh = cube()
    found = SurfaceIndex(mesh).closest(mesh.vertices * 2)
    lowest = [int(np.flatnonzero((mesh.faces == v).any(axis=1))[0]) for v in range(8)]
    assert found.face.tolist() == lowest


@pytest.mark.parametrize("offset_mm", [0.0, 0.005, 0.08, 1.0, 20.0])
def test_libigl_agrees(offset_mm: float) -> None:
    igl = pytest.importorskip("igl", reason="libigl is the reference here")
    mesh, rng = thimble(), np.random.default_rng(2)
    count = 4000 if offset_mm < 10 else 500
    where = rng.integers(0, len(mesh), count)
    points = np.einsum("nk,nki->ni", rng.dirichlet([1, 1, 1], count), mesh.triangles[where])
    middles = (mesh.triangles[:500, 0] + mesh.triangles[:500, 1]) / 2
    points = np.concatenate([points, mesh.vertices[:count], middles])
    points = points + offset_mm * rng.normal(size=points.shape)
    found = SurfaceIndex(mesh).closest(points, signed=True)
    theirs = igl.signed_distance(points, mesh.vertices, mesh.faces)[0]
    clear = np.abs(theirs) > 1e-12
    assert found.distance_mm == pytest.approx(np.abs(theirs), abs=1e-9)
    assert (np.sign(found.signed_mm) == np.sign(theirs))[clear].all()


SHARP = {
    "blade": [[0, 0, -5], [0, 0, 5], [8, 0.3, 0], [8, -0.3, 0]],
    "needle": [[0, 0, 9], [0.5, 0, 0], [-0.25, 0.43, 0], [-0.25, -0.43, 0]],
    "block": [[0, 0, 0], [6, 0, 0], [0, 6, 0], [0, 0, 6]],
}


def over_edges_and_corners(triangles: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Points over faces, or under them, whose feet are 1e-11 to 1e-6 mm from edges and corners."""
    count = 3000
    face, turn = rng.integers(len(triangles), size=count), rng.integers(3, size=count)
    a, b, c = (triangles[face, (turn + k) % 3] for k in range(3))
    normal, along = np.cross(b - a, c - a), b - a
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    length = np.linalg.norm(along, axis=1)
    along /= length[:, None]
    beside, before = 10 ** rng.uniform(-11, -6, (2, count)) * rng.choice([-1, 0, 1], (2, count))
    at = np.where(rng.random(count) < 0.5, before, length * rng.uniform(0.1, 0.9, count))
    height = 10 ** rng.uniform(-2, 0.5, count) * rng.choice([-1, 1, 1], count)
    inwards = np.cross(normal, along)
    parts = ((at, along), (beside, inwards), (height, normal))
    return a + sum(size[:, None] * axis for size, axis in parts)


@pytest.mark.parametrize("name", SHARP)
def test_side_of_points_whose_feet_are_hardly_beside_an_edge_or_a_corner(name: str) -> None:
    """Such feet on several faces tie in distance. Inside a convex body is under all its planes.

    Turned inside out, it is a cavity, whose edges and corners are concave.
    """
    rng = np.random.default_rng(9)
    for _ in range(3):
        turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
        vertices = np.array(SHARP[name]) @ (turn * np.linalg.det(turn)) + rng.normal(size=3)
        faces = np.array([[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]])
        a, b, c = vertices[faces].transpose(1, 0, 2)
        normal = np.cross(b - a, c - a)
        inwards = np.einsum("fi,fi->f", normal, vertices.mean(axis=0) - a) > 0
        faces[inwards], normal[inwards] = faces[inwards][:, ::-1], -normal[inwards]
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        points = over_edges_and_corners(vertices[faces], rng)
        over = ((points[:, None] - a) * normal).sum(axis=2).max(axis=1)
        points, over = points[np.abs(over) > 1e-3], over[np.abs(over) > 1e-3]
        order = rng.permutation(4)
        body = SurfaceIndex(TriangleMesh(vertices, faces[order])).closest(points, signed=True)
        cavity = TriangleMesh(vertices, faces[order, ::-1])
        assert body.signed_mm is not None
        assert np.array_equal(body.signed_mm > 0, over > 0)
        assert np.array_equal(
            SurfaceIndex(cavity).closest(points, signed=True).signed_mm < 0, over > 0
        )


def spiked_star() -> TriangleMesh:
    """Octahedron with spikes and dents on its sides: convex and concave edges, mixed corners."""
    ends = np.concatenate([np.eye(3), -np.eye(3)])
    vertices, faces = [*ends], []
    for k in range(8):
        signs = [(k >> axis) & 1 for axis in range(3)]
        x, y, z = (axis + 3 * sign for axis, sign in enumerate(signs))
        if sum(signs) % 2:
            y, z = z, y
        middle = ends[[x, y, z]].mean(axis=0)
        tip = len(vertices)
        vertices.append(middle * (4.0 if sum(signs) in (0, 1) else 0.3))
        faces += [[x, y, tip], [y, z, tip], [z, x, tip]]
    return TriangleMesh(3.0 * np.array(vertices), faces)


def test_libigl_agrees_hardly_beside_edges_and_corners_of_a_star() -> None:
    igl = pytest.importorskip("igl", reason="libigl is the reference here")
    rng, star = np.random.default_rng(10), spiked_star()
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    mesh = TriangleMesh(star.vertices @ (turn * np.linalg.det(turn)), star.faces)
    points = over_edges_and_corners(mesh.triangles, rng)
    found = SurfaceIndex(mesh).closest(points, signed=True)
    theirs = igl.signed_distance(
        points, mesh.vertices, mesh.faces, igl.SIGNED_DISTANCE_TYPE_WINDING_NUMBER
    )[0]
    clear = np.abs(theirs) > 1e-3
    assert clear.sum() > 2000
    assert found.signed_mm[clear] == pytest.approx(theirs[clear], abs=1e-9)


def test_brute_force_on_bad_faces() -> None:
    rng = np.random.default_rng(3)
    vertices = rng.uniform(-1, 1, (60, 3))
    vertices[50:] = vertices[:10]
    faces = rng.integers(0, 60, (80, 3))
    line = [[0, 1, 1], [2, 2, 2], [0, 50, 3]]
    sliver = len(vertices)
    vertices = np.vstack([vertices, [[0, 0, 0], [1, 0, 0], [0.4, 1e-9, 0]]])
    mesh = TriangleMesh(vertices, [*faces, *line, *faces[:5], [sliver, sliver + 1, sliver + 2]])
    points = rng.uniform(-2, 2, (500, 3))
    found = SurfaceIndex(mesh).closest(points, signed=True)
    assert found.distance_mm == pytest.approx(brute_force(points, mesh), abs=1e-9)
    assert np.linalg.norm(found.foot - points, axis=1) == pytest.approx(
        found.distance_mm, abs=1e-12
    )
    assert np.isfinite(found.signed_mm).all()


def test_degenerate_faces_do_not_spoil_the_sign() -> None:
    mesh = cube()
    extra_vertices = [[0.0, -1.0, -1.0], [0.25, 1.0, 1.0]]
    # Faces without area along edges, folded onto one edge, and doubled corners.
    extra = [[0, 8, 1], [8, 0, 1], [3, 9, 2], [0, 0, 6], [6, 7, 9], [5, 5, 5], [1, 0, 8]]
    spoiled = TriangleMesh(
        np.concatenate([mesh.vertices, extra_vertices]), np.concatenate([extra, mesh.faces])
    )
    points = np.random.default_rng(4).uniform(-3, 3, (5000, 3))
    points = points[cube_signed_distance(points) > 0]  # the face [0, 0, 6] is a diagonal within
    found = SurfaceIndex(spoiled).closest(points, signed=True)
    assert found.signed_mm == pytest.approx(cube_signed_distance(points), abs=1e-14)


def test_sign_of_unmerged_triangles_is_that_of_the_merged_surface() -> None:
    mesh = thimble(12)
    soup = TriangleMesh(mesh.triangles.reshape(-1, 3), np.arange(3 * len(mesh)).reshape(-1, 3))
    points = np.random.default_rng(5).uniform(-7, 7, (3000, 3))
    assert SurfaceIndex(soup).closest(points, signed=True).signed_mm == pytest.approx(
        SurfaceIndex(mesh).closest(points, signed=True).signed_mm, abs=1e-12
    )


def test_maximum_distance() -> None:
    points = np.array([[0, 0, 1.5], [0, 0, 2.5], [0, 0, 2.0], [0.0, 0.0, 0.0]])
    found = SurfaceIndex(cube()).closest(points, max_distance_mm=1.0, signed=True)
    assert found.found.tolist() == [True, False, True, True]
    assert found.distance_mm == pytest.approx([0.5, np.inf, 1.0, 1.0])
    assert found.signed_mm == pytest.approx([0.5, np.nan, 1.0, -1.0], nan_ok=True)
    assert np.isnan(found.foot[1]).all()
    assert np.isnan(found.barycentric[1]).all()
    assert found.face[1] == -1
    assert not found.on_border[1]


def test_open_border() -> None:
    square = TriangleMesh([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], [[0, 1, 2], [0, 2, 3]])
    points = [[0.5, 0.5, 1], [0.6, 0.5, 1], [0.6, 0.4, 1], [2, 0.5, 0], [2, 2, 0], [0.5, -1, 1]]
    found = SurfaceIndex(square).closest(points)
    assert found.on_border.tolist() == [False, False, False, True, True, True]


def test_results_do_not_depend_on_threads_or_company() -> None:
    mesh, rng = thimble(), np.random.default_rng(6)
    points = np.concatenate([mesh.vertices, rng.normal(size=(3000, 3)) * 4])
    one = SurfaceIndex(mesh, threads=1).closest(points, signed=True)
    two = SurfaceIndex(mesh, threads=3).closest(points, signed=True)
    order = rng.permutation(len(points))
    mixed = SurfaceIndex(mesh).closest(points[order], signed=True)
    for name in ("foot", "distance_mm", "signed_mm", "face", "feature"):
        assert np.array_equal(getattr(one, name), getattr(two, name)), name
        assert np.array_equal(getattr(one, name)[order], getattr(mixed, name)), name


@pytest.mark.parametrize("offset_mm", [0.0, 0.002, 0.1, 1.0])
def test_points_few_and_many_take_different_ways_to_the_same_feet(
    monkeypatch: pytest.MonkeyPatch, offset_mm: float
) -> None:
    """Each point by its nearest pieces, or in groups that share lists: the same, bit for bit.

    On the surface itself, at distances of 1e-16 mm, the side is left to rounding.
    """
    mesh = thimble(60)
    rng = np.random.default_rng(8)
    points = mesh.triangles[rng.integers(len(mesh.faces), size=3 * len(mesh.faces))].mean(axis=1)
    points += rng.normal(scale=offset_mm, size=points.shape) if offset_mm else 0.0
    index = SurfaceIndex(mesh)
    monkeypatch.setattr(search, "_SPARSE", 1.0)
    many = index.closest(points, max_distance_mm=0.5, signed=True)
    few = index.closest(points[:400], max_distance_mm=0.5, signed=True)
    assert few.signed_mm is not None
    assert many.signed_mm is not None
    assert np.array_equal(few.distance_mm, many.distance_mm[:400])
    off = few.distance_mm > 1e-12
    assert np.array_equal(few.signed_mm[off], many.signed_mm[:400][off], equal_nan=True)
    assert np.array_equal(few.foot, many.foot[:400], equal_nan=True)
    assert np.array_equal(few.face, many.face[:400])


def test_concentric_spheres() -> None:
    # Distance from a sphere of radius R to an inscribed mesh: between R − r and R − r + sag.
    mesh = thimble(100)
    unit = mesh.vertices / np.linalg.norm(mesh.vertices, axis=1, keepdims=True)
    sphere = TriangleMesh(5.0 * unit, mesh.faces)
    sag = 5.0 - np.linalg.norm(sphere.triangles.mean(axis=1), axis=1).min()
    found = SurfaceIndex(sphere).closest(5.2 * unit[::-1] @ np.diag([1, -1, -1.0]), signed=True)
    assert (found.signed_mm > 0.2 - 1e-12).all()
    assert (found.signed_mm < 0.2 + 2 * sag).all()
    assert SurfaceIndex(sphere).closest(5.2 * unit, signed=True).signed_mm == pytest.approx(0.2)


@pytest.mark.parametrize("points", [np.zeros((0, 3)), np.zeros((1, 3)), np.full((1, 3), 1e6)])
def test_single_triangle_and_few_points(points: np.ndarray) -> None:
    mesh = TriangleMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    found = SurfaceIndex(mesh).closest(points, signed=True)
    assert found.distance_mm.shape == (len(points),)
    assert found.distance_mm == pytest.approx(brute_force(points, mesh))
    assert found.barycentric.shape == found.foot.shape == points.shape


@pytest.mark.parametrize("points", [[1.0, 2.0, 3.0], [[1.0, 2.0]], [[np.nan, 0, 0]]])
def test_bad_points_are_refused(points: list[float]) -> None:
    with pytest.raises(SettingError):
        SurfaceIndex(cube()).closest(points)


def test_bad_settings_are_refused() -> None:
    with pytest.raises(SettingError):
        SurfaceIndex(cube()).closest([[0, 0, 0]], max_distance_mm=-1)
    with pytest.raises(SettingError):
        SurfaceIndex(cube(), threads=0)
    with pytest.raises(MeshError):
        SurfaceIndex(TriangleMesh(np.zeros((3, 3)), np.zeros((0, 3), dtype=int)))

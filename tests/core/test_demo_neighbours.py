"""The demo crown's neighbours and antagonist meet it where, and as deep as, they say."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.demo.neighbours import (
    DISTAL_TOOTH,
    OtherTooth,
    demo_antagonist,
    demo_neighbours,
    outermost,
)
from cuspwise.standalone_core.demo.shape import CrownShape
from cuspwise.standalone_core.mesh.health import inspect_mesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex

CROWN = CrownShape()
EDGE_MM, LOBE_EDGE_MM = 0.2, 0.1


@pytest.fixture(scope="module")
def teeth() -> tuple[OtherTooth, ...]:
    around = demo_neighbours(CROWN, mesial_um=-20.0, distal_um=10.0, edge_mm=EDGE_MM)
    return (*around, demo_antagonist(CROWN, edge_mm=LOBE_EDGE_MM))


@pytest.fixture(scope="module")
def outside() -> np.ndarray:
    """Points of the crown's outside by formula, about 0.1 mm apart."""
    theta, s = np.meshgrid(np.linspace(0.0, 2.0 * np.pi, 300), np.linspace(0.0, 10.0, 100))
    return CROWN.points(theta.ravel(), s.ravel())


def test_the_meshes_are_closed_and_outward(teeth):
    for tooth in teeth:
        health = inspect_mesh(tooth.mesh)
        assert health.closed
        assert not health.problems
        assert tooth.mesh.volume_mm3 > 100.0


def test_the_gap_is_as_designed_at_its_place_and_nowhere_smaller(teeth, outside):
    # A triangle of edges L with its corners on a ball of radius r lies at most L²/(6 r) inside it.
    for tooth in teeth:
        proximal = tooth.kind == "proximal"
        sag_um = 1e3 * (EDGE_MM**2 / 3.0 if proximal else LOBE_EDGE_MM**2 / 0.8) / 6.0
        sag_um *= 1.5  # triangles are not all alike
        index = SurfaceIndex(tooth.mesh)
        for contact in tooth.contacts:
            gap = 1e3 * index.closest(contact.place_mm[None], signed=True).signed_mm[0]
            assert contact.gap_um - 0.1 < gap < contact.gap_um + sag_um
        found = index.closest(outside, max_distance_mm=0.5, signed=True)
        least = 1e3 * np.nanmin(np.where(found.found, found.signed_mm, np.nan))
        designed = min(contact.gap_um for contact in tooth.contacts)
        assert least > designed - 0.1


def test_overlaps_are_only_where_contacts_are(teeth, outside):
    for tooth in teeth:
        found = SurfaceIndex(tooth.mesh).closest(outside, max_distance_mm=0.5, signed=True)
        inside = outside[found.found & (found.signed_mm < 0.0)]
        places = [one.place_mm for one in tooth.contacts if one.gap_um < 0.0]
        assert bool(len(inside)) == bool(places)
        for point in inside:
            assert min(np.linalg.norm(point - place) for place in places) < 0.8


def test_a_plane_parts_the_distal_neighbour_from_the_crown(teeth, outside):
    """So the least gap is the one between the two outermost places: 10 µm."""
    gap_mm = outside[:, 0].min() - teeth[1].mesh.vertices[:, 0].max()
    assert gap_mm == pytest.approx(0.010, abs=0.004)  # neither has a point at its summit
    assert teeth[1].contacts[0].place_mm[0] <= outside[:, 0].min() + 1e-9


def test_the_outermost_place_is_level():
    """There both tangents lie across the direction."""
    side = np.array([1.0, 0.0, 0.0])
    place = outermost(DISTAL_TOOTH, side)
    theta, s = np.meshgrid(np.linspace(-1.0, 1.0, 301), np.linspace(1.0, 9.0, 301))
    assert place[0] >= DISTAL_TOOTH.points(theta, s)[..., 0].max()
    assert place[0] == pytest.approx(DISTAL_TOOTH.points(theta, s)[..., 0].max(), abs=5e-4)

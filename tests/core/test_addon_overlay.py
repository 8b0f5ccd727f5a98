"""The areas overlay without Blender: which piece shows which area, colours, the key."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from cuspwise.addon.drawing.legend_layout import LegendLayout
from cuspwise.addon.drawing.overlay_key import ELLIPSIS, MOST_WIDE, TITLE, KeyEntry, lay_out_key
from cuspwise.addon.drawing.overlay_parts import (
    AREA_COLOURS,
    BLACK,
    BROWN,
    COLOURS,
    SUPPORT_COLOUR,
    WHITE,
    Patches,
    area_patches,
    colours_of,
    draw_order,
)
from cuspwise.standalone_core.areas.area_set import AREA_NAMES


def grid(count: int = 10) -> tuple[np.ndarray, np.ndarray]:
    """A square of side 1 in squares cut in two, looking up."""
    across = np.linspace(0.0, 1.0, count + 1)
    x, y = (part.ravel() for part in np.meshgrid(across, across))
    points = np.column_stack([x, y, np.zeros_like(x)]).astype(np.float32)
    k = np.arange(count * count)
    low = k // count * (count + 1) + k % count
    quads = np.column_stack([low, low + 1, low + count + 2, low + count + 1])
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32)
    return points, faces


def sizes(made: Patches) -> dict[str, float]:
    """The surface that shows each area."""
    found = {}
    for patch in made.patches:
        a, b, c = (made.points[patch.triangles[:, k]].astype(float) for k in range(3))
        normals = np.cross(b - a, c - a)
        assert (normals[:, 2] > 0.0).all()  # all look where the surface looked
        found[patch.area] = float(0.5 * normals[:, 2].sum())
    return found


def test_an_area_ends_half_way_to_the_next_vertex() -> None:
    """Vertices up to x = 0.5 lie in it, the next ones at 0.6 do not: it ends at 0.55."""
    points, faces = grid()
    left = np.flatnonzero(points[:, 0] < 0.51)
    made = area_patches(
        points, faces, {"occlusal": left, "axial": np.flatnonzero(points[:, 0] > 0.51)}
    )
    found = sizes(made)
    assert found["occlusal"] == pytest.approx(0.55, abs=1e-6)
    assert found["axial"] == pytest.approx(0.45, abs=1e-6)
    patch = next(p for p in made.patches if p.area == "occlusal")
    assert made.points[patch.triangles, 0].max() == pytest.approx(0.55, abs=1e-6)


def test_the_uppermost_area_is_seen_and_nothing_is_drawn_twice() -> None:
    points, faces = grid()
    x, y = points[:, 0], points[:, 1]
    groups = {
        "external": np.arange(len(points)),
        "occlusal": np.flatnonzero(x < 0.51),
        "fossae": np.flatnonzero((x < 0.21) & (y < 0.21)),
        "margin": np.flatnonzero(y > 0.81),
        "mine": np.flatnonzero((x > 0.71) & (y > 0.71)),
        "support: 1": np.flatnonzero((x > 0.91) & (y > 0.91)),
    }
    made = area_patches(points, faces, groups)
    assert [patch.area for patch in made.patches] == [
        "external", "occlusal", "fossae", "margin", "mine", "support: 1",
    ]  # fmt: skip
    assert sum(sizes(made).values()) == pytest.approx(1.0, abs=1e-6)
    assert sizes(made)["fossae"] == pytest.approx(0.25**2 - 0.5 * 0.1**2 / 4, abs=0.002)
    # Hidden, an area shows what lies below it.
    below = sizes(area_patches(points, faces, groups, ["mine", "support: 1", "margin"]))
    assert set(below) == {"external", "occlusal", "fossae"}
    assert sum(below.values()) == pytest.approx(1.0, abs=1e-6)
    assert below["occlusal"] > sizes(made)["occlusal"]


def test_what_lies_in_no_area_stays_bare() -> None:
    points, faces = grid()
    some = {"occlusal": np.flatnonzero(points[:, 0] < 0.31), "margin": np.zeros(0, dtype=np.int64)}
    found = sizes(area_patches(points, faces, some))
    assert found == {"occlusal": pytest.approx(0.35, abs=1e-6)}
    assert area_patches(points, faces, {}).patches == ()
    nothing = np.zeros((0, 3), dtype=np.float32), np.zeros((0, 3), dtype=np.int32)
    assert area_patches(*nothing, {"mine": np.zeros(0, dtype=np.int64)}).patches == ()


def test_three_areas_at_one_triangle() -> None:
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]], dtype=np.float32)
    made = area_patches(
        points,
        np.array([[0, 1, 2]], dtype=np.int32),
        {"axial": np.array([0]), "occlusal": np.array([1]), "margin": np.array([2])},
    )
    assert sizes(made) == pytest.approx({"axial": 0.125, "occlusal": 0.125, "margin": 0.25})


def test_tells_which_way_the_surface_looks() -> None:
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=np.float32) + 40.0
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]], dtype=np.int32)
    assert area_patches(points, faces, {}).outward
    assert not area_patches(points, faces[:, ::-1], {}).outward


# Colours --------------------------------------------------------------------------------------


def test_every_automatic_area_has_a_colour_of_its_own() -> None:
    assert set(AREA_COLOURS) == set(AREA_NAMES) - {"whole"}
    taken = [*AREA_COLOURS.values(), SUPPORT_COLOUR]
    assert len(set(taken)) == len(taken)


def test_colours_are_those_published() -> None:
    """Red, green and blue as in the table of Okabe and Ito's page (from memory)."""
    table = {
        (230, 159, 0), (86, 180, 233), (0, 158, 115), (240, 228, 66), (0, 114, 178),
        (213, 94, 0), (204, 121, 167),
    }  # fmt: skip
    assert {tuple(bytes.fromhex(colour[1:])) for colour in COLOURS} == {*table, (255, 255, 255)}
    assert set(AREA_COLOURS.values()) <= {*COLOURS, BROWN}
    assert SUPPORT_COLOUR == BLACK


@pytest.mark.parametrize("kind", ["protanomaly", "deuteranomaly", "tritanomaly"])
def test_areas_that_touch_differ_for_everyone(kind: str) -> None:
    """By CAM02-UCS under the simulation of Machado et al. (2009), both of an independent library.

    10 is several times what one just notices (about 1 by the construction of that space).
    """
    colorspacious = pytest.importorskip("colorspacious")
    vision = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
    taken = [*AREA_COLOURS.values(), SUPPORT_COLOUR, WHITE]
    rgb = np.array([tuple(bytes.fromhex(colour[1:])) for colour in taken]) / 255.0
    seen = np.clip(colorspacious.cspace_convert(rgb, vision, "sRGB1"), 0.0, 1.0)
    places = colorspacious.cspace_convert(seen, "sRGB1", "CAM02-UCS")
    apart = {
        (taken[i], taken[j]): float(np.linalg.norm(places[i] - places[j]))
        for i, j in combinations(range(len(taken)), 2)
    }
    assert min(apart.values()) > 10.0, min(apart, key=lambda pair: apart[pair])


def test_own_areas_take_free_colours_first() -> None:
    order = draw_order(["mine", "occlusal", "axial", "yours", "support: a", "sprue: b"])
    assert order == ["axial", "occlusal", "mine", "yours", "support: a", "sprue: b"]
    found = colours_of(order)
    assert len({found[name] for name in order[:4]}) == 4
    assert found["support: a"] == found["sprue: b"] == SUPPORT_COLOUR
    many = colours_of([f"own {k}" for k in range(20)])
    assert set(many.values()) == set(COLOURS)


# Key ------------------------------------------------------------------------------------------


def key(count: int = 7, height: float = 600.0, scale: float = 1.0, note: str = "") -> LegendLayout:
    names = ["occlusal", "axial walls", "ä" * 60, "margin line"] * 10
    marks = ["patch", "patch", "ring", "line"] * 10
    entries = [KeyEntry(n, "#0072b2", m) for n, m in zip(names[:count], marks, strict=False)]
    return lay_out_key(
        entries,
        left=40.0,
        bottom=20.0,
        height=height,
        scale=scale,
        width_of=lambda text, size: 0.6 * size * len(text),
        note=note,
    )


@pytest.mark.parametrize("scale", [1.0, 1.5, 2.0])
@pytest.mark.parametrize("count", [1, 7, 40])
def test_the_key_lies_on_its_ground_and_in_the_view(count: int, scale: float) -> None:
    made = key(count, scale=scale, note="A remark")
    ground, *others = made.boxes
    assert ground.left >= 40.0
    assert ground.right - ground.left <= MOST_WIDE * scale + 1e-6
    assert 20.0 <= ground.bottom < ground.top <= 620.0
    for box in others:
        assert ground.left < box.left < box.right < ground.right
        assert ground.bottom < box.bottom < box.top < ground.top
    for words in made.words:
        assert ground.left < words.left
        assert words.left + 0.6 * words.size * len(words.text) < ground.right
        assert ground.bottom < words.baseline < words.baseline + words.size < ground.top
    lines = sorted(words.baseline for words in made.words)
    assert all(other - one >= 11.0 * scale for one, other in pairwise(lines))
    said = [words.text for words in made.words]
    assert TITLE in said
    assert "A remark" in said


def test_what_the_view_is_too_small_for_is_counted() -> None:
    said = [words.text for words in key(40, height=200.0).words]
    more = next(text for text in said if text.startswith("and "))
    assert int(more.split()[1]) + len(said) - 2 == 40
    assert key(height=60.0) == LegendLayout()
    assert key(0) == LegendLayout()


def test_long_names_are_cut() -> None:
    assert any(words.text.endswith(f"ä{ELLIPSIS}") for words in key().words)

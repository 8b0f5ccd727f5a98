"""Reading and writing in steps: the same as at once, wherever a step ends."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest


@pytest.mark.parametrize("with_square", [False, True])
def test_triangles_are_those_that_blender_shows(crown: SimpleNamespace, with_square: bool) -> None:
    mesh = crown.design.data
    if with_square:
        square = [(0.0, 0.0, 9.0), (1.0, 0.0, 9.0), (1.0, 1.0, 9.0), (0.0, 1.0, 9.0)]
        mesh = crown.bpy.data.meshes.new("square")
        mesh.from_pydata(square, [], [(0, 1, 2, 3)])
    mesh.calc_loop_triangles()
    shown = [tuple(triangle.vertices) for triangle in mesh.loop_triangles]
    assert [
        tuple(row) for row in crown.part("addon.blender.bridge").triangles_of(mesh).tolist()
    ] == shown


def test_groups_in_steps_are_whole(crown: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ends of steps inside, at the ends, and beyond them; written anew over what was there."""
    area_groups = crown.part("addon.areas.area_groups")
    count = len(crown.design.data.vertices)
    monkeypatch.setattr(area_groups, "READ_AT_ONCE", count // 3)
    monkeypatch.setattr(area_groups, "WRITTEN_AT_ONCE", count // 7)
    rng = np.random.default_rng(11)
    for size in (count, 0, 1, count // 7, count // 2):
        chosen = np.sort(rng.choice(count, size, replace=False))
        steps = area_groups.write_group_steps(crown.design, "Area: sprue", chosen)
        assert len(list(steps)) >= size * 7 // count
        found = area_groups.read_groups(crown.design)["sprue"]
        assert np.array_equal(found, chosen)


def test_areas_that_stay_the_same_are_not_written(
    checked: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """But one that was deleted is there again."""
    area_groups = checked.part("addon.areas.area_groups")
    before = area_groups.read_groups(checked.design)
    checked.design.vertex_groups.remove(checked.design.vertex_groups["Area: occlusal"])
    written, write = [], area_groups.write_group_steps

    def noting(design: object, name: str, vertices: np.ndarray) -> object:
        written.append(name)
        return write(design, name, vertices)

    monkeypatch.setattr(area_groups, "write_group_steps", noting)
    assert checked.bpy.ops.cuspwise.find_areas() == {"FINISHED"}
    assert written == ["Area: occlusal"]
    after = area_groups.read_groups(checked.design)
    assert after.keys() == before.keys()
    for name, vertices in after.items():
        assert np.array_equal(vertices, before[name]), name

"""What cannot be seated is refused in the words of objects, panels and fields."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call

OF_FILES = re.compile(r"\b(files?|export(ed)?|arguments?)\b|\b[a-z]+_[a-z_]+\b", re.I)


def remade(case: SimpleNamespace, obj: Any, vertices: Any, faces: Any) -> None:
    """Give an object another surface."""
    obj.data = case.part("addon.blender.bridge").new_mesh("Remade", np.array(vertices), faces)
    case.bpy.context.view_layer.update()


def kept_faces(case: SimpleNamespace, obj: Any, keep: Any) -> None:
    """Leave of an object's surface only some faces."""
    bridge = case.part("addon.blender.bridge")
    points, faces = bridge.positions(obj.data), bridge.triangles_of(obj.data)
    remade(case, obj, points, faces[keep(points[faces].mean(axis=1))])


def is_itself(case: SimpleNamespace) -> None:
    case.fit.die = case.design


def is_tiny(case: SimpleNamespace) -> None:
    case.die.scale = (0.001,) * 3


def is_huge(case: SimpleNamespace) -> None:
    case.die.scale = (30.0,) * 3


def is_a_square(case: SimpleNamespace) -> None:
    corners = [[-9.0, -9, 0], [9, -9, 0], [9, 9, 0], [-9, 9, 0]]
    remade(case, case.die, corners, np.array([[0, 1, 2], [0, 2, 3]]))


def has_no_inside(case: SimpleNamespace) -> None:
    kept_faces(case, case.design, lambda middles: middles[:, 2] > np.median(middles[:, 2]))


def is_hardly_meant(case: SimpleNamespace) -> None:
    case.fit.marginal_limit_um = 0.12


def is_seated_already(case: SimpleNamespace) -> None:
    case.fit.seated = case.design


CASES = (
    *(is_itself, is_tiny, is_huge, is_a_square, has_no_inside, is_hardly_meant),
    is_seated_already,
)


@pytest.mark.parametrize("wrong", CASES)
def test_it_is_refused_in_blenders_words(unseated: SimpleNamespace, wrong: Any) -> None:
    refuse(unseated, wrong)


@pytest.mark.parametrize("wrong", [is_huge, is_a_square])
def test_so_is_a_die_that_the_design_is_said_to_lie_on(
    unseated: SimpleNamespace, wrong: Any
) -> None:
    unseated.fit.lies_on_die = True
    refuse(unseated, wrong)


def refuse(case: SimpleNamespace, wrong: Any) -> None:
    """Make something wrong; see how it is refused, and that nothing is kept."""
    wrong(case)
    case.bpy.context.view_layer.update()
    with pytest.raises(RuntimeError) as refused:
        call(case, "seat_crown")
    said = str(refused.value).partition("Error: ")[2]
    assert said.count(". ") >= 1
    assert not OF_FILES.search(said)
    assert not case.design.cuspwise.fit.text

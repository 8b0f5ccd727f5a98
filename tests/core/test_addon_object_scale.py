"""Which scales of a scan's object leave nothing to decide, in words."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.addon.check.object_scale import same_stretch, scale_doubt
from scipy.spatial.transform import Rotation


def pose(scale: object = 1.0, turn: tuple[float, ...] = (0.4, -1.0, 2.0)) -> np.ndarray:
    """A matrix as an object has it, in single precision."""
    made = np.eye(4)
    made[:3, :3] = Rotation.from_rotvec(turn).as_matrix() @ np.diag(np.broadcast_to(scale, 3))
    made[:3, 3] = 3.0, -40.0, 7.0
    return made.astype(np.float32).astype(np.float64)


@pytest.mark.parametrize("scale", [1.0, 0.001, 25.4, (-1.0, 1.0, 1.0), (-2.0, -2.0, -2.0)])
def test_the_same_scale_is_no_doubt_whatever_the_turn(scale: object) -> None:
    assert scale_doubt(pose(scale), pose(scale, (1.0, 0.2, -0.7))) == ""
    assert same_stretch(pose(scale), pose(scale, (0.0, 0.0, 0.0))) or np.ndim(scale)


def test_rounding_is_no_scale_and_a_ten_thousandth_is_one() -> None:
    assert scale_doubt(pose(1.00001), pose()) == ""
    assert "0.01 % too large" in scale_doubt(pose(1.0001), pose())


@pytest.mark.parametrize(
    ("scan", "design", "words"),
    [
        (
            1.01,
            1.0,
            "another scale than the design's (1.01 against 1), so that it was measured 1 %",
        ),
        (1.0, 1.01, "0.99 % too small"),
        (25.4, 1.0, "25.4 times too large"),
        (0.001, 1.0, "1000 times too small"),
        ((1.0, 1.0, 1.02), 1.0, "The scan's object is scaled unevenly (1 × 1 × 1.02)"),
        (1.0, (1.0, 1.03, 1.0), "The design's object is scaled unevenly (1 × 1.03 × 1)"),
        ((1.0, 1.0, 1.02), (1.0, 1.0, 1.02), "scaled unevenly"),  # along other axes of the crown
        ((1.0, -1.0, 1.0), 1.0, "The scan's object is mirrored by a negative scale"),
        (1.0, (1.0, -1.0, 1.0), "The design's object is mirrored by a negative scale"),
    ],
)
def test_another_scale_is_said_with_the_remedy(scan: object, design: object, words: str) -> None:
    said = scale_doubt(pose(scan), pose(design))
    assert words in said
    assert said.endswith("Then check again.")
    assert "Ctrl A" in said


def test_shear_is_said() -> None:
    sheared = pose()
    sheared[:3, 0] += 0.01 * sheared[:3, 1]
    assert "The scan's object is sheared" in scale_doubt(sheared, pose())
    assert not same_stretch(sheared, pose())


def test_a_move_keeps_the_stretch_and_a_scale_does_not() -> None:
    assert same_stretch(pose(), pose(1.0, (0.0, 2.0, 1.0)))
    assert not same_stretch(pose(1.0001), pose())
    assert not same_stretch(pose((-1.0, 1.0, 1.0)), pose())

"""Rigid motions between paired points."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SuperimpositionError
from cuspwise.standalone_core.superimpose.point_pairs import fit_point_pairs
from made.scaled_fit import with_scale
from scipy.spatial.transform import Rotation


def random_pairs(seed: int, count: int = 12, noise: float = 0.05):
    rng = np.random.default_rng(seed)
    source = rng.normal(size=(count, 3)) * [5.0, 4.0, 3.0]
    turn = Rotation.random(random_state=rng).as_matrix()
    target = source @ turn.T + [3.0, -20.0, 7.0] + rng.normal(size=source.shape) * noise
    return source, target, rng.uniform(0.2, 2.0, count)


def test_worked_example_of_umeyama_1991():
    """Umeyama, IEEE PAMI 13:376 (1991), section III: the optimum would be a reflection."""
    source = [[0.0, 0.0], [1.0, 0.0], [0.0, 2.0]]
    target = [[0.0, 0.0], [-1.0, 0.0], [0.0, 2.0]]
    fit = fit_point_pairs(source, target)
    scaled = with_scale(fit, source, target)
    np.testing.assert_allclose(fit.rotation, [[0.832, 0.555], [-0.555, 0.832]], atol=5e-4)
    np.testing.assert_allclose(scaled.scale, 0.721, atol=5e-4)
    np.testing.assert_allclose(scaled.T_target_source[:2, 2], [-0.8, 0.4], atol=5e-4)
    # mean squared error recomputed from the published motion: 8/15
    assert scaled.rms_mm**2 == pytest.approx(8.0 / 15.0, abs=1e-12)
    assert fit.mirrored


@pytest.mark.parametrize("seed", range(5))
def test_agrees_with_scipy_align_vectors(seed):
    source, target, weights = random_pairs(seed)
    fit = fit_point_pairs(source, target, weights=weights)
    share = weights / weights.sum()
    x0, y0 = source - share @ source, target - share @ target
    reference, root_sum = Rotation.align_vectors(y0, x0, weights=weights)
    np.testing.assert_allclose(fit.rotation, reference.as_matrix(), atol=1e-12)
    assert fit.rms_mm == pytest.approx(root_sum / np.sqrt(weights.sum()), rel=1e-12)
    assert not fit.mirrored


def test_weights_let_one_pair_count_as_two():
    source, target, _ = random_pairs(9)
    weights = np.ones(len(source))
    weights[3] = 2.0
    twice = fit_point_pairs(np.vstack([source, source[3]]), np.vstack([target, target[3]]))
    once = fit_point_pairs(source, target, weights=weights)
    np.testing.assert_allclose(once.T_target_source, twice.T_target_source, atol=1e-12)


def test_a_reflection_never_comes_back_as_a_rotation():
    source, _, _ = random_pairs(2, noise=0.0)
    fit = fit_point_pairs(source, source * [-1.0, 1.0, 1.0])
    assert np.linalg.det(fit.rotation) == pytest.approx(1.0, abs=1e-12)
    np.testing.assert_allclose(fit.rotation @ fit.rotation.T, np.eye(3), atol=1e-12)
    assert fit.mirrored
    assert fit.rms_mm > 1.0


def test_a_scale_is_left_out_of_the_motion():
    source, _, _ = random_pairs(4)
    turn = Rotation.from_rotvec([0.3, -0.2, 0.9]).as_matrix()
    target = 1.25 * source @ turn.T + [1.0, 2.0, 3.0]
    rigid = fit_point_pairs(source, target)
    assert with_scale(rigid, source, target).scale == pytest.approx(1.25, rel=1e-12)
    np.testing.assert_allclose(rigid.rotation, turn, atol=1e-12)
    spread = np.sqrt(((source - source.mean(axis=0)) ** 2).sum(axis=1).mean())
    assert rigid.rms_mm == pytest.approx(0.25 * spread, rel=1e-12)


def test_three_points_in_a_plane_are_enough():
    source = np.array([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 3.0, 0.0]])
    turn = Rotation.from_rotvec([2.0, 1.0, -0.5]).as_matrix()
    fit = fit_point_pairs(source, source @ turn.T - 8.0)
    np.testing.assert_allclose(fit.rotation, turn, atol=1e-12)
    assert fit.rms_mm < 1e-12
    assert not fit.mirrored


@pytest.mark.parametrize(
    ("source", "reason"),
    [
        (np.arange(9.0).reshape(3, 3), "one line"),
        (np.ones((4, 3)), "one spot"),
        (np.eye(3)[:2], "2 pairs"),
        (np.full((3, 3), np.nan), "not finite"),
        (np.ones((3, 4)), "shapes"),
    ],
)
def test_pairs_that_leave_the_motion_open_are_refused(source, reason):
    with pytest.raises(SuperimpositionError, match=reason):
        fit_point_pairs(source, source)


def test_weights_are_checked():
    points = np.eye(3)
    with pytest.raises(SuperimpositionError, match="negative"):
        fit_point_pairs(points, points, weights=[1.0, -1.0, 1.0])
    with pytest.raises(SuperimpositionError, match="shape"):
        fit_point_pairs(points, points, weights=[1.0])

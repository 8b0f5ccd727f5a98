"""What causes are weighed with, against statsmodels, published weights and a loop of our own."""

from __future__ import annotations

import warnings
from itertools import product

import numpy as np
import pytest
import statsmodels.api as sm
from cuspwise.standalone_core.causes.covariance import (
    LEAST_SIGMA_MM,
    Covariance,
    Sites,
    correlation,
    find_covariance,
    gaussian,
    matern,
    restricted_cost,
)
from cuspwise.standalone_core.causes.evidence import weigh
from cuspwise.standalone_core.causes.model import EXCLUDED, RIGID, Member, Model
from cuspwise.standalone_core.causes.sizes import fitted
from scipy.linalg import block_diag
from scipy.spatial.distance import cdist
from statsmodels.regression.mixed_linear_model import MixedLMParams

CELLS = 90
SIGMA_MM = 1e-3


def sites(count: int = CELLS) -> Sites:
    rng = np.random.default_rng(1)
    points = rng.uniform(0.0, 6.0, (count, 3))
    inside = np.arange(count) % 3 == 0
    return Sites(
        cdist(points, points), inside[:, None] != inside, rng.integers(20, 90, count) * 1.0
    )


def covariance_of(place: Sites, kernel=matern, rho: float = 0.4) -> Covariance:
    matrix = correlation(place, kernel, 1.3, 0.2, rho)
    return Covariance(kernel, 1.3, 0.2, rho, np.linalg.cholesky(matrix), 0.0, SIGMA_MM)


def small_model(*, searched: int = 0) -> Model:
    rng = np.random.default_rng(2)

    def columns(width: int) -> np.ndarray:
        return 1e-3 * rng.normal(size=(CELLS, width))

    members = (
        Member("scale", "scale", columns(1)),
        Member("scale_per_direction", "scale", columns(6)),
        Member("growth_outside", "growth", columns(1)),
        Member("leaning_margin", "margin", columns(2), searched),
        Member("oval_margin", "margin", columns(2), searched),
    )
    return Model(columns(RIGID), members)


def values_of(model: Model) -> np.ndarray:
    noise = covariance_of(sites()).factor @ np.random.default_rng(3).normal(size=CELLS)
    return model.columns @ np.linspace(-0.5, 1.5, model.columns.shape[1]) + 1e-3 * noise


@pytest.mark.parametrize("kernel", [gaussian, matern])
def test_sizes_are_those_of_generalised_least_squares(kernel):
    """Coefficients and their covariance of ``GLS`` with the covariance given."""
    model, place = small_model(), sites()
    values, covariance = values_of(model), covariance_of(place, kernel)
    members = [1, 2, 4]
    columns = np.concatenate([model.blocks[member] for member in members])
    both = np.concatenate([np.arange(RIGID), columns])
    theirs = sm.GLS(values, model.columns[:, both], sigma=correlation(place, kernel, 1.3, 0.2, 0.4))
    expected = theirs.fit()
    ours = fitted(weigh(model, values, covariance), members, values)
    np.testing.assert_array_equal(ours.columns, columns)
    np.testing.assert_allclose(ours.rigid, expected.params[:RIGID], rtol=1e-8)
    np.testing.assert_allclose(ours.sizes, expected.params[RIGID:], rtol=1e-8)


def test_covariances_of_sizes_are_those_of_generalised_least_squares():
    """Of the set with all members; σ² is the covariance's own, where theirs is what is left."""
    kept = small_model()
    model = Model(kept.rigid, tuple(kept.members[k] for k in (0, 2, 3, 4)))
    values, place = values_of(model), sites()
    evidence = weigh(model, values, covariance_of(place))
    (everything,) = np.flatnonzero(model.subsets.all(axis=1))
    matrix = correlation(place, matern, 1.3, 0.2, 0.4)
    expected = sm.GLS(values, model.columns, sigma=matrix).fit()
    covariance = SIGMA_MM**2 / expected.scale * expected.cov_params()[RIGID:, RIGID:]
    np.testing.assert_allclose(evidence.spreads[everything], covariance, rtol=1e-7, atol=1e-12)
    np.testing.assert_allclose(evidence.sizes[everything], expected.params[RIGID:], rtol=1e-7)


def test_restricted_likelihood_is_that_of_a_mixed_model_but_for_a_constant():
    """A random intercept is a covariance of blocks: I + κ 11ᵀ. Against ``MixedLM``.

    Both at their best σ²; what differs is the same for every κ, and ½ log|XᵀX|, which both leave
    to that constant.
    """
    rng = np.random.default_rng(5)
    groups = np.repeat(np.arange(12), 7)
    design = np.column_stack([np.ones(len(groups)), rng.normal(size=(len(groups), 2))])
    shift = rng.normal(0.0, 1.2, 12)[groups]
    values = design @ [1.0, 2.0, -0.5] + shift + rng.normal(size=len(groups))
    theirs = sm.MixedLM(values, design, groups)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of an optimiser that starts again
        best = theirs.fit(reml=True)

    def cost(ratio: float) -> float:
        matrix = np.eye(len(groups)) + ratio * block_diag(*[np.ones((7, 7))] * 12)
        return restricted_cost(np.linalg.cholesky(matrix), design, values)

    ours, expected = [], []
    for ratio in (0.05, 0.4, 1.0, 2.5, 9.0):
        parameters = MixedLMParams.from_components(
            fe_params=np.zeros(3), cov_re=np.array([[ratio]])
        )
        ours.append(-cost(ratio))
        expected.append(theirs.loglike(parameters, profile_fe=True))
    np.testing.assert_allclose(np.diff(ours), np.diff(expected), rtol=1e-9)
    ratio = float(best.cov_re[0, 0] / best.scale)
    assert cost(ratio) < min(cost(0.98 * ratio), cost(1.02 * ratio))


def test_the_covariance_is_found_again():
    """Length, nugget and correlation across the wall, of data made with them; a factor of 1.5."""
    place = sites(400)
    true = correlation(place, gaussian, 1.1, 0.3, 0.8)
    rng = np.random.default_rng(8)
    design = rng.normal(size=(400, 4))
    found = []
    for _ in range(3):
        values = 4e-3 * (np.linalg.cholesky(true) @ rng.normal(size=400))
        found.append(find_covariance(place, design, values, gaussian))
    assert np.mean([one.length_mm for one in found]) == pytest.approx(1.1, rel=0.2)
    assert np.exp(np.mean(np.log([one.nugget for one in found]))) == pytest.approx(0.3, rel=0.5)
    assert np.mean([one.rho for one in found]) == pytest.approx(0.8, abs=0.15)


def test_values_that_fit_exactly_divide_nothing_by_zero():
    place = sites()
    design = np.random.default_rng(1).normal(size=(CELLS, 3))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for values in (np.zeros(CELLS), design @ [1.0, 2.0, 3.0]):
            found = find_covariance(place, design, values, matern)
            assert np.isfinite(found.cost)
            assert found.sigma_mm == LEAST_SIGMA_MM
        evidence = weigh(small_model(), np.zeros(CELLS), found)
    assert evidence.weights[0] == evidence.weights.max()


def brute_force(model: Model, values: np.ndarray, covariance: Covariance) -> dict:
    """Weights by sets of causes, each fitted by itself: Raftery 1995, exp(−½ΔBIC), σ² known."""
    whiten = np.linalg.inv(covariance.factor)
    columns, target = whiten @ model.columns, whiten @ values

    def chi_square(chosen: list[int]) -> float:
        block = [columns[:, model.blocks[place]] for place in chosen]
        x = np.column_stack([columns[:, :RIGID], *block])
        return float(np.sum((target - x @ np.linalg.lstsq(x, target, rcond=None)[0]) ** 2))

    scores = {}
    for held in product((False, True), repeat=len(model.members)):
        chosen = [k for k, holds in enumerate(held) if holds]
        names = {model.members[k].cause for k in chosen}
        if any({one, other} <= names for one, other in EXCLUDED):
            continue
        free = sum(model.members[k].columns.shape[1] for k in chosen)
        # What members of one family share is searched once.
        free += max((model.members[k].searched for k in chosen), default=0)
        scores[held] = chi_square(chosen) / SIGMA_MM**2 + free * np.log(CELLS)
    least = min(scores.values())
    total = sum(np.exp(-0.5 * (score - least)) for score in scores.values())
    return {held: np.exp(-0.5 * (score - least)) / total for held, score in scores.items()}


@pytest.mark.parametrize("searched", [0, 1])
def test_weights_are_those_of_a_loop_over_all_sets(searched):
    model = small_model(searched=searched)
    rng = np.random.default_rng(4)
    covariance = covariance_of(sites())
    noise = covariance.factor @ rng.uniform(-1.7, 1.7, CELLS)  # nothing to be clipped
    sizes = np.zeros(model.columns.shape[1])
    sizes[model.blocks[2]] = 0.22
    values = model.columns @ sizes + 1e-3 * noise
    expected = brute_force(model, values, covariance)
    evidence = weigh(model, values, covariance)
    assert len(expected) == len(evidence.weights)
    ours = {tuple(row): w for row, w in zip(model.subsets.tolist(), evidence.weights, strict=True)}
    for held, weight in expected.items():
        assert ours[held] == pytest.approx(weight, rel=1e-6, abs=1e-12)
    assert 0.02 < evidence.probability[2] < 0.98  # the data leave it open: all sets count
    some = [place for place, one in enumerate(model.members) if one.family == "margin"]
    of_any = sum(weight for held, weight in expected.items() if any(held[k] for k in some))
    assert evidence.of_any(np.array(some)) == pytest.approx(of_any, rel=1e-6)


def test_sizes_are_averaged_over_the_sets_that_hold_them():
    """Mean and variance over models: Σ w (V + b²) − b̄² (Buckland et al. 1997; from memory)."""
    model = small_model()
    evidence = weigh(model, values_of(model), covariance_of(sites()))
    holds = model.subsets[:, 2]
    place = model.blocks[2][0] - RIGID
    weights = evidence.weights[holds] / evidence.weights[holds].sum()
    b, v = evidence.sizes[holds, place], evidence.spreads[holds, place, place]
    mean, spread = evidence.sizes_of([2])
    assert mean[0] == pytest.approx(weights @ b)
    assert spread[0, 0] == pytest.approx(weights @ (v + b**2) - (weights @ b) ** 2)


def test_sizes_without_other_members_are_those_of_a_model_that_has_none_of_them():
    model = small_model()
    noise = 1e-3 * np.random.default_rng(4).uniform(-1.7, 1.7, CELLS)  # nothing to be clipped
    values = 0.3 * model.members[2].columns[:, 0] + covariance_of(sites()).factor @ noise
    evidence = weigh(model, values, covariance_of(sites()))
    only = Model(model.rigid, model.members[2:])
    alone = weigh(only, values, evidence.covariance)
    for ours, expected in zip(evidence.sizes_of([2], [0, 1]), alone.sizes_of([0]), strict=True):
        np.testing.assert_allclose(ours, expected, rtol=1e-9)


def test_bic_weights_of_a_published_table():
    """ΔBIC of 2, 6 and 10 are odds of 2.7, 20 and 150: "weak", "positive", "strong", "very strong".

    Raftery 1995, Sociological Methodology 25, table 6 (from memory): posterior probabilities of
    75, 95 and 99 %. Orthogonal columns make χ² what they are told to.
    """
    n = 100
    basis = np.linalg.qr(np.random.default_rng(6).normal(size=(n, RIGID + 2)))[0]
    model = Model(basis[:, :RIGID], (Member("scale", "scale", basis[:, [RIGID]]),))
    plain = Covariance(matern, 1.0, 0.0, 0.0, np.eye(n), 0.0, 1.0)
    for difference, least, published in ((2.0, 0.73, 0.75), (6.0, 0.95, 0.95), (10.0, 0.99, 0.99)):
        size = np.sqrt(difference + np.log(n))  # χ² falls by size² and log n is paid
        rest = np.sqrt(n - RIGID - 1) * basis[:, RIGID + 1]  # leaves σ = 1
        evidence = weigh(model, size * basis[:, RIGID] + np.clip(rest, -4, 4), plain)
        probability = float(evidence.probability[0])
        assert probability == pytest.approx(1.0 / (1.0 + np.exp(-difference / 2.0)), abs=1e-3)
        assert least <= probability
        assert probability == pytest.approx(published, abs=0.025)

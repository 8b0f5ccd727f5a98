"""Two groups compared in every customary way, from the same values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .effect_size import CliffDelta, HedgesG, cliff_delta, hedges_g
from .rank_sum import MannWhitney, Shift, hodges_lehmann, mann_whitney
from .samples import as_sample
from .trimmed import TrimmedTest, trimmed_test
from .welch import WelchTest, welch_test


@dataclass(frozen=True)
class TwoGroups:
    """All comparisons of two groups; differences are first minus second.

    Attributes
    ----------
    n_a, n_b, missing_a, missing_b : int
        Measured units; units without a value, left out.
    mean_a, mean_b : float
        NaN of an empty group.
    confidence : float
        Of all intervals.
    welch : WelchTest
        Means.
    trimmed : TrimmedTest
        Trimmed means, by Yuen's test: a fifth cut off at either end.
    mann_whitney : MannWhitney
        Ranks.
    shift : Shift
        Hodges–Lehmann.
    hedges_g : HedgesG
        Difference in standard deviations.
    cliff_delta : CliffDelta
        Difference in overlap.
    """

    n_a: int
    n_b: int
    missing_a: int
    missing_b: int
    mean_a: float
    mean_b: float
    confidence: float
    welch: WelchTest
    trimmed: TrimmedTest
    mann_whitney: MannWhitney
    shift: Shift
    hedges_g: HedgesG
    cliff_delta: CliffDelta


def compare_two(a: ArrayLike, b: ArrayLike, *, confidence: float = 0.95) -> TwoGroups:
    """Compare two groups by means, trimmed means and ranks, with effect sizes.

    Which of the tests leads must be settled before the values are seen. Each part says in its
    own ``reason`` what it could not do.

    Parameters
    ----------
    a, b : (n,) float
        One value per unit; NaN counts as missing.
    confidence : float
        Of all intervals.

    Returns
    -------
    TwoGroups

    Raises
    ------
    SettingError
        An infinite value, or a confidence that is not a share.
    """
    first, second = as_sample(a, "first group"), as_sample(b, "second group")
    x, y = first.values, second.values
    return TwoGroups(
        n_a=first.n,
        n_b=second.n,
        missing_a=first.missing,
        missing_b=second.missing,
        mean_a=float(x.mean()) if len(x) else np.nan,
        mean_b=float(y.mean()) if len(y) else np.nan,
        confidence=confidence,
        welch=welch_test(x, y, confidence=confidence),
        trimmed=trimmed_test(x, y, confidence=confidence),
        mann_whitney=mann_whitney(x, y),
        shift=hodges_lehmann(x, y, confidence=confidence),
        hedges_g=hedges_g(x, y, confidence=confidence),
        cliff_delta=cliff_delta(x, y, confidence=confidence),
    )

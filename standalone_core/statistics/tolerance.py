"""One group against a limit: how many are within it, and what the next one will be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from ..errors import SettingError
from .assumptions import shapiro_wilk
from .reasons import NO_REASON, Reason, because
from .samples import as_sample, check_share

CAVEAT = (
    "Both limits reach into the tail and hold only if the values are normal, which few values "
    "cannot show."
)


@dataclass(frozen=True)
class ShareWithin:
    """How many of a kind are within a limit.

    Attributes
    ----------
    within, n : int
        Counts.
    share : float
        within/n, 0 to 1.
    ci_low, ci_high, confidence : float
        Wilson's interval of the true share.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    within: int
    n: int
    share: float
    ci_low: float
    ci_high: float
    confidence: float
    reason: Reason


@dataclass(frozen=True)
class ToleranceLimit:
    """What the next units will stay below, in the unit of the values.

    Attributes
    ----------
    n : int
        Measured units.
    mean, sd : float
    content, confidence : float
        Share of all units of this kind, and how sure.
    factor, limit : float
        k, and mean + k sd: with ``confidence`` at least ``content`` of all lie below.
    next_limit : float
        The single next unit lies below with probability ``confidence``.
    largest, largest_confidence : float
        Largest value seen, and how sure it is that at least ``content`` of all lie below it,
        whatever the distribution: 1 − contentⁿ.
    normality_p : float
        Shapiro and Wilk's p of the values.
    caveat : str
        What the two limits rest on.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    n: int
    mean: float
    sd: float
    content: float
    confidence: float
    factor: float
    limit: float
    next_limit: float
    largest: float
    largest_confidence: float
    normality_p: float
    caveat: str
    reason: Reason


def wilson(within: int, n: int, *, confidence: float = 0.95) -> ShareWithin:
    """Return a share with Wilson's interval.

    (p̂ + z²/2n ± z √(p̂(1 − p̂)/n + z²/4n²))/(1 + z²/n). Wilson (1927), Journal of the American
    Statistical Association 22: 209–212. It keeps a width at 0 and n of n, and its coverage is
    near that asked for on average, above or below for a single share.

    Parameters
    ----------
    within, n : int
        So many of so many.
    confidence : float

    Returns
    -------
    ShareWithin

    Raises
    ------
    SettingError
        Not 0 ≤ within ≤ n, or a confidence that is not a share.

    Examples
    --------
    >>> result = wilson(10, 10)
    >>> result.share, round(result.ci_low, 4), result.ci_high
    (1.0, 0.7225, 1.0)
    """
    check_share(confidence, "confidence")
    if not 0 <= within <= n:
        raise SettingError(
            f"{within} of {n} is not a count.",
            subject="within",
            remedy="Give how many of n are within: from 0 to n.",
        )
    if n == 0:
        return ShareWithin(0, 0, np.nan, np.nan, np.nan, confidence, because("nothing_measured"))
    z = float(stats.norm.ppf(0.5 + confidence / 2))
    share = within / n
    middle = share + z**2 / (2 * n)
    half = z * (share * (1 - share) / n + z**2 / (4 * n**2)) ** 0.5
    scale = 1 + z**2 / n
    low = 0.0 if within == 0 else (middle - half) / scale
    high = 1.0 if within == n else (middle + half) / scale
    return ShareWithin(within, n, share, low, high, confidence, NO_REASON)


def tolerance_factor(n: int, content: float, confidence: float) -> float:
    """Return k of a one-sided tolerance limit mean + k sd for normal values.

    k = t'(confidence; n − 1, z√n)/√n, t' the quantile of the noncentral t distribution, z the
    normal quantile of ``content``; exact. ISO 16269-6 and NIST/SEMATECH e-Handbook of Statistical
    Methods, section 7.2.6.3.

    Examples
    --------
    >>> round(tolerance_factor(10, 0.95, 0.95), 3)
    2.911
    """
    shift = float(stats.norm.ppf(content)) * n**0.5
    return float(stats.nct.ppf(confidence, n - 1, shift) / n**0.5)


def upper_tolerance_limit(
    values: ArrayLike, *, content: float = 0.95, confidence: float = 0.95
) -> ToleranceLimit:
    """Return below what the next units will stay, from normal values.

    The limit for a share of all units is mean + k sd, k by :func:`tolerance_factor`; for the
    single next unit mean + t(confidence, n − 1) sd √(1 + 1/n), a prediction limit.

    Parameters
    ----------
    values : (n,) float
        One value per unit; NaN counts as missing.
    content : float
        Share of all units that is to lie below.
    confidence : float
        How sure.

    Returns
    -------
    ToleranceLimit

    Raises
    ------
    SettingError
        An infinite value, or a content or confidence that is not a share.
    """
    check_share(content, "content")
    check_share(confidence, "confidence")
    sample = as_sample(values, "values")
    n, x = sample.n, sample.values
    reason = NO_REASON
    if n < 2:
        reason = because("too_few_values", least=2, n=n)
    elif sample.constant:
        reason = because("all_same_next")
    mean = float(x.mean()) if n else np.nan
    sd = np.nan if n < 2 else 0.0 if sample.constant else float(x.std(ddof=1))
    factor = np.nan if reason else tolerance_factor(n, content, confidence)
    ahead = np.nan if reason else float(stats.t.ppf(confidence, n - 1)) * (1 + 1 / n) ** 0.5
    return ToleranceLimit(
        n=n,
        mean=mean,
        sd=sd,
        content=content,
        confidence=confidence,
        factor=factor,
        limit=mean + factor * sd,
        next_limit=mean + ahead * sd,
        largest=float(x.max()) if n else np.nan,
        largest_confidence=1 - content**n if n else np.nan,
        normality_p=shapiro_wilk(x).p,
        caveat=CAVEAT,
        reason=reason,
    )

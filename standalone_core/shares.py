"""Shares in per cent, so written that they stay on their side of a limit."""

from __future__ import annotations

import math

_SMALLEST = 0.001
_MOST_DIGITS = 9
# Rounding of 1000 × 0.9 and the like is no reason to show a tenth less.
_ROUNDING = 1e-9


def share_words(share: float, limit: float | None = None, *, digits: int = 1) -> str:
    """Write a share in per cent, never rounded up; what is not nothing never reads as nothing.

    Parameters
    ----------
    share : float
        From 0 to 1; NaN reads "–".
    limit : float, optional
        What it is compared with, itself written by :func:`limit_words`. As many digits are shown
        as it takes to read on the same side of it.
    digits : int
        The fewest digits after the point.

    Examples
    --------
    >>> share_words(0.89996), share_words(0.89996, 0.8999), share_words(0.0002)
    ('89.9 %', '89.996 %', '< 0.1 %')
    """
    if not math.isfinite(share):
        return "–"
    if 0.0 < share < _SMALLEST and (limit is None or limit >= _SMALLEST):
        return "< 0.1 %"
    for count in range(digits, _MOST_DIGITS):
        shown = _floored(share, count)
        if limit is None or _side(shown, 100.0 * limit) == _side(100.0 * share, 100.0 * limit):
            break
    return f"{shown:.{count}f} %"


def short_share(share: float) -> str:
    """Write a share in per cent without needless zeros: "95 %", never rounded up.

    Examples
    --------
    >>> short_share(0.95), short_share(0.9996), short_share(0.0125)
    ('95 %', '99.9 %', '1.25 %')
    """
    if not math.isfinite(share) or share == 0.0:
        return share_words(share, digits=0)
    before = math.floor(math.log10(100.0 * abs(share)) + _ROUNDING) + 1
    return f"{_floored(share, 3 - before):.6g} %"


def limit_words(limit: float) -> str:
    """Write a limit in per cent, all of it.

    Examples
    --------
    >>> limit_words(0.9), limit_words(0.8995)
    ('90 %', '89.95 %')
    """
    return f"{100.0 * limit:.10g} %"


def _floored(share: float, digits: int) -> float:
    scale = 10.0**digits
    return math.floor(100.0 * share * scale + _ROUNDING) / scale


def _side(value: float, limit: float) -> int:
    away = value - limit
    return 0 if abs(away) <= _ROUNDING else 1 if away > 0 else -1

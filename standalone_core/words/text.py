"""How sentences are put together: capitals, lists of names, counts, numbers with their sign."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

NO_VALUE = "–"


def capital(text: str) -> str:
    """Begin a text with a capital and leave the rest as it is.

    Examples
    --------
    >>> capital("margin, RMS"), capital("(P90−P10)/2")
    ('Margin, RMS', '(P90−P10)/2')
    """
    return text[:1].upper() + text[1:]


def listed(names: Sequence[str], joint: str = "and") -> str:
    """Join names as a sentence lists them.

    Examples
    --------
    >>> listed(["a", "b", "c"]), listed(["a", "b"], "or"), listed(["a"]), listed([])
    ('a, b and c', 'a or b', 'a', '')
    """
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {joint} {names[-1]}"


def some_of(names: Sequence[str], most: int = 5) -> str:
    """Join names as a sentence lists them, but not too many.

    Examples
    --------
    >>> some_of(["a", "b", "c"]), some_of(["a", "b", "c"], most=2)
    ('a, b and c', 'a and 2 more')
    """
    if len(names) <= most:
        return listed(names)
    return f"{', '.join(names[: most - 1])} and {len(names) - most + 1} more"


def count_words(count: int, thing: str) -> str:
    """Write a count of things.

    Examples
    --------
    >>> count_words(1, "crown"), count_words(3, "crown")
    ('1 crown', '3 crowns')
    """
    return f"{count} {plural(thing, count)}"


def plural(thing: str, count: int) -> str:
    """Return a thing's name for so many of them."""
    return thing if count == 1 else f"{thing}s"


def signed_number(value: float, form: str) -> str:
    """Write a number in a format of Python's with a true minus sign.

    Examples
    --------
    >>> signed_number(-1.25, "+.1f"), signed_number(1.25, "+.0f"), signed_number(3.0, ".2f")
    ('−1.2', '+1', '3.00')
    """
    return f"{value:{form}}".replace("-", "−")


def plain_number(value: float, digits: int) -> str:
    """Write a number of so many digits without a power of ten.

    Examples
    --------
    >>> plain_number(46.31, 2), plain_number(1.104e8, 3), plain_number(0.00114, 2)
    ('46', '110,000,000', '0.0011')
    """
    return f"{Decimal(f'{value:.{digits}g}'):,f}"


def micrometres(value: float, *, signed: bool = False, digits: int = 1) -> str:
    """Write µm with a true minus sign; a dash for no number.

    Examples
    --------
    >>> micrometres(-3.21), micrometres(3.21, signed=True), micrometres(float("nan"))
    ('−3.2', '+3.2', '–')
    """
    if not math.isfinite(value):
        return NO_VALUE
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0.0:
        return text
    return f"−{text}" if value < 0.0 else f"+{text}" if signed else text

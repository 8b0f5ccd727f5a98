"""Why a number cannot be had: a code with what the words need; the words themselves, once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

FIRST, SECOND = "the first", "the second"
"""Names of two groups that are given without one."""

WORDS: Mapping[str, str] = MappingProxyType(
    {
        "": "",
        "too_few": "At least {least} measured in each group are needed; {groups}.",
        "too_few_values": "At least {least} values are needed; there are {n}.",
        "too_few_units": "At least {least} units with both values are needed; there are {n}.",
        "too_few_rated": (
            "At least {least} units that are rated again and again are needed; there are {n}."
        ),
        "same_ratings": "The ratings of every unit are all the same, so there is no interval.",
        "too_few_for_interval": (
            "Groups of {first} and {second} are too small for an interval of {percent:g} %."
        ),
        "nothing_measured": "Nothing was measured.",
        "nothing_in_group": "Nothing was measured in this group.",
        "single_value": "A single value shows no spread: no SD and no interval.",
        "no_spread": (
            "Neither group has any spread, so there is nothing to judge a difference by."
        ),
        "no_spread_in_pair": "Neither group has any spread.",
        "no_spread_in": "All values are the same in {groups}.",
        "all_same": "All values are the same.",
        "all_same_groups": "All values are the same, so ranks cannot compare the groups.",
        "all_same_mean": "All values are the same, so there is no interval of the mean.",
        "all_same_interval": "All values are the same, so there is no interval.",
        "all_same_next": "All values are the same, so nothing can be said of the next.",
        "one_all_same": "One of the two is the same for all units.",
        "equally_far_from_median": "Within each group all values lie equally far from the median.",
        "equally_far_from_middle": "All units lie equally far from the middle of their group.",
        "not_scored_by_both": "No unit was scored by both raters.",
        "not_scored_by_two": "No unit was scored by two raters.",
        "single_score_of_both": (
            "Both raters gave every unit the same single score: they agree completely, but "
            "agreement beyond chance is not defined."
        ),
        "single_score_of_all": (
            "Every unit got the same single score: the raters agree completely, but agreement "
            "beyond chance is not defined."
        ),
        "single_unit": "A single unit gives no interval.",
        "no_width": (
            "The scores leave the standard error nothing to be estimated from, so there is no "
            "interval."
        ),
        "single_part": (
            "A single part was measured: how parts differ is not known, and with it the gauge's "
            "share of the SD and of the variance, the number of distinct categories and the "
            "intraclass correlation."
        ),
        "single_operator": "One operator measured: how operators differ is not known.",
        "no_repeats": (
            "Nothing was repeated by the same operator: the repeatability holds what operators "
            "see differently from part to part."
        ),
        "identical_repeats": "All repeats are identical; were they measured independently?",
        "below_zero": "The variance of {name} came out below 0 and was set to 0.",
    }
)
"""The sentence of every code."""


@dataclass(frozen=True)
class Reason:
    """Why a number cannot be had; false where nothing hinders it.

    Attributes
    ----------
    code : str
        A key of :data:`WORDS`; empty: no reason.
    values : tuple of (str, object)
        What the sentence names; ``groups``: names, or (name, measured units).
    """

    code: str = ""
    values: tuple[tuple[str, Any], ...] = ()

    def __bool__(self) -> bool:
        """Whether there is a reason."""
        return bool(self.code)

    def words(self, called: Mapping[str, str] | None = None) -> str:
        """Return the reason as a sentence.

        Parameters
        ----------
        called : mapping of str to str, optional
            What readers call the groups, where that is another name.

        Examples
        --------
        >>> because("too_few", least=2, groups=(("a", 1),)).words({"a": "Milled"})
        'At least 2 measured in each group are needed; Milled has 1.'
        """
        values = {name: _said(value, called or {}) for name, value in self.values}
        return WORDS[self.code].format(**values)

    def __str__(self) -> str:
        """Return the reason as a sentence."""
        return self.words()


NO_REASON = Reason()


def because(code: str, **values: object) -> Reason:
    """Return the reason of a code.

    Examples
    --------
    >>> str(because("too_few_values", least=3, n=2)), bool(NO_REASON)
    ('At least 3 values are needed; there are 2.', False)
    """
    return Reason(code, tuple(values.items()))


def _said(value: object, called: Mapping[str, str]) -> object:
    """Return a value as a sentence takes it: groups as a list, with their counts if given."""
    if not isinstance(value, tuple):
        return value
    pairs = [item if isinstance(item, tuple) else (item, None) for item in value]
    return ", ".join(
        called.get(name, name) + ("" if count is None else f" has {count}") for name, count in pairs
    )

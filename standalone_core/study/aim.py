"""What a study that is being planned is to show, and the spread that it is to show it in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

from ..allowed import Choice, Flag, Number
from ..setting import (
    REQUIRED,
    Rule,
    Setting,
    check_fields,
    declared_in,
    refuse_implausible,
    setting,
)
from .plan import Lead

CAUTIOUS = 0.8
"""How sure it is that the true SD is below the one of the cautious plan."""

_BETWEEN = Number(0, 1, high_open=True)


@dataclass(frozen=True)
class Spread:
    """Standard deviation between the crowns of a group.

    Attributes
    ----------
    group : str
    sd_um : float
    n : int
        Crowns that it is of; 0 if it was only given.
    odd : tuple of str
        Names of the crowns that a pilot found odd.
    without_odd_um : float
        Without them; NaN if there are none or too few others.
    what : str
        Area and measure; empty if not known.
    """

    group: str
    sd_um: float = setting(
        REQUIRED,
        Number(),
        "Standard deviation between crowns, µm.",
        title="SD",
        plausible=(0.05, 1000.0),
    )
    n: int = 0
    odd: tuple[str, ...] = ()
    without_odd_um: float = float("nan")
    what: str = ""

    def __post_init__(self) -> None:
        """Refuse what is no spread."""
        check_fields(self)

    @property
    def upper_sd_um(self) -> float:
        """One-sided upper limit of the true SD, s √((n − 1)/χ²(0.2; n − 1)); NaN without n.

        A pilot's SD is as often too small as too large; planning with this limit reaches the
        power in four of five cases: Browne (1995), Statistics in Medicine 14: 1933–1940.
        """
        if self.n < 2:
            return float("nan")
        from scipy import special

        quantile = float(special.chdtri(self.n - 1, CAUTIOUS))
        return float(self.sd_um * ((self.n - 1) / quantile) ** 0.5)


@dataclass(frozen=True)
class Aim:
    """What the new study is to show, µm.

    Attributes
    ----------
    difference_um : float or None
        A difference that is to be found if it is there.
    equivalence_um : float or None
        An equivalence limit that the groups are to be shown to keep; exactly one of the two is
        given.
    true_difference_um : float
        For equivalence: the difference that may really be there.
    power, alpha : float
    lead : "welch", "ranks" or "trimmed"
        The test that will decide.
    comparisons : int
        How many orders of comparisons share alpha.
    force : bool
        Take numbers that are hardly meant as they are.
    """

    difference_um: float | None = setting(
        None, Number(), "A difference to be found, µm.", plausible=(0.1, 2000.0)
    )
    equivalence_um: float | None = setting(
        None, Number(), "An equivalence limit to be shown to hold, ± µm.", plausible=(0.1, 2000.0)
    )
    true_difference_um: float = setting(
        0.0,
        Number(float("-inf"), low_open=True),
        "For equivalence: the difference that may really be there, µm.",
        plausible=(-2000.0, 2000.0),
    )
    power: float = setting(0.8, _BETWEEN, "Chance of success.")
    alpha: float = setting(0.05, _BETWEEN, "Chance of error.")
    lead: Lead = setting(
        "welch",
        Choice(get_args(Lead)),
        "Which test decides: of means (welch), of ranks, or of trimmed means.",
    )
    comparisons: int = setting(
        1,
        Number(1, 10_000, low_open=False, whole=True),
        "How many orders of comparisons share the chance of error: pairs of groups, and twice as "
        "many if differences and equivalence are both tested.",
    )
    force: bool = setting(False, Flag(), "Take numbers that are hardly meant as they are.")

    def __post_init__(self) -> None:
        """Refuse neither and both."""
        check_fields(self, _RULES)
        if not self.force:
            refuse_implausible(self)

    @property
    def alpha_each(self) -> float:
        """The level of the first of them to be claimed."""
        return self.alpha / self.comparisons

    @property
    def words(self) -> str:
        """The aim in words."""
        sure = f"power {100 * self.power:g} %, α = {self.alpha:g}"
        if self.difference_um is not None:
            return f"to find a difference of {self.difference_um:g} µm ({sure})"
        return (
            f"to show equivalence within ±{self.equivalence_um:g} µm if the true difference is "
            f"{self.true_difference_um:g} µm ({sure})"
        )


def _not_one(aim: Aim) -> str:
    one = (aim.difference_um is None) != (aim.equivalence_um is None)
    return "" if one else "Exactly one aim is needed."


_RULES = (Rule(("plan",), _not_one, "Give a difference to be found, or an equivalence limit."),)


def aim_settings() -> dict[str, Setting]:
    """Return the settings of an aim by name, without the switch that takes any number."""
    return {name: one for name, one in declared_in(Aim).items() if name != "force"}

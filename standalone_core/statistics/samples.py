"""What every function here takes: numbers, one per unit; checked at the door."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray
from ..errors import SettingError
from .reasons import NO_REASON, Reason, because

GroupValues = Mapping[str, ArrayLike]

SAME_WITHIN = 1e-14
"""Values whose range is at most this share of the largest differ by rounding alone."""


@dataclass(frozen=True)
class Sample:
    """The measured values of one group.

    Attributes
    ----------
    values : (n,) float
        Finite values, in the order given.
    missing : int
        Units without a value (NaN), left out.
    """

    values: FloatArray
    missing: int

    @property
    def n(self) -> int:
        """Count of measured units."""
        return len(self.values)

    @property
    def constant(self) -> bool:
        """Whether all values are the same, but for rounding."""
        return self.n > 0 and is_constant(self.values)


def as_sample(values: ArrayLike, subject: str) -> Sample:
    """Return the finite values; NaN stands for a unit that was not measured and is counted.

    Raises
    ------
    SettingError
        Not a row of numbers, or an infinite one among them.
    """
    try:
        row = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise SettingError(
            "It holds something that is not a number.",
            subject=subject,
            remedy="Give one number per unit, or NaN where a unit was not measured.",
        ) from error
    if row.ndim != 1:
        raise SettingError(
            f"It has shape {row.shape}.",
            subject=subject,
            remedy="Give a row of numbers, one per unit.",
        )
    if np.isinf(row).any():
        raise SettingError(
            "It holds an infinite value.",
            subject=subject,
            remedy="Give finite numbers, or NaN where a unit was not measured.",
        )
    measured = row[~np.isnan(row)]
    return Sample(values=measured, missing=len(row) - len(measured))


def as_samples(groups: GroupValues, *, at_least: int = 1) -> dict[str, Sample]:
    """Return the sample of every group, in the order given.

    Raises
    ------
    SettingError
        Fewer groups than ``at_least``, or a group that :func:`as_sample` refuses.
    """
    if len(groups) < at_least:
        raise SettingError(
            f"{len(groups)} groups are too few.",
            subject="groups",
            remedy=f"Give at least {at_least}.",
        )
    return {name: as_sample(values, f"group {name}") for name, values in groups.items()}


def is_constant(values: FloatArray) -> bool:
    """Return whether values (at least one) are the same but for rounding."""
    largest = float(np.abs(values).max())
    return float(values.max() - values.min()) <= SAME_WITHIN * largest


def check_share(value: float, subject: str) -> None:
    """Refuse a confidence, level or power that is not strictly between 0 and 1."""
    if not 0 < value < 1:
        raise SettingError(
            f"{value:g} is not strictly between 0 and 1.",
            subject=subject,
            remedy="Give a share such as 0.95 (confidence), 0.05 (alpha) or 0.8 (power).",
        )


def check_positive(value: float, subject: str) -> None:
    """Refuse what is not a finite number above 0."""
    if not 0 < value < np.inf:
        raise SettingError(
            f"{value:g} is not a finite number above 0.",
            subject=subject,
            remedy="Give a number above 0, in the unit of the values.",
        )


def too_few(samples: Mapping[str, Sample], least: int) -> Reason:
    """Return which groups hold fewer measured units than needed; no reason if none does."""
    short = tuple((name, sample.n) for name, sample in samples.items() if sample.n < least)
    return because("too_few", least=least, groups=short) if short else NO_REASON

"""The enlargement factor to use next: f / (1 + e), e the strain that was found."""

from __future__ import annotations

from ..arrays import FloatArray
from .result import Correction
from .scale_causes import MainDirections, Strain, strain_across
from .settings import ProductionFacts
from .sizes import NORMAL_95

LEAST_FACTOR, MOST_FACTOR = 1.0, 1.5
"""Factors that somebody would mean: shrinkage by up to a third. Common practice, no source."""

_PER_MILLE = 1e-3


def factor_question(facts: ProductionFacts) -> str:
    """Question a factor that is hardly meant; empty for one that may be, or none."""
    for factor in (facts.enlargement, facts.enlargement_along_build):
        if factor is None or LEAST_FACTOR <= factor <= MOST_FACTOR:
            continue
        meant = ""
        if 1.0 < factor <= 50.0:
            grown = 1.0 + factor / 100.0
            shrunk = 1.0 / (1.0 - factor / 100.0)
            meant = (
                f" Is it a percentage? Larger by {factor:g} % is {grown:.4f}; "
                f"against a shrinkage by {factor:g} % it takes {shrunk:.4f}."
            )
        return (
            f"An enlargement factor of {factor:g} is hardly meant: "
            f"{LEAST_FACTOR:g} to {MOST_FACTOR:g} is plausible.{meant} No next factor is given."
        )
    return ""


def next_factor(
    axis: str,
    direction: tuple[float, float, float] | None,
    factor: float,
    permille: float,
    sd_permille: float,
) -> Correction:
    """Return the next factor along one axis.

    Parameters
    ----------
    axis, direction
        See :class:`.result.Correction`.
    factor : float
        The one that was used.
    permille, sd_permille : float
        How much too large the crown came out along it, and the standard error of that.
    """
    half = NORMAL_95 * sd_permille
    low, middle, high = (
        factor / (1.0 + _PER_MILLE * strain)
        for strain in (permille + half, permille, permille - half)
    )
    return Correction(axis, direction, factor, middle, low, high)


def corrections_of(
    facts: ProductionFacts,
    strain: Strain | None,
    kinds: tuple[str, ...],
    axis: FloatArray | None,
    main: MainDirections | None,
) -> tuple[Correction, ...]:
    """Return the next factors that a stated strain asks for; none without a factor.

    Parameters
    ----------
    facts : ProductionFacts
    strain : Strain or None
        None where scale is not stated, or not told from growth.
    kinds : tuple of str
        The members of the scale family that are stated, by name.
    axis : (3,) float or None
        Build direction, given or found.
    main : MainDirections or None
        Where the strain differs per direction.
    """
    factor = facts.enlargement
    if strain is None or factor is None or factor_question(facts):
        return ()
    along = factor if facts.enlargement_along_build is None else facts.enlargement_along_build
    if axis is not None and kinds != ("scale",):
        x, y, z = axis.tolist()
        found = [next_factor("along", (x, y, z), along, *strain.along(axis))]
        if kinds[-1] != "scale_along_build" or len(kinds) > 1:
            found.insert(0, next_factor("across", None, factor, *strain_across(strain, axis)))
        return tuple(found)
    if main is not None:
        names = ("first", "second", "third")
        rows = zip(names, main.directions.tolist(), main.permille, main.sd_permille, strict=True)
        return tuple(
            next_factor(name, (x, y, z), factor, float(size), float(sd))
            for name, (x, y, z), size, sd in rows
        )
    size, sd = strain.along_any()
    if along == factor:
        return (next_factor("all", None, factor, size, sd),)
    return (
        next_factor("across", None, factor, size, sd),
        next_factor("along", facts.build_axis, along, size, sd),
    )

"""A group's mean crown, its causes sized by the crowns: mean ± t·SD/√m.

Rows and sentences of one crown take sizes with normal intervals; the spread between crowns is
therefore stretched by t/z, so that ± z times it is ± t·SD/√m. Where the mean crown's own surface
bears less than that, its wider interval stands: what all crowns share does not differ between them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from scipy.special import stdtrit

from ...arrays import FloatArray
from ...causes.case import Case
from ...causes.found import Found
from ...causes.local_sizes import SHAPE_SD, SizeAtPoints
from ...causes.result import Cause
from ...causes.rule import rms_um
from ...causes.scale_causes import Strain, excess_along, strain_across, strain_of
from ...causes.sizes import NORMAL_95, Sized
from ...causes.strain import parts_of
from ..measuring.common_causes import OVAL, point_ratio


@dataclass(frozen=True, eq=False)
class SharedFound(Found):
    """What a group's mean bears, with sizes from its crowns.

    Attributes
    ----------
    by_crowns : tuple of Sized
    """

    by_crowns: tuple[Sized, ...] = ()

    @cached_property
    def sized(self) -> tuple[Sized, ...]:
        """The stated causes with their sizes."""
        return self.by_crowns


@dataclass(frozen=True, eq=False)
class SharedCase(Case):
    """A group's mean crown.

    Attributes
    ----------
    crowns : mapping of int to (m, k) float
        Each crown's sizes of the stated members, by their place.
    stretch : float
        What turns a standard deviation between crowns into a standard error that ± z times is
        ± t·SD/√m.
    of_points : mapping of int to (SizeAtPoints, float)
        Of each local cause, its size in the mean crown at points, and what turns sizes in cells
        into those at its deepest places.
    """

    crowns: Mapping[int, FloatArray] = None  # type: ignore[assignment]  # always given
    stretch: float = np.nan
    of_points: Mapping[int, tuple[SizeAtPoints, float]] = None  # type: ignore[assignment]  # always given

    @cached_property
    def parts(self) -> FloatArray | None:
        """Each crown's strain, (m, 6), ‰; None where none is stated."""
        if not self.scale_places:
            return None
        ways = [
            self.crowns[place] @ self.found.member(place).strains.T for place in self.scale_places
        ]
        parts: FloatArray = np.sum(ways, axis=0)
        return parts

    @cached_property
    def strain(self) -> Strain | None:
        """The crowns' mean strain, the scanner's uncertainty added."""
        if self.parts is None:
            return None
        spread = self.stretch**2 * np.cov(self.parts, rowvar=False)
        uncertainty = self.fields.settings.scanner_scale_uncertainty_permille
        by_crowns = Strain(self.parts.mean(axis=0), spread).with_scale_sd(uncertainty)
        of_mean = strain_of(self.found.evidence, self.scale_places)
        return replace(by_crowns, covariance=_wider(by_crowns.covariance, of_mean.covariance))

    @cached_property
    def local(self) -> Mapping[int, SizeAtPoints]:
        """The mean sizes of the local causes."""
        sizes = {}
        for place, (mean, ratio) in self.of_points.items():
            tops = ratio * self.crowns[place][:, 0]
            top = float(tops.mean())
            share = mean.share * top / mean.top_share if mean.top_share else mean.share
            # What the design's own mesh does not know of its corners is in all crowns alike.
            sd = float(np.hypot(self.stretch * tops.std(ddof=1), SHAPE_SD * top))
            sd = max(sd, mean.top_sd)
            sizes[place] = SizeAtPoints(share, top, sd, mean.deepest_mm)
        return sizes

    def crowns_values(self, row: Cause) -> FloatArray:
        """Return each crown's size of a stated row, (m,), in its unit."""
        place = self._place(row)
        if row.family == "scale" and row.cause:
            return self._scales(row)
        values: FloatArray = self.crowns[place] @ self._weights(place, row)
        return values

    def _weights(self, place: int, row: Cause) -> FloatArray:
        """Return what makes one number of a member's sizes, (k,)."""
        if place in self.local:
            mean_size, ratio = self.of_points[place]
            return np.array([1e3 * ratio * mean_size.deepest_mm])
        mean: FloatArray = self.crowns[place].mean(axis=0)
        if len(mean) == 1:
            return np.ones(1)
        if row.family == "scale":
            return parts_of(np.eye(3)) / 3.0
        factor = OVAL if row.cause == "oval_margin" else 1.0
        return factor * mean / float(np.linalg.norm(mean))

    def _place(self, row: Cause) -> int:
        """Return the member that a row is about."""
        told = [one for one in self.found.statements if one.family == row.family]
        named = [one for one in told if self.found.member(one.place).cause == row.cause]
        return (named or told)[0].place

    def _scales(self, row: Cause) -> FloatArray:
        assert self.parts is not None
        axis, none = self.build_axis, np.zeros((6, 6))
        kinds = {self.found.member(place).cause for place in self.scale_places}
        values = []
        for parts in self.parts:
            strain = Strain(parts, none)
            if row.cause == "scale_along_build" and axis is not None:
                values.append(excess_along(strain, axis)[0])
            elif row.cause == "scale_per_direction" and row.direction is not None:
                values.append(strain.along(np.array(row.direction))[0])
            elif axis is not None and kinds != {"scale"}:
                values.append(strain_across(strain, axis)[0])
            else:
                values.append(strain.along_any()[0])
        return np.array(values)


def _wider(by_crowns: FloatArray, of_mean: FloatArray) -> FloatArray:
    """Return the wider of two covariances: of a mean over crowns, or of the mean crown's surface.

    Form error that all crowns share does not show between them: it is on the mean crown.
    """
    return max(by_crowns, of_mean, key=lambda covariance: float(np.trace(covariance)))


def _of_scanner(case: Case, place: int) -> FloatArray:
    """Return what the scanner's uncertain scale adds to the covariance of a member's sizes."""
    uncertainty = case.fields.settings.scanner_scale_uncertainty_permille
    member, width = case.found.member(place), len(case.found.best.model.blocks[place])
    alike = np.zeros(width)
    if member.cause == "scale":
        alike[:] = 1.0
    elif member.cause == "scale_per_direction":
        alike = parts_of(np.eye(3))
    return uncertainty**2 * np.outer(alike, alike)


def sized_by_crowns(
    case: Case, crowns: Mapping[int, FloatArray], confidence: float, mean_share: float
) -> SharedCase:
    """Return a group's mean crown with sizes from its crowns.

    Parameters
    ----------
    case : Case
        As the mean crown bears it.
    crowns : mapping of int to (m, k) float
        The crowns' sizes of the stated members.
    confidence : float
    mean_share : float
        Share of the crowns' mean square that their mean makes up.
    """
    count = len(next(iter(crowns.values()))) if crowns else 2
    t = float(stdtrit(count - 1, 0.5 + confidence / 2.0))
    stretch = t / NORMAL_95 / np.sqrt(count)
    found = case.found
    by_crowns = []
    for one in found.sized:
        sizes = crowns[one.statement.place]
        mean = sizes.mean(axis=0)
        by_crowns.append(
            replace(
                one,
                sizes=mean,
                covariance=_wider(
                    stretch**2 * np.atleast_2d(np.cov(sizes, rowvar=False))
                    + _of_scanner(case, one.statement.place),
                    one.covariance,
                ),
                rms_um=rms_um(found.best.model, found.gram, one.statement.place, mean),
                share_alone=min(one.share_alone * mean_share, 1.0),
            )
        )
    return SharedCase(
        **{**_shallow(case), "found": SharedFound(**_shallow(found), by_crowns=tuple(by_crowns))},
        crowns=crowns,
        stretch=stretch,
        of_points={place: (size, point_ratio(case, place)) for place, size in case.local.items()},
    )


def _shallow(value: Any) -> dict[str, Any]:
    return {one.name: getattr(value, one.name) for one in fields(value)}

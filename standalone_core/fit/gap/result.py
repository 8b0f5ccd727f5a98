"""The gap between a seated crown and its die, inside and at the margin."""

from __future__ import annotations

from dataclasses import dataclass

from ...arrays import BoolArray, FloatArray
from ...deviation.margin_directions import Directions
from ..settings import GapSettings


@dataclass(frozen=True)
class AreaGap:
    """The gap over one part of the intaglio; µm, weighted by area.

    Attributes
    ----------
    area : str
        "whole" (the intaglio), "margin", "axial" or "occlusal".
    area_mm2 : float
        Of what was measured.
    coverage : float
        Share of the part that was measured.
    mean_um, sd_um, p5_um, p50_um, p95_um, least_um, most_um : float
    volume_mm3 : float
        Of the space there: the cement.
    against_space_um : float
        Mean less the cement space of the design; NaN if that is not given.
    """

    area: str
    area_mm2: float
    coverage: float
    mean_um: float
    sd_um: float
    p5_um: float
    p50_um: float
    p95_um: float
    least_um: float
    most_um: float
    volume_mm3: float
    against_space_um: float


@dataclass(frozen=True, eq=False)
class GapMap:
    """The gap at the crown's evaluation points.

    Attributes
    ----------
    gap_um : (n',) float
        From the intaglio to the die, signed: negative where they overlap; NaN off the intaglio
        and where there is no die.
    areas : tuple of AreaGap
        "whole" first, then the parts from the margin inwards.
    warnings : tuple of str
    """

    gap_um: FloatArray
    areas: tuple[AreaGap, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sector:
    """An eighth of the margin.

    Attributes
    ----------
    name : str
        mesial, mesiobuccal, …, or the angles where directions are not known.
    from_deg, to_deg : float
    gap_um, absolute_um, extension_um : float
        Means.
    share_beyond : float
        Of its measured places whose gap is beyond the limit.
    """

    name: str
    from_deg: float
    to_deg: float
    gap_um: float
    absolute_um: float
    extension_um: float
    share_beyond: float


@dataclass(frozen=True)
class Harmonic:
    """One harmonic of the marginal gap (or of the extension) around the crown.

    Attributes
    ----------
    of : str
        "gap" or "extension".
    order : int
        0 the mean, 1 a tilt (gap) or shift (extension), 2 an oval.
    amplitude_um : float
    angle_deg : float
        Of its (first) maximum; NaN for order 0.
    where : str
        That in words.
    """

    of: str
    order: int
    amplitude_um: float
    angle_deg: float
    where: str


@dataclass(frozen=True, eq=False)
class MarginalGap:
    """Marginal measures after Holmes et al. 1989 at places around the margin; arrays (p,).

    Attributes
    ----------
    angle_deg : (p,) float
        Counter-clockwise about the path of insertion seen from occlusal.
    measured : (p,) bool
    gap_um : (p,) float
        Marginal gap: from the finish line to the crown's edge square to the prepared surface.
    extension_um : (p,) float
        Over-extension (positive) or under-extension (negative): along the prepared surface.
    absolute_um : (p,) float
        Absolute marginal discrepancy: from edge to edge.
    vertical_um, horizontal_um : (p,) float
        Parts of it along the path of insertion (positive: the edge lies to occlusal) and outward.
    finish_mm, edge_mm : (p, 3) float
        The two places, in the die's frame.
    directions : Directions
        Where the angle is 0, and words for angles.
    sectors : tuple of Sector
    harmonics : tuple of Harmonic
    mean_um, sd_um, most_um, most_deg : float
        Of the gap; the angle of the largest.
    most_where : str
    absolute_mean_um, absolute_most_um : float
    over_share, under_share : float
        Share of places whose extension is beyond +limit and −limit of 50 µm.
    share_beyond : float
        Share of measured places whose gap is beyond the limit.
    coverage : float
        Share of places that were measured.
    within : bool
        The verdict: no measured place's gap is beyond the limit.
    settings : GapSettings
    warnings : tuple of str
    """

    angle_deg: FloatArray
    measured: BoolArray
    gap_um: FloatArray
    extension_um: FloatArray
    absolute_um: FloatArray
    vertical_um: FloatArray
    horizontal_um: FloatArray
    finish_mm: FloatArray
    edge_mm: FloatArray
    directions: Directions
    sectors: tuple[Sector, ...]
    harmonics: tuple[Harmonic, ...]
    mean_um: float
    sd_um: float
    most_um: float
    most_deg: float
    most_where: str
    absolute_mean_um: float
    absolute_most_um: float
    over_share: float
    under_share: float
    share_beyond: float
    coverage: float
    within: bool
    settings: GapSettings
    warnings: tuple[str, ...] = ()

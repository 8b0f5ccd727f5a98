"""How thick a crown's walls are."""

from __future__ import annotations

from dataclasses import dataclass

from ...arrays import FloatArray
from ..settings import WallSettings


@dataclass(frozen=True)
class AreaWall:
    """Thickness over one part of the intaglio; mm, weighted by area.

    Attributes
    ----------
    area : str
        "axial" or "occlusal", as of a crown's parts.
    least_mm, p5_mm, p50_mm : float
    required_mm : float
    thin_area_mm2 : float
        Area that is thinner than that.
    within : bool
    loss_um : float
        Mean thickness less the design's; NaN without a design.
    """

    area: str
    least_mm: float
    p5_mm: float
    p50_mm: float
    required_mm: float
    thin_area_mm2: float
    within: bool
    loss_um: float


@dataclass(frozen=True, eq=False)
class ThinPlace:
    """One of the thinnest places.

    Attributes
    ----------
    place_mm : (3,) float
        On the intaglio, in the crown's frame.
    area : str
    thickness_mm, ray_mm, ball_mm : float
    where : str
        In words, about the path of insertion.
    """

    place_mm: FloatArray
    area: str
    thickness_mm: float
    ray_mm: float
    ball_mm: float
    where: str


@dataclass(frozen=True, eq=False)
class Walls:
    """Thickness of a crown at its evaluation points.

    Attributes
    ----------
    ray_mm : (n',) float
        Straight into the material to the far side; NaN off the judged intaglio.
    ball_mm : (n',) float
        Diameter of the largest ball in the material that touches the place.
    thickness_mm : (n',) float
        The smaller of the two.
    change_um : (n',) float
        Less the design's thickness at the same place; NaN without a design.
    areas : tuple of AreaWall
    thinnest : tuple of ThinPlace
        By thickness less what their parts require, the least first.
    within : bool
    settings : WallSettings
    warnings : tuple of str
    """

    ray_mm: FloatArray
    ball_mm: FloatArray
    thickness_mm: FloatArray
    change_um: FloatArray
    areas: tuple[AreaWall, ...]
    thinnest: tuple[ThinPlace, ...]
    within: bool
    settings: WallSettings
    warnings: tuple[str, ...] = ()

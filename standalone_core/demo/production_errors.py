"""The kinds of error that a demo crown can be produced with; all sizes invented."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..errors import SettingError
from .shape import Chip

Vector3 = tuple[float, float, float]


def _above_zero(owner: object, *names: str) -> None:
    """Refuse sizes of an error that are not finite numbers above zero."""
    for name in names:
        value = np.asarray(getattr(owner, name), dtype=np.float64)
        if not (np.isfinite(value) & (value > 0.0)).all():
            raise SettingError(
                f"A value of {getattr(owner, name)} makes no sense.",
                subject=f"{type(owner).__name__}.{name}",
                remedy="Give a finite number above 0.",
            )


def _is_direction(owner: object, direction: Vector3) -> None:
    length = float(np.linalg.norm(direction))
    if not 0.0 < length < np.inf:
        raise SettingError(
            f"{direction} is not a direction.",
            subject=f"{type(owner).__name__}.direction",
            remedy="Give three finite numbers that are not all 0.",
        )


@dataclass(frozen=True)
class Wave:
    """One harmonic of the form error: amplitude × sin(2π direction · p / wavelength + phase).

    Attributes
    ----------
    direction : (3,) tuple
        Direction in which it runs; any length.
    wavelength_mm : float
        Its wavelength.
    amplitude_um : float
        Its amplitude along the surface normal.
    phase_deg : float
        Its phase at the origin.
    """

    direction: Vector3
    wavelength_mm: float
    amplitude_um: float
    phase_deg: float = 0.0

    def __post_init__(self) -> None:
        _above_zero(self, "wavelength_mm")
        _is_direction(self, self.direction)


@dataclass(frozen=True)
class Cap:
    """A support stub (positive) or a gouge (negative): a smooth cap.

    Along the normal by ``height (1 - r²/R²)³`` inside the radius R about its centre.

    Attributes
    ----------
    angle_deg : float
        Where, around the crown.
    s_mm : float
        Where along the meridian: positive outside, negative inside; see :mod:`.shape`.
    radius_mm : float
        R; not larger than the wall is thick, nor than the distance to the rim.
    height_um : float
        Height in the middle; negative for a gouge.
    """

    angle_deg: float
    s_mm: float
    radius_mm: float
    height_um: float

    def __post_init__(self) -> None:
        _above_zero(self, "radius_mm")


@dataclass(frozen=True)
class Bend:
    """A margin that was bent outward (positive) or inward (negative) at one side.

    Both walls move together, by ``shift × exp(κ (cos Δθ - 1)) × exp(-(s / reach)²)`` in the
    direction away from the path of insertion at ``angle_deg``; κ as for a chip of that width.

    Attributes
    ----------
    angle_deg : float
        Where its middle is, around the crown.
    width_mm : float
        Its length along the margin line.
    reach_mm : float
        How far it goes up the walls; well below the length of a meridian.
    shift_um : float
        How far the margin moves in the middle.
    """

    angle_deg: float
    width_mm: float
    reach_mm: float
    shift_um: float

    def __post_init__(self) -> None:
        _above_zero(self, "width_mm", "reach_mm")


@dataclass(frozen=True)
class Ring:
    """A margin that is opened or closed, leans, or is no longer round.

    Both walls move together away from the path of insertion, by
    ``A cos(k (θ - phase)) exp(-(s / reach)²)``.

    Attributes
    ----------
    order : int
        k: 0 opened, 1 shifted to one side, 2 oval (its diameters differ by 4 A), 3 three-lobed.
    amplitude_um : float
        A, at the margin line.
    phase_deg : float
        Direction of the largest shift outward, around the crown.
    reach_mm : float
        How far it goes up the walls; well below the length of a meridian.
    """

    order: int
    amplitude_um: float
    phase_deg: float = 0.0
    reach_mm: float = 2.5

    def __post_init__(self) -> None:
        _above_zero(self, "reach_mm")
        if self.order < 0:
            raise SettingError(
                f"A ring of order {self.order} makes no sense.",
                subject="Ring.order",
                remedy="Give 0 or a whole number above it.",
            )


@dataclass(frozen=True)
class Stretch:
    """A factor that is off along one direction only: p moves by permille/1000 × (p · a) a.

    Attributes
    ----------
    direction : (3,) tuple
        a, such as the build direction; any length.
    permille : float
        How much too long, in thousandths; negative for too short.
    """

    direction: Vector3
    permille: float

    def __post_init__(self) -> None:
        _is_direction(self, self.direction)


@dataclass(frozen=True)
class Layers:
    """Steps of a layer-wise process.

    A staircase of planes leaves a saw-tooth of height ``t |n · a|``. Its first harmonics are
    taken, each weakened by the blur of a scanner of lateral resolution ℓ:
    ``t |n · a| / π × Σ sin(k φ) / k × exp(-(2π k ℓ sin β / t)² / 2)``, φ = 2π p · a / t, β the
    angle between normal and build direction. Steps on steep walls are too fine to be seen.

    Attributes
    ----------
    thickness_mm : float
        Layer thickness t.
    direction : (3,) tuple
        Build direction a; any length.
    resolution_mm : float
        Lateral resolution ℓ.
    harmonics : int
        How many are taken.
    """

    thickness_mm: float = 0.05
    direction: Vector3 = (0.17, 0.34, 0.92)
    resolution_mm: float = 0.08
    harmonics: int = 3

    def __post_init__(self) -> None:
        _above_zero(self, "thickness_mm", "harmonics")
        _is_direction(self, self.direction)


@dataclass(frozen=True)
class BallFill:
    """Excess in inside corners: a share of what a rolling ball leaves (:mod:`.rolling_ball`).

    Share 1 is a milling tool of that radius; a smaller share of a large ball is a fossa filled
    by resin or glaze.

    Attributes
    ----------
    radius_mm : float
        Radius of the ball.
    share : float
        Share of its excess.
    side : {"external", "intaglio"}
        Where.
    """

    radius_mm: float
    share: float = 1.0
    side: Literal["external", "intaglio"] = "external"

    def __post_init__(self) -> None:
        _above_zero(self, "radius_mm")


@dataclass(frozen=True)
class Hole:
    """A hole in the scan: the surface inside a ball about a point of it is missing.

    Attributes
    ----------
    angle_deg, s_mm : float
        The point's parameters.
    radius_mm : float
        The ball's radius; smaller than the wall is thick.
    """

    angle_deg: float
    s_mm: float
    radius_mm: float

    def __post_init__(self) -> None:
        _above_zero(self, "radius_mm")


@dataclass(frozen=True)
class Cut:
    """A part of the scan that is missing: all beyond a plane.

    Attributes
    ----------
    direction : (3,) tuple
        Normal of the plane, towards the missing part; any length.
    share : float
        Share of the surface's area that is missing.
    """

    direction: Vector3
    share: float

    def __post_init__(self) -> None:
        _above_zero(self, "share")
        _is_direction(self, self.direction)
        if self.share >= 1.0:
            raise SettingError(
                f"A share of {self.share} leaves nothing.",
                subject="Cut.share",
                remedy="Give a share between 0 and 1.",
            )


@dataclass(frozen=True)
class Debris:
    """Loose grains beside the crown.

    Attributes
    ----------
    count : int
        How many.
    size_mm : float
        Their mean diameter.
    distance_mm : float
        About how far they are off the surface.
    """

    count: int
    size_mm: float = 0.3
    distance_mm: float = 1.5

    def __post_init__(self) -> None:
        _above_zero(self, "size_mm", "distance_mm")


@dataclass(frozen=True)
class ScannerNoise:
    """Measuring errors of the scanner, along the normal of each vertex.

    Attributes
    ----------
    sigma_um : float
        Standard deviation of the independent error of each vertex.
    correlated_um : float
        Standard deviation of a smooth random error.
    correlation_mm : float
        Over which that one changes.
    """

    sigma_um: float = 0.0
    correlated_um: float = 0.0
    correlation_mm: float = 1.0


@dataclass(frozen=True)
class ProductionErrors:
    """How one crown differs from its design; nothing by default.

    The true deviation comes from ``offset_um`` to ``stretches``; the others only change the mesh.

    Attributes
    ----------
    offset_um : float
        The same along every normal.
    growth_um : (2,) tuple
        Along the normals of the outside and of the intaglio, one passing smoothly into the other
        within 0.2 mm of the margin line; beside ``offset_um``.
    waves : tuple of Wave
        Smooth form error.
    spots : tuple of Cap
        Support stubs and gouges.
    bends : tuple of Bend
        Bent parts of the margin.
    rings : tuple of Ring
        Changes of the margin's form all around.
    fills : tuple of BallFill
        Corners that a tool cannot reach, filled fossae.
    layers : Layers or None
        Layer steps.
    chips : tuple of shape.Chip
        Pieces broken off the rim.
    scale : (3,) tuple
        Factors along x, y, z (a wrong sintering factor), about the origin.
    stretches : tuple of Stretch
        Factors along directions of their own, about the origin, one after the other.
    noise : ScannerNoise
        Noise of the scan.
    holes : tuple of Hole
        Holes in the scan.
    cut : Cut or None
        Missing part.
    intaglio_missing : bool
        Whether only the outside was scanned.
    debris : Debris or None
        Loose grains.
    any_pose : bool
        Whether the scan lies anywhere, as a scanner delivers it; else in the design's frame.

    Examples
    --------
    A crown that is 0.2 % too small, and whose scan lies in the design's frame:

    >>> import cuspwise
    >>> errors = cuspwise.ProductionErrors(scale=(0.998, 0.998, 0.998), any_pose=False)
    >>> errors.scale, errors.offset_um
    ((0.998, 0.998, 0.998), 0.0)
    """

    offset_um: float = 0.0
    growth_um: tuple[float, float] = (0.0, 0.0)
    waves: tuple[Wave, ...] = ()
    spots: tuple[Cap, ...] = ()
    bends: tuple[Bend, ...] = ()
    rings: tuple[Ring, ...] = ()
    fills: tuple[BallFill, ...] = ()
    layers: Layers | None = None
    chips: tuple[Chip, ...] = ()
    scale: Vector3 = (1.0, 1.0, 1.0)
    stretches: tuple[Stretch, ...] = ()
    noise: ScannerNoise = ScannerNoise()
    holes: tuple[Hole, ...] = ()
    cut: Cut | None = None
    intaglio_missing: bool = False
    debris: Debris | None = None
    any_pose: bool = True

    def __post_init__(self) -> None:
        _above_zero(self, "scale")

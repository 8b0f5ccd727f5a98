"""What is known of a production, and how causes are looked for."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..allowed import Choice, Direction, Flag, Number
from ..setting import check_fields, setting

WAYS = ("unknown", "milled", "printed")
"""Ways of production that leave marks of their own."""


@dataclass(frozen=True)
class ProductionFacts:
    """What is known of how a crown was produced; causes that need more are left out.

    Attributes
    ----------
    way : "unknown", "milled" or "printed"
        Excess in inside corners of the external surface is a bur's that did not reach them, or
        filled fossae.
    build_direction : (3,) tuple of float or None
        Build direction in the design's frame, away from the platform.
    enlargement : float or None
        Factor by which the crown was made larger, for the shrinkage to come.
    enlargement_along_build : float or None
        The same along the build direction, where it differs.
    bur_radius_mm : float or None
        Radius of the finest bur, mm, before shrinkage.

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.ProductionFacts(way="milled", enlargement=1.25, bur_radius_mm=0.5).way
    'milled'
    """

    way: str = setting(
        "unknown",
        Choice(WAYS),
        "How the crown was made: milled, printed or unknown.",
        title="Way of Production",
    )
    build_direction: tuple[float, ...] | None = setting(
        None, Direction(), "Build direction in the design's frame, away from the platform."
    )
    enlargement: float | None = setting(
        None,
        Number(),
        "Factor by which the crown was made larger, for the shrinkage to come.",
        more="1.25 for a shrinkage by 20 %.",
    )
    enlargement_along_build: float | None = setting(
        None, Number(), "The same along the build direction, where it differs."
    )
    bur_radius_mm: float | None = setting(
        None,
        Number(),
        "Radius of the finest bur, mm, before shrinkage.",
        title="Bur Radius",
        plausible=(0.05, 5.0),
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        check_fields(self)

    @property
    def build_axis(self) -> tuple[float, float, float] | None:
        """The build direction as a unit vector; None if it is not known."""
        if self.build_direction is None:
            return None
        length = math.hypot(*self.build_direction)
        x, y, z = (part / length for part in self.build_direction)
        return x, y, z


@dataclass(frozen=True)
class CausesSettings:
    """How causes are looked for.

    Attributes
    ----------
    find_causes : bool
        Whether they are looked for at all.
    cell_mm : float
        Deviations are averaged over cells of about this size, mm.
    rim_mm : float
        The surface within this distance of the margin line is left out, mm.
    probability : float
        A cause is stated if it is at least this probable.
    least_um : float
        A cause whose deviations are smaller than this, as root mean square, is not stated, µm.
    fossa_ball_mm : float or None
        Radius of the ball that a filled fossa looks like, mm; searched if None.
    warp_reach_mm : float or None
        How far a deformation of the margin reaches up the walls, mm; searched if None.
    scanner_scale_permille : float or None
        How much too large the scanner measures, ‰; None if it is not known.
    scanner_scale_uncertainty_permille : float
        Standard uncertainty of that, ‰.

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.CausesSettings(scanner_scale_permille=0.1).scanner_scale_permille
    0.1
    """

    find_causes: bool = setting(True, Flag(), "Look for the causes of the deviations.")
    cell_mm: float = setting(
        1.0,
        Number(0.3, 5.0, low_open=False),
        "Deviations are averaged over cells of this size, mm, before causes are judged.",
    )
    rim_mm: float = setting(
        0.3,
        Number(0.0, 3.0, low_open=False),
        "The surface this near to the margin line is left out when causes are judged, mm.",
    )
    probability: float = setting(
        0.95, Number(0.5, 1.0, high_open=True), "Least probability of a cause that is stated."
    )
    least_um: float = setting(
        1.5,
        Number(low_open=False),
        "Causes with smaller deviations, as root mean square, are not stated, µm.",
        plausible=(0.02, 200.0),
    )
    fossa_ball_mm: float | None = setting(
        None,
        Number(0.1, 5.0, low_open=False),
        "Radius of the ball that a filled fossa looks like, mm; searched if left out.",
    )
    warp_reach_mm: float | None = setting(
        None,
        Number(0.3, 10.0, low_open=False),
        "How far a deformation of the margin reaches up the walls, mm; searched if left out.",
    )
    scanner_scale_permille: float | None = setting(
        None,
        Number(-50.0, 50.0, low_open=False),
        "How much too large the scanner measures, ‰, by a calibrated part; unknown if left out.",
    )
    scanner_scale_uncertainty_permille: float = setting(
        0.0, Number(low_open=False), "Standard uncertainty of the scanner's scale, ‰."
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        check_fields(self)

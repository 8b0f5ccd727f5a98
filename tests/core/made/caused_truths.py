"""The causes that crowns are made with, by name, with what is to be found and how large it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from cuspwise.standalone_core.arrays import BoolArray, FloatArray
from cuspwise.standalone_core.demo.production_errors import (
    BallFill,
    Cap,
    ProductionErrors,
    Ring,
    Stretch,
    Vector3,
)
from made.caused import Flaws, raw_field, together
from made.caused_fills import filled_by_smoothing, filled_under_ball
from made.caused_shapes import CausedDesign

INSERTION: Vector3 = (0.0, 0.0, 1.0)
TILTED: Vector3 = (0.17, 0.34, 0.92)


@dataclass(frozen=True)
class Part:
    """One cause.

    Attributes
    ----------
    family, cause : str
        What it is called: ``scale`` (``all directions``, ``build direction``, ``scanner``),
        ``growth`` (``outside``, ``inside``, ``uniform``), ``margin`` (``opened``, ``leaning``,
        ``oval``, ``three-lobed``), ``fossae``, ``tool`` and ``supports``.
    amount, unit : float, str
        The parameter it is made with: ‰ for scale; µm along the normal for growth; µm of radius
        at the margin line; µm along the normal at the deepest place for fossae; the ball's
        radius in mm for a tool, whose share is 1; µm of the tallest stub.
    make : callable
        From a design to the flaws of a crown that has this cause and no other.
    direction : (3,) tuple or None
        The build direction, of any length.
    phase_deg : float
        Direction of a margin's largest shift.
    """

    family: str
    cause: str
    amount: float
    unit: str
    make: Callable[[CausedDesign], Flaws]
    direction: Vector3 | None = None
    phase_deg: float = 0.0


@dataclass(frozen=True)
class Truth:
    """The causes of one kind of crown.

    Attributes
    ----------
    name : str
    parts : tuple of Part
        None on a crown that has form error and noise only.
    own_form : bool
        Whether the fields are those that a cause is usually reckoned with: fossae under a ball
        of 0.9 mm, margins that warp over a reach of 2.5 mm.
    """

    name: str
    parts: tuple[Part, ...]
    own_form: bool = True

    @property
    def families(self) -> frozenset[str]:
        """The families that are to be found."""
        return frozenset(part.family for part in self.parts)

    def flaws(self, design: CausedDesign) -> Flaws:
        """All causes on one crown of the design."""
        return _flaws(self.parts, design)


@dataclass(frozen=True, eq=False)
class Extent:
    """How large a cause is on a design of n points.

    Attributes
    ----------
    field_mm : (n,) array
        Its deviation where the crown lies, to first order.
    fitted_mm : (n,) array
        The same after superimposition.
    deepest_um, fitted_deepest_um : float
        Largest size of each.
    rms_um : float
        Area-weighted root mean square after superimposition.
    """

    field_mm: FloatArray
    fitted_mm: FloatArray
    deepest_um: float
    fitted_deepest_um: float
    rms_um: float


def true_size(design: CausedDesign, *parts: Part, counted: BoolArray | None = None) -> Extent:
    """Size of one cause, or of several together, over the points that count (all by default)."""
    counted = np.ones(len(design.points), dtype=bool) if counted is None else counted
    field = raw_field(design, _flaws(parts, design))
    fitted = design.less_rigid(field, counted)
    mean_square = np.average(fitted[counted] ** 2, weights=design.weights_mm2[counted])
    return Extent(
        field_mm=field,
        fitted_mm=fitted,
        deepest_um=1e3 * float(np.abs(field[counted]).max()),
        fitted_deepest_um=1e3 * float(np.abs(fitted[counted]).max()),
        rms_um=1e3 * float(np.sqrt(mean_square)),
    )


@lru_cache(maxsize=256)  # equal flaws, so that their fields are kept
def _flaws(parts: tuple[Part, ...], design: CausedDesign) -> Flaws:
    return together(*(part.make(design) for part in parts))


def _by(errors: ProductionErrors) -> Callable[[CausedDesign], Flaws]:
    flaws = Flaws(errors)
    return lambda design: flaws


def scaled(permille: float, cause: str = "all directions") -> Part:
    """A factor that is off in all directions."""
    factor = 1.0 + 1e-3 * permille
    made = _by(ProductionErrors(scale=(factor, factor, factor)))
    return Part("scale", cause, permille, "‰", made)


def stretched(permille: float, direction: Vector3) -> Part:
    """A factor that is off along the build direction."""
    made = _by(ProductionErrors(stretches=(Stretch(direction, permille),)))
    return Part("scale", "build direction", permille, "‰", made, direction)


def grown(outside_um: float, inside_um: float) -> Part:
    """Growth of the outside, of the inside, or the same of both."""
    cause = "uniform" if outside_um == inside_um else "outside" if outside_um else "inside"
    made = _by(ProductionErrors(growth_um=(outside_um, inside_um)))
    return Part("growth", cause, outside_um or inside_um, "µm", made)


def warped(order: int, amplitude_um: float, phase_deg: float = 0.0, reach_mm: float = 2.5) -> Part:
    """A margin opened (order 0), leaning, oval or three-lobed."""
    cause = ("opened", "leaning", "oval", "three-lobed")[order]
    made = _by(ProductionErrors(rings=(Ring(order, amplitude_um, phase_deg, reach_mm),)))
    return Part("margin", cause, amplitude_um, "µm", made, phase_deg=phase_deg)


def ball_filled(deepest_um: float, radius_mm: float = 0.9) -> Part:
    """Fossae filled by a share of what a ball leaves."""
    return Part(
        "fossae",
        "fossae",
        deepest_um,
        "µm",
        lambda design: filled_under_ball(design, deepest_um, radius_mm),
    )


def smoothed(deepest_um: float) -> Part:
    """Fossae filled by smoothing."""
    return Part(
        "fossae", "fossae", deepest_um, "µm", lambda design: filled_by_smoothing(design, deepest_um)
    )


def not_reached(fill: BallFill) -> Part:
    """Corners that a tool did not reach."""
    return Part("tool", "tool", fill.radius_mm, "mm", _by(ProductionErrors(fills=(fill,))))


def stubs(*caps: Cap) -> Part:
    """Support stubs."""
    tallest = max(cap.height_um for cap in caps)
    return Part("supports", "supports", tallest, "µm", _by(ProductionErrors(spots=caps)))


TRUTHS = {
    truth.name: truth
    for truth in (
        Truth("none", ()),
        Truth("iso", (scaled(2.0),)),
        Truth("axial", (stretched(4.0, INSERTION),)),
        Truth("axial tilted", (stretched(4.0, TILTED),)),
        Truth("opened", (warped(0, 15.0),)),
        Truth("leaning", (warped(1, 15.0),)),
        Truth("oval", (warped(2, 15.0),)),
        Truth("three-lobed", (warped(3, 15.0),)),
        Truth("fossae", (ball_filled(60.0),)),
        Truth("bur inside", (not_reached(BallFill(1.0, 1.0, "intaglio")),)),
        Truth("bur outside", (not_reached(BallFill(0.5, 1.0)),)),
        Truth("outside", (grown(8.0, 0.0),)),
        Truth("uniform", (grown(8.0, 8.0),)),
        Truth("inside", (grown(0.0, 8.0),)),
        Truth("mixed", (scaled(-1.2), ball_filled(76.0), warped(2, 15.0, 30.0))),
        Truth("stubs", (stubs(Cap(262.0, 4.2, 0.55, 110.0), Cap(292.0, 3.4, 0.45, 85.0)),)),
        Truth("opened, reach 1.5", (warped(0, 15.0, reach_mm=1.5),), own_form=False),
        Truth("opened, reach 4", (warped(0, 15.0, reach_mm=4.0),), own_form=False),
        Truth("oval, reach 1.5", (warped(2, 15.0, reach_mm=1.5),), own_form=False),
        Truth("oval, reach 4", (warped(2, 15.0, reach_mm=4.0),), own_form=False),
        Truth("fossae, ball 0.6", (ball_filled(60.0, 0.6),), own_form=False),
        Truth("fossae, ball 1.4", (ball_filled(60.0, 1.4),), own_form=False),
        Truth("fossae, smoothed", (smoothed(60.0),), own_form=False),
        Truth("scanner", (scaled(1.0, "scanner"),), own_form=False),
    )
}
"""All truths by name; see the names of :class:`Part` for what is meant by them."""

"""The three ways of production in the demo study and what goes wrong with each crown.

Every way has errors that all its crowns share and a random part of each crown's own. All sizes
are invented, so that the study has something to show: no machine or material stands behind them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..causes.settings import ProductionFacts
from .production_errors import (
    BallFill,
    Bend,
    Cap,
    Layers,
    ProductionErrors,
    ScannerNoise,
    Vector3,
    Wave,
)
from .shape import Chip

NOISE_UM = 2.0
"""Standard deviation of the scanner's noise at a vertex."""


@dataclass(frozen=True)
class DemoGroup:
    """A way of production.

    Attributes
    ----------
    name, title : str
        Short name and name for readers.
    facts : mapping of str to str
        How the crowns were produced, in words.
    production : ProductionFacts
        What of it the search for causes takes.
    errors : callable
        What goes wrong with a crown; takes a random generator.
    """

    name: str
    title: str
    facts: Mapping[str, str]
    production: ProductionFacts
    errors: Callable[[np.random.Generator], ProductionErrors]


def milled(rng: np.random.Generator) -> ProductionErrors:
    """Return what is wrong with a milled crown.

    The tools fill what is narrower than they are, the holding bar leaves a stub, and the form is
    a little wavy. Wear of the tools makes some crowns larger than others.
    """
    return ProductionErrors(
        offset_um=float(rng.normal(0.5, 0.3)),
        waves=(Wave((0.2, 0.5, 1.0), 9.0, _about(rng, 6.0), 75.0), random_wave(rng, 3.0)),
        spots=(Cap(97.0, 4.4, 0.6, _about(rng, 120.0)),),
        fills=(BallFill(0.4, _about(rng, 1.0, 0.02)), BallFill(0.8, 1.0, "intaglio")),
        scale=_scale(rng, 1.0, 0.0001),
        noise=ScannerNoise(NOISE_UM),
    )


def upright(rng: np.random.Generator) -> ProductionErrors:
    """Return what is wrong with a crown that was printed upright.

    Light that goes too deep fills the fossae in part, supports stood on the lingual wall, the
    layers show, and the crown shrank a little too much.
    """
    return ProductionErrors(
        waves=(Wave((1.0, 0.2, 0.3), 11.0, _about(rng, 9.0), 40.0), random_wave(rng, 3.0)),
        spots=tuple(
            Cap(angle, s, 0.45, _about(rng, height))
            for angle, s, height in ((248.0, 4.2, 80.0), (268.0, 3.6, 95.0), (290.0, 4.0, 75.0))
        ),
        fills=(BallFill(0.9, _about(rng, 0.2)),),
        layers=Layers(0.05, (0.0, 0.0, 1.0), 0.06),
        scale=_scale(rng, 0.9990, 0.0001),
        noise=ScannerNoise(NOISE_UM),
    )


def tilted(rng: np.random.Generator) -> ProductionErrors:
    """Return what is wrong with a crown that was printed tilted.

    It warps more than an upright one; supports stood on the buccal wall near the margin, which
    they pulled outward while the other side fell in.
    """
    return ProductionErrors(
        waves=(
            Wave((0.6, -0.8, 0.5), 10.0, _about(rng, 14.0), 20.0),
            random_wave(rng, 4.0),
        ),
        spots=tuple(
            Cap(angle, 1.3, 0.5, _about(rng, 90.0)) for angle in (62.0, 84.0, 106.0, 128.0)
        ),
        bends=(
            Bend(95.0, 5.0, 1.8, _about(rng, 115.0)),
            Bend(275.0, 6.0, 1.8, _about(rng, -80.0)),
        ),
        fills=(BallFill(0.9, _about(rng, 0.2)),),
        layers=Layers(0.05, (0.0, 0.6, 0.8), 0.06),
        scale=_scale(rng, 0.9985, 0.00015),
        noise=ScannerNoise(NOISE_UM),
    )


def spoiled(errors: ProductionErrors) -> ProductionErrors:
    """Return the errors of a crown that was torn off its supports: bent, chipped and gouged."""
    return replace(
        errors,
        bends=(*errors.bends, Bend(268.0, 3.5, 2.0, -150.0), Bend(225.0, 3.0, 1.8, 90.0)),
        chips=(*errors.chips, Chip(250.0, 1.6, 0.15)),
        spots=(*errors.spots, Cap(262.0, 1.6, 0.5, -120.0)),
    )


def _facts(machine: str, material: str, position: str) -> dict[str, str]:
    return {"machine": machine, "material": material, "position": position, "data": "invented"}


GROUPS: tuple[DemoGroup, ...] = (
    DemoGroup(
        "milled",
        "Milled",
        _facts("five-axis mill, 1 mm ball end as last tool", "zirconia block", "in the block"),
        ProductionFacts("milled", enlargement=1.25, bur_radius_mm=0.5),
        milled,
    ),
    DemoGroup(
        "upright",
        "Printed upright",
        _facts("mask-projection printer, 0.05 mm layers", "crown resin", "occlusal up, 0°"),
        ProductionFacts("printed", (0.0, 0.0, 1.0), enlargement=1.012),
        upright,
    ),
    DemoGroup(
        "tilted",
        "Printed tilted",
        _facts("mask-projection printer, 0.05 mm layers", "crown resin", "tilted by 37°"),
        ProductionFacts("printed", (0.0, 0.6, 0.8), enlargement=1.012),
        tilted,
    ),
)


def random_wave(rng: np.random.Generator, rms_um: float) -> Wave:
    """Return a wave of any direction whose amplitude has a given root mean square."""
    direction = rng.normal(size=3)
    wavelength = rng.uniform(8.0, 14.0)
    amplitude = rms_um * np.sqrt(rng.uniform(0.5, 1.5))
    x, y, z = (float(part) for part in direction)
    return Wave((x, y, z), wavelength, float(amplitude), float(rng.uniform(0.0, 360.0)))


def _about(rng: np.random.Generator, size: float, spread: float = 0.1) -> float:
    """Return a size with a normal spread, as a share of it, never past three of them."""
    return size * (1.0 + spread * float(np.clip(rng.normal(), -3.0, 3.0)))


def _scale(rng: np.random.Generator, mean: float, spread: float) -> Vector3:
    factor = float(rng.normal(mean, spread))
    return factor, factor, factor

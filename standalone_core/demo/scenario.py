"""The built-in demo: one design and two produced crowns, all invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import numpy as np

from ..causes.settings import ProductionFacts
from ..mesh.write import write_mesh
from ..progress import Progress, Steps
from .crown import DemoCrown, demo_crown
from .production import ProducedCrown, produce
from .production_errors import BallFill, Cap, Layers, ProductionErrors, ScannerNoise, Wave
from .shape import Chip
from .study_files import make_folder

SEED = 2036
EDGE_MM = 0.1

TEXT = (
    "An invented case: no patient, no tooth, no machine stands behind it; every number is made "
    "up.\n"
    "A crown for a lower left first molar was designed. It was produced twice and each crown "
    "was scanned, with 2 µm of scanner noise and in whatever pose it lay.\n"
    "printed.stl: a printed and sintered crown. The sintering factor was 0.12 % off, so it is "
    "about 6 µm too small all around; the fossae are partly filled, two support stubs are left "
    "on the lingual wall, steps of 0.1 mm layers show on the cusps, and the form is warped by "
    "up to 20 µm.\n"
    "milled.stl: a milled crown. A ball of 1 mm diameter could not reach the bottom of the "
    "fissures, the holding bar left a stub on the buccal wall, a piece of the rim broke off "
    "mesiobuccally, and a gouge lies on the distal wall.\n"
    "Would you accept them? Look at the margin, the intaglio and the fossae."
)


BUILD_DIRECTION = (0.17, 0.34, 0.92)
ENLARGEMENT = 1.25
PRODUCTION: Mapping[str, ProductionFacts] = MappingProxyType(
    {
        "printed": ProductionFacts("printed", BUILD_DIRECTION, ENLARGEMENT),
        "milled": ProductionFacts("milled", enlargement=ENLARGEMENT),
    }
)
"""What the lab knows of its crowns, as invented as they are; the bur is left to be found."""


@dataclass(frozen=True)
class DemoFiles:
    """The demo's files.

    Attributes
    ----------
    text : str
        What the invented case is about.
    design : pathlib.Path
        The design, STL.
    scans : tuple of pathlib.Path
        The scans of the produced crowns, STL.
    production : mapping of str to ProductionFacts
        What is known of each crown's production, by the stem of its scan's file.
    """

    text: str
    design: Path
    scans: tuple[Path, ...]
    production: Mapping[str, ProductionFacts]


@dataclass(frozen=True, eq=False)
class DemoCase:
    """The demo's meshes, with what is true about them.

    Attributes
    ----------
    design : DemoCrown
        The design.
    produced : mapping of str to ProducedCrown
        ``"printed"`` and ``"milled"``.
    """

    design: DemoCrown
    produced: Mapping[str, ProducedCrown]


def printed_errors() -> ProductionErrors:
    """What is wrong with the printed crown; all sizes invented."""
    return ProductionErrors(
        waves=(
            Wave((1.0, 0.2, 0.3), 11.0, 12.0, 40.0),
            Wave((-0.3, 1.0, 0.1), 8.0, 8.0, 110.0),
        ),
        spots=(Cap(262.0, 4.2, 0.55, 110.0), Cap(292.0, 3.4, 0.45, 85.0)),
        fills=(BallFill(0.9, 0.2),),
        layers=Layers(0.1, BUILD_DIRECTION, 0.05),
        scale=(0.9988, 0.9988, 0.9988),
        noise=ScannerNoise(2.0),
    )


def milled_errors() -> ProductionErrors:
    """What is wrong with the milled crown; all sizes invented."""
    return ProductionErrors(
        waves=(Wave((0.2, 0.5, 1.0), 9.0, 6.0, 75.0),),
        spots=(Cap(97.0, 4.4, 0.6, 130.0), Cap(184.0, 3.6, 0.4, -60.0)),
        fills=(BallFill(0.5, 1.0), BallFill(1.0, 1.0, "intaglio")),
        chips=(Chip(38.0, 1.2, 0.12),),
        noise=ScannerNoise(2.0),
    )


def demo_case_steps(edge_mm: float = EDGE_MM, seed: int = SEED) -> Steps[DemoCase]:
    """Make the demo's design and its two produced crowns, with what is true about them.

    Parameters
    ----------
    edge_mm : float
        Mean edge length of all three meshes.
    seed : int
        For sampling, noise and poses of the scans.
    """
    yield Progress("Designing the demo crown", 0.0)
    design = demo_crown(edge_mm)
    produced: dict[str, ProducedCrown] = {}
    for share, name, errors in (
        (0.2, "printed", printed_errors()),
        (0.6, "milled", milled_errors()),
    ):
        yield Progress(f"Producing the {name} crown", share)
        rng = np.random.default_rng([seed, len(produced)])
        produced[name] = produce(design, errors, edge_mm=edge_mm, rng=rng)
    return DemoCase(design, produced)


def write_demo_steps(out: str | Path) -> Steps[DemoFiles]:
    """Write the demo's three meshes as binary STL, step by step.

    Parameters
    ----------
    out : str or pathlib.Path
        Folder; made if it is not there.

    Raises
    ------
    FileError
        The folder cannot be made or written to.
    """
    folder = Path(out)
    make_folder(folder)
    case = yield from demo_case_steps()
    yield Progress("Writing the demo's meshes", 0.95)
    design = write_mesh(folder / "design.stl", case.design.mesh)
    scans = [
        write_mesh(folder / f"{name}.stl", crown.mesh) for name, crown in case.produced.items()
    ]
    return DemoFiles(TEXT, design, tuple(scans), PRODUCTION)

"""The demo study: three ways of making one crown, eight crowns each, all invented.

A case holds what is true about every crown and scan by formula; the meshes are made one by one
when they are written.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .crown import DemoCrown, demo_crown
from .die import DemoDie, demo_die
from .die_shape import DieShape
from .examiners import FeltScore, examiners_scores
from .neighbours import OtherTooth, demo_neighbours
from .produced import ProducedSurface
from .production import ProducedCrown, produce
from .production_errors import ProductionErrors, Wave
from .study_groups import GROUPS, random_wave, spoiled

SEED = 2036
EDGE_MM = 0.1
CROWNS = 8
SPOILED = "upright/05"
"""The crown that was spoiled on purpose."""

REPEATED = "milled/03"
"""The crown that was scanned again and again."""

FITTED = ("milled/05", SPOILED, "tilted/05")
"""One crown of each way, seated on the die unless more or none are asked for."""

CEMENT_UM, MARGIN_UM = 60.0, 30.0
"""Cement space of the design inside and near the margin, invented."""

COARSER = 1.5
"""Edges of die and neighbours, as a share of those of crowns: their walls are nearly as smooth."""

TRIALS = 5
OPERATOR_SCALES = (1.0, 1.0002)
"""The two operators' systematic error: the second one calibrates 0.02 % too large."""

TRIAL_SCALE_SD = 0.0001
TRIAL_WAVE_UM = 0.5
"""What differs from scan to scan: calibration, and a smooth error (its amplitude)."""


@dataclass(frozen=True)
class DemoScan:
    """One scan of a produced crown.

    Attributes
    ----------
    file : str
        Its path in the study's folder.
    crown : str
        The crown: ``group/number``.
    group : str
        Its group.
    errors : ProductionErrors
        How the scanned surface differs from the design, the scanner's errors included.
    seed : tuple of int
        For the scan's sampling, noise and pose.
    operator, trial : str
        Of a repeated scan; else empty.
    """

    file: str
    crown: str
    group: str
    errors: ProductionErrors
    seed: tuple[int, ...]
    operator: str = ""
    trial: str = ""


@dataclass(frozen=True, eq=False)
class StudyCase:
    """The demo study, with what is true about it.

    Attributes
    ----------
    design : DemoCrown
        The design.
    scans : tuple of DemoScan
        One per crown, group by group.
    repeats : tuple of DemoScan
        Repeated scans of one of the crowns.
    edge_mm : float
        Mean edge length of design and scans.
    seed : int
        For all that is random in it.
    """

    design: DemoCrown
    scans: tuple[DemoScan, ...]
    repeats: tuple[DemoScan, ...]
    edge_mm: float
    seed: int = SEED

    @cached_property
    def scores(self) -> tuple[FeltScore, ...]:
        """What two examiners felt at each crown."""
        surfaces = {scan.crown: self.surface(scan) for scan in self.scans}
        die = DieShape(self.design.shape, cement_um=CEMENT_UM, margin_um=MARGIN_UM)
        rng = np.random.default_rng([self.seed, 100])
        return examiners_scores(surfaces, self.design.true_areas, die, rng)

    def surface(self, scan: DemoScan) -> ProducedSurface:
        """Return the scanned surface by formula, without noise."""
        return ProducedSurface(self.design.shape, scan.errors)

    def die(self) -> DemoDie:
        """Make the die that all crowns are meant for, in the design's frame."""
        return demo_die(
            self.design,
            cement_um=CEMENT_UM,
            margin_um=MARGIN_UM,
            edge_mm=COARSER * self.edge_mm,
        )

    def neighbours(self) -> tuple[OtherTooth, OtherTooth]:
        """Make the mesial and the distal neighbour, in the design's frame."""
        return demo_neighbours(self.design, edge_mm=COARSER * self.edge_mm)

    def produced(self, scan: DemoScan) -> ProducedCrown:
        """Make the mesh of a scan."""
        rng = np.random.default_rng(scan.seed)
        return produce(self.design, scan.errors, edge_mm=self.edge_mm, rng=rng)


def study_case(edge_mm: float = EDGE_MM, seed: int = SEED) -> StudyCase:
    """Make up the demo study; no scan is meshed and no score given yet.

    Parameters
    ----------
    edge_mm : float
        Mean edge length of all meshes.
    seed : int
        For all that is random in it.
    """
    scans = scans_of_crowns(seed)
    repeated = next(scan for scan in scans if scan.crown == REPEATED)
    return StudyCase(demo_crown(edge_mm), scans, repeated_scans(repeated, seed), edge_mm, seed)


def scans_of_crowns(seed: int = SEED) -> tuple[DemoScan, ...]:
    """Return the scan of each crown, group by group."""
    return tuple(
        _scan_of_crown(group, number, seed)
        for group in range(len(GROUPS))
        for number in range(1, CROWNS + 1)
    )


def _scan_of_crown(group: int, number: int, seed: int) -> DemoScan:
    way = GROUPS[group]
    crown = f"{way.name}/{number:02d}"
    errors = way.errors(np.random.default_rng([seed, group, number]))
    if crown == SPOILED:
        errors = spoiled(errors)
    return DemoScan(f"{crown}.stl", crown, way.name, errors, (seed, group, number, 1))


def repeated_scans(scan: DemoScan, seed: int) -> tuple[DemoScan, ...]:
    """Scan one crown again and again: each operator :data:`TRIALS` times.

    The crown stays as it is; each scan adds its operator's scale, a scale and a smooth error of
    its own, and new noise, in a new pose.
    """
    return tuple(
        _repeat(scan, operator, trial, seed)
        for operator in range(1, len(OPERATOR_SCALES) + 1)
        for trial in range(1, TRIALS + 1)
    )


def _repeat(scan: DemoScan, operator: int, trial: int, seed: int) -> DemoScan:
    rng = np.random.default_rng([seed, 200, operator, trial])
    factor = OPERATOR_SCALES[operator - 1] * float(rng.normal(1.0, TRIAL_SCALE_SD))
    wave: Wave = random_wave(rng, TRIAL_WAVE_UM)
    x, y, z = scan.errors.scale
    errors = replace(
        scan.errors,
        scale=(x * factor, y * factor, z * factor),
        waves=(*scan.errors.waves, wave),
    )
    return replace(
        scan,
        file=f"repeats/{operator}_{trial}.stl",
        errors=errors,
        seed=(seed, 200, operator, trial, 1),
        operator=str(operator),
        trial=str(trial),
    )

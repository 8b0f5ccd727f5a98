"""The seat that a scan of the seated crown shows: crown and die laid on it, nothing computed.

The crown's outside is laid on the seated scan, then the die's root on what that scan shows below
the crown. Both are surfaces of one scan, so that what lies near the crown's edge is left to
neither: the root's nearest place on the crown's outside would be the edge, and the scan bridges
the gap between the two.

Introduced for implant frameworks by Holst et al. 2011 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from ..errors import AreaError, SuperimpositionError
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps, scaled
from ..superimpose.result import Superimposition
from ..superimpose.rigid import apply
from ..superimpose.settings import SuperimposeSettings
from ..superimpose.superimposition import superimpose_steps
from ..surface.closest import SurfaceIndex
from .crown import FitCrown
from .die import FitDie
from .result import TripleScan
from .seat.result import Seat
from .settings import TripleScanSettings

_START_MM = 1.0
"""How far the die's root may lie from its scan at the start."""
_MUCH_UM = 30.0
"""A superimposition that is farther off than this is told of (our choice)."""


@dataclass(frozen=True)
class _Laid:
    """A part of the seated scan laid on crown or die."""

    motion: FloatArray
    rms_um: float
    area_mm2: float


def triple_scan_steps(
    crown: FitCrown,
    die: FitDie,
    seated: TriangleMesh,
    settings: TripleScanSettings | None = None,
    *,
    virtual: Seat | None = None,
    start: FloatArray | None = None,
) -> Steps[TripleScan]:
    """Find where a crown sat on its die from a scan of the two.

    Parameters
    ----------
    crown : FitCrown
        A scan (or design), with its outside.
    die : FitDie
        With some of the root below the preparation.
    seated : TriangleMesh
        Scan of the crown on the die, in any pose, mm, cut to the two.
    settings : TripleScanSettings, optional
    virtual : Seat, optional
        The computed seat to compare with; also where the search on the die starts.
    start : (4, 4) array, optional
        A rough seat to start from instead, good to half a millimetre. Without either, the die's
        pose is searched.

    Returns
    -------
    TripleScan

    Raises
    ------
    AreaError
        The crown has no outside apart from its intaglio.
    SuperimpositionError
        The seated scan cannot be laid on the crown or on the die with certainty, or shows too
        little of the die.
    """
    chosen = settings or TripleScanSettings()
    yield Progress("Laying the seated scan on the crown", 0.0)
    on_crown = yield from scaled(_on_crown_steps(crown, seated, chosen), 0.0, 0.6)
    root = _below_crown(crown, seated.moved(on_crown.motion), chosen)
    rough = start if virtual is None or start is not None else virtual.T_die_crown
    yield Progress("Laying the seated scan on the die", 0.6)
    on_die = yield from scaled(_on_die_steps(die, root, rough, chosen), 0.6, 1.0)
    # The root was given in the crown's frame already.
    seat = on_die.motion
    above, apart = _between(crown, die, seat, virtual)
    return TripleScan(
        T_die_crown=seat,
        crown_rms_um=on_crown.rms_um,
        die_rms_um=on_die.rms_um,
        virtual_above_um=above,
        virtual_apart_um=apart,
        warnings=_warnings(on_crown, on_die, virtual),
    )


def _on_crown_steps(
    crown: FitCrown, seated: TriangleMesh, settings: TripleScanSettings
) -> Steps[_Laid]:
    """Lay the seated scan on the crown's outside."""
    outside = SurfaceIndex(_outside(crown, settings.near_margin_mm))
    subject = f"{seated.name} on {crown.evaluation.design.name}"
    found = yield from scaled(superimpose_steps(seated, outside), 0.0, 0.7)
    _refuse_unless_good(found, subject, "the crown")
    close = yield from scaled(_close_fit_steps(seated, outside, found, settings), 0.7, 1.0)
    _refuse_unless_good(close, subject, "the crown")
    return _laid(seated, close, found.T_design_scan)


def _outside(crown: FitCrown, near_margin_mm: float) -> TriangleMesh:
    """The crown's outside without what lies near to the margin line; its border counts nowhere."""
    subject = crown.evaluation.design.name
    if "external" not in crown.area_set.areas:
        raise AreaError(
            "Its outside is not known apart from its intaglio.",
            subject=subject,
            remedy="Give a crown with both its surfaces.",
        )
    points = crown.area_set["external"].points & (crown.margin_distance_mm > near_margin_mm)
    mesh = crown.evaluation.mesh
    return mesh.kept(points[mesh.faces].all(axis=1))


def _below_crown(
    crown: FitCrown, seated: TriangleMesh, settings: TripleScanSettings
) -> TriangleMesh:
    """What the seated scan, in the crown's frame, shows away from the crown."""
    near = crown.index.closest(seated.vertices, max_distance_mm=settings.near_margin_mm).found
    root = seated.kept(~near[seated.faces].any(axis=1))
    _refuse_without_root(root.area_mm2, seated.name, settings)
    return root


def _on_die_steps(
    die: FitDie, root: TriangleMesh, rough: FloatArray | None, settings: TripleScanSettings
) -> Steps[_Laid]:
    """Lay what the seated scan shows below the crown on the die."""
    subject = f"{root.name} on {die.mesh.name}"
    if rough is None:
        found = yield from scaled(superimpose_steps(root, die.index), 0.0, 0.7)
        _refuse_unless_good(found, subject, "the die")
        rough = found.T_design_scan
    placed = root.moved(rough)
    near = die.index.closest(placed.vertices, max_distance_mm=_START_MM).found
    seen = placed.kept(near[placed.faces].all(axis=1))
    _refuse_without_root(seen.area_mm2, subject, settings)
    first = yield from scaled(superimpose_steps(seen, die.index, _in_place(_START_MM)), 0.7, 0.8)
    close = yield from scaled(_close_fit_steps(seen, die.index, first, settings), 0.8, 1.0)
    _refuse_unless_good(close, subject, "the die")
    laid = _laid(seen, close, first.T_design_scan)
    _refuse_without_root(laid.area_mm2, subject, settings)
    return _Laid(laid.motion @ rough, laid.rms_um, laid.area_mm2)


def _close_fit_steps(
    scan: TriangleMesh,
    target: SurfaceIndex,
    found: Superimposition,
    settings: TripleScanSettings,
) -> Steps[Superimposition]:
    """Fit once more, on what lies within reach only."""
    placed = scan.moved(found.T_design_scan)
    return (yield from superimpose_steps(placed, target, _in_place(settings.reach_mm)))


def _in_place(reach_mm: float) -> SuperimposeSettings:
    return SuperimposeSettings(
        start="in_place",
        fit_weighting="robust",
        max_distance_mm=reach_mm,
        look_for_rivals=False,
    )


def _laid(scan: TriangleMesh, close: Superimposition, before: FloatArray) -> _Laid:
    area = close.share_used * scan.area_mm2
    return _Laid(close.T_design_scan @ before, 1e3 * close.rms_mm, area)


def _between(
    crown: FitCrown, die: FitDie, seat: FloatArray, virtual: Seat | None
) -> tuple[float, float]:
    """How far the virtual seat lies above this one, and apart at most; µm."""
    if virtual is None:
        return float("nan"), float("nan")
    middle = crown.margin_line.points_mm.mean(axis=0)[None]
    above = (apply(virtual.T_die_crown, middle) - apply(seat, middle))[0] @ die.axis
    points = crown.evaluation.mesh.vertices[crown.intaglio]
    apart = np.linalg.norm(apply(virtual.T_die_crown, points) - apply(seat, points), axis=1)
    return 1e3 * float(above), 1e3 * float(apart.max())


def _warnings(on_crown: _Laid, on_die: _Laid, virtual: Seat | None) -> tuple[str, ...]:
    warnings = [
        f"The seated scan lies {laid.rms_um:.0f} µm (root mean square) off the {name}: what is "
        f"found from it is no better than that."
        for laid, name in ((on_crown, "crown"), (on_die, "die"))
        if laid.rms_um > _MUCH_UM
    ]
    if virtual is not None and virtual.stop != "rests":
        warnings.append("The virtual seat is no rest: the difference to it tells little.")
    return tuple(warnings)


def _refuse_unless_good(found: Superimposition, subject: str, what: str) -> None:
    if found.verdict != "good":
        raise SuperimpositionError(
            f"The seated scan cannot be laid on {what} with certainty. {found.reason}",
            subject=subject,
            remedy="Check that crown, die and seated scan show the same parts, that the seated "
            "scan shows the crown's outside and some of the die below it, and cut away what else "
            "it shows.",
        )


def _refuse_without_root(area_mm2: float, subject: str, settings: TripleScanSettings) -> None:
    if area_mm2 < settings.least_area_mm2:
        raise SuperimpositionError(
            f"The seated scan shows only {area_mm2:.1f} mm² of the die.",
            subject=subject,
            remedy="Scan the seated crown with some of the die below its margin, or give the seat "
            "to start from.",
            arguments=("start",),
        )

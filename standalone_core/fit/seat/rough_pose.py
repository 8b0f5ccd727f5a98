"""Where seating starts: a crown laid on its die by its design, or by its intaglio."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...arrays import FloatArray
from ...errors import SuperimpositionError
from ...progress import Progress, Steps, scaled
from ...shares import share_words
from ...superimpose.prepared import PreparedDesign
from ...superimpose.superimposition import superimpose_steps
from ...surface.closest import SurfaceIndex
from ..crown import FitCrown
from .die_search import search_die_steps
from .lie import LEAST_COVERED, REACH_MM, Lie, lie_of

_WRONG = ("mirrored", "wrong_part")
"""Verdicts after which a crown's design says nothing about where the crown belongs."""
DOUBT_MM = 0.18
"""Above this typical distance at the best fit a die may be another tooth's; measured on teeth laid
on other teeth, as for the superimposition on a design."""
_RIVAL_RATIO = 1.2


@dataclass(frozen=True, eq=False)
class LaidOnDesign:
    """Where a crown lies on its design.

    Attributes
    ----------
    T_design_crown : (4, 4) float
    rms_mm : float
        Of the superimposition.
    warnings : tuple of str
        What makes it doubtful.
    """

    T_design_crown: FloatArray
    rms_mm: float = 0.0
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class RoughPose:
    """Where a crown lies before it is seated.

    Attributes
    ----------
    T_die_crown : (4, 4) float
        Takes the crown's coordinates to the die's.
    intended : bool
        Whether this is where the crown was meant to sit, as its design shows; else it is where its
        intaglio lies best on the die.
    rms_um : float
        Of the superimposition on the design, or of the intaglio's best fit on the die.
    covered_share : float
        Share of the intaglio's area that has the die within 1 mm.
    typical_um : float
        Median distance of that part from the die.
    die_inside_out : bool
        The die's faces look into it and are to be turned round.
    warnings : tuple of str
    """

    T_die_crown: FloatArray
    intended: bool
    rms_um: float
    covered_share: float
    typical_um: float
    die_inside_out: bool
    warnings: tuple[str, ...] = ()


def rough_pose_steps(
    crown: FitCrown, die: SurfaceIndex, design: PreparedDesign | LaidOnDesign | None = None
) -> Steps[RoughPose]:
    """Lay a crown on its die, by its design if that is given in the die's frame.

    Where the design does not tell (another crown's, or not in the die's frame), the intaglio is
    laid on the die from any pose, and a warning says so.

    Parameters
    ----------
    crown : FitCrown
        In its own frame, anywhere.
    die : SurfaceIndex
        In the frame of the fit; a die, or a scan that shows it among others.
    design : PreparedDesign or LaidOnDesign, optional
        The crown's design in the die's frame; the crown itself if it is a design there. Or where
        the crown lies on that, if it is known.

    Raises
    ------
    SuperimpositionError
        The die does not match: over half of the intaglio there is no die within 1 mm.
    """
    warnings: tuple[str, ...] = ()
    if design is not None:
        pose = yield from scaled(_on_design_steps(crown, die, design), 0.0, 0.4)
        if isinstance(pose, RoughPose):
            return pose
        warnings = (pose,)
    found = yield from scaled(search_die_steps(crown, die), 0.4 if warnings else 0.0, 1.0)
    lie = found.lie
    if not lie.matches:
        raise no_match(crown, die, lie)
    if lie.typical_mm > DOUBT_MM:
        warnings += (
            f"The intaglio lies {1000.0 * lie.typical_mm:.0f} µm off the die (median) where it "
            f"fits best: much for a crown and its die. Check that they belong together.",
        )
    if found.rival_mm < _RIVAL_RATIO * lie.rms_mm:
        warnings += (
            "The crown fits nearly as well turned another way. Give its design in the die's "
            "frame, or move the crown near its place.",
        )
    return _pose(lie, intended=False, rms_mm=found.rms_mm, warnings=warnings)


def _on_design_steps(
    crown: FitCrown, die: SurfaceIndex, design: PreparedDesign | LaidOnDesign
) -> Steps[RoughPose | str]:
    """The pose that the design shows, or why it shows none."""
    laid = design if isinstance(design, LaidOnDesign) else (yield from _laid_steps(crown, design))
    if isinstance(laid, str):
        return laid
    yield Progress("Laid on the design", 1.0)
    lie = lie_of(crown, die, laid.T_design_crown)
    if not lie.matches:
        return (
            f"Where the design puts the crown, the die covers {_covered(lie)}: the design is not "
            f"in the die's frame, or is another tooth's. The crown was laid on the die by its "
            f"intaglio, so where it was meant to sit is not known. Give the design as it lies on "
            f"this die."
        )
    return _pose(lie, intended=True, rms_mm=laid.rms_mm, warnings=laid.warnings)


def _laid_steps(crown: FitCrown, design: PreparedDesign) -> Steps[LaidOnDesign | str]:
    """Lay a crown on its design; or why it does not lie there."""
    mesh = crown.evaluation.design
    if mesh.checksum == design.index.mesh.checksum:
        return LaidOnDesign(np.eye(4))
    fit = yield from superimpose_steps(mesh, design)
    if fit.verdict in _WRONG:
        return (
            f"The crown does not lie on its design: {fit.reason} It was laid on the die by its "
            f"intaglio, so where it was meant to sit is not known. Give its own design."
        )
    doubt = () if fit.verdict == "good" else (fit.reason,)
    return LaidOnDesign(fit.T_design_scan, fit.rms_mm, (*doubt, *fit.warnings))


def _pose(lie: Lie, *, intended: bool, rms_mm: float, warnings: tuple[str, ...]) -> RoughPose:
    return RoughPose(
        T_die_crown=lie.T_die_crown,
        intended=intended,
        rms_um=1000.0 * rms_mm,
        covered_share=lie.covered_share,
        typical_um=1000.0 * lie.typical_mm,
        die_inside_out=lie.inside_out,
        warnings=warnings,
    )


def no_match(crown: FitCrown, die: SurfaceIndex, lie: Lie) -> SuperimpositionError:
    """The error that a die does not match a crown."""
    return SuperimpositionError(
        f"It does not match {crown.evaluation.design.name}: laid on as well as it goes, it covers "
        f"{_covered(lie)}.",
        subject=die.mesh.name,
        remedy="Check that crown and die are of the same tooth, and the units of both files.",
    )


def _covered(lie: Lie) -> str:
    share = share_words(lie.covered_share, LEAST_COVERED)
    return f"only {share} of the intaglio to within {REACH_MM:g} mm"

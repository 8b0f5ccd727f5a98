"""When a crown counted as within tolerance, for the methods section of a study."""

from __future__ import annotations

from collections.abc import Iterator

from ...deviation.tolerances import ANY_AREA, COVERAGE_FACTOR, Tolerances
from ...shares import short_share
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.results import StudyRun
from ...words.names import area_words
from .causes_methods import Cite


def tolerance_methods(run: StudyRun, analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    """Yield sentences about tolerances and shares of crowns within; none where none was set.

    Parameters
    ----------
    run : StudyRun
    analysis : StudyAnalysis
    cite : Cite
    """
    plan = analysis.settings
    limits = {r.area: r.tolerance_um for r in analysis.findings.tolerances if r.share.n}
    if not limits:
        return
    told = [f"{area_words(area)} {limit:g} µm" for area, limit in limits.items()]
    yield (
        f"Tolerances of the mean absolute deviation, fixed in the study file, were "
        f"{'; '.join(told)}."
    )
    tolerances = run.plan.check.tolerances
    yield (
        f"A crown was within tolerance only if its mean absolute deviation was so from design to "
        f"scan and from scan to design, and no scan surface without a counterpart on the design "
        f"stood beside the area higher than {tolerances.max_unmatched_um:g} µm or over more than "
        f"{tolerances.max_unmatched_mm2:g} mm²; the margin, moreover, only if it was nowhere short "
        f"or broken along more than {tolerances.max_missing_mm:g} mm; {_guard(tolerances)}."
    )
    level = short_share(plan.confidence)
    each = max(row.next_crown.confidence for row in analysis.findings.tolerances)
    yield (
        f"The share of crowns within tolerance is given with its {level} Wilson interval "
        f"{cite('wilson')}, and a one-sided tolerance limit for "
        f"{short_share(plan.next_crown_content)} of future crowns (normal model), each with a "
        f"confidence of {short_share(each)}, so that all that is claimed of one group is so with "
        f"{level}."
    )


def _guard(tolerances: Tolerances) -> str:
    """Say how far the scanner's uncertainty was kept clear of the limit."""
    spreads = [
        f"{'other areas' if area == ANY_AREA else area_words(area)} {spread:.2g} µm"
        for area, spread in tolerances.scanner_um.items()
        if area == ANY_AREA or area in tolerances.tolerances_um
    ]
    if not spreads:
        return "the scanner's uncertainty was not taken into account"
    return (
        f"{COVERAGE_FACTOR:g} times the scanner's standard uncertainty ({'; '.join(spreads)}) was "
        f"kept clear of the limit on either side, and crowns between were left undecided"
    )

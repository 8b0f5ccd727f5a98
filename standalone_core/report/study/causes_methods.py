"""How causes were found, for the methods paragraph of a study."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from ...shares import short_share
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.results import StudyRun
from ...study.measuring.shared_causes import LEAST_CROWNS
from ...words.text import count_words


class Cite(Protocol):
    """Numbers references in the order in which they are cited."""

    def __call__(self, *keys: str) -> str:
        """Return the numbers of references, in brackets."""


def causes_methods(run: StudyRun, analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    """Yield sentences about how causes were found; none where they were not looked for.

    Parameters
    ----------
    run : StudyRun
    analysis : StudyAnalysis
    cite : Cite
    """
    found, settings = analysis.causes, run.plan.check.causes
    if found is None:
        return
    yield (
        f"Systematic causes of deviation were looked for in means over cells of about "
        f"{settings.cell_mm:g} mm, outside and intaglio apart, but for {settings.rim_mm:g} mm "
        "along the margin line; what the scans' flat triangles alone read as was taken off first."
    )
    yield (
        "Each cause is one or more columns of a linear model beside the six of a rigid motion. All "
        "admissible sets of causes were weighed by the Bayesian information criterion "
        f"{cite('bic')} and averaged over {cite('averaging')}, under two covariances of what is "
        "left, a Gaussian one and a Matérn one of smoothness 3/2, found by restricted maximum "
        f"likelihood {cite('reml')} and weighed by it. A cause was stated only if its probability "
        f"was at least {settings.probability:g}, neither covariance spoke against it, and its "
        f"deviations were at least {found.least_um:.2g} µm as root mean square."
    )
    level = short_share(analysis.settings.confidence)
    groups = [group for group in found.groups if not group.reason]
    if groups:
        yield (
            f"For each group of at least {count_words(LEAST_CROWNS, 'crown')} they were looked "
            "for in the mean of the crowns' cells; every crown was then sized by generalised "
            f"least squares in the model of what the group's mean bears. Means with {level} "
            "intervals (t distribution) and standard deviations are over crowns: the crown was "
            "the unit. Where the mean crown's surface bears less, since form error that all "
            "crowns share does not differ between them, its wider interval stands. Causes in "
            "corners were sized at points, not in cells."
        )
    if found.comparisons:
        yield " ".join(found.notes)

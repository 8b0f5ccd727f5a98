"""A study's figures: every crown, differences against their limit, systematic and random parts."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from functools import partial
from typing import TypeAlias

from ...errors import ReportError
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.results import StudyRun
from ..drawing.matplotlib_figure import NO_MATPLOTLIB, Figure, can_plot
from .causes_figure import causes_figure
from .differences import equivalence_figure, fit_equivalence_figure
from .fit_figures import theme_figure
from .fit_themes import THEMES, fit_limits_um
from .margin_figure import margin_figure
from .margin_profiles import margin_profiles
from .marginal_gap_figure import margin_curves, marginal_gap_figure
from .normal_figure import normal_figure
from .parts_figure import parts_figure
from .scores_figures import score_counts_figure, scores_figure
from .strips import precision_figure, trueness_figure

Job: TypeAlias = "partial[Figure] | partial[Figure | None]"


def study_figures(
    analysis: StudyAnalysis, executor: Executor | None = None, *, run: StudyRun | None = None
) -> Iterator[Figure]:
    """Yield every figure that an analysis gives rise to.

    Parameters
    ----------
    analysis : StudyAnalysis
        As :func:`~cuspwise.analyse_study` returns it.
    executor : concurrent.futures.Executor, optional
        Who draws, where there is matplotlib too; this process alone by default.
    run : StudyRun, optional
        What was analysed: needed for ``margin_profile`` and ``marginal_gap``, for the limits of
        the crowns' fit and for what scores mean.

    Yields
    ------
    Figure
        ``trueness_AREA``, ``precision_AREA``, ``equivalence_MEASURE``, ``parts``, ``causes``,
        ``fit_margin``, ``fit_inside``, ``fit_seat``, ``fit_walls``, ``fit_contacts``,
        ``equivalence_fit``, ``marginal_gap``, ``margin_profile``, ``normality``,
        ``score_counts_ITEM``, ``scores_ITEM_AREA_MEASURE``, each as SVG, PDF and PNG of 600 dpi
        at the width of a journal's column, 85 mm.

    Raises
    ------
    ReportError
        matplotlib is not installed.

    Examples
    --------
    >>> import cuspwise
    >>> study = cuspwise.read_study(cuspwise.demo_study("trial"))
    >>> analysis = cuspwise.analyse_study(cuspwise.run_study(study, "trial/results"))
    >>> figure = next(cuspwise.study_figures(analysis))
    >>> figure.name, figure.svg.count("<svg"), figure.png[1:4]
    ('trueness_whole', 1, b'PNG')
    """
    if not can_plot():
        raise ReportError(
            NO_MATPLOTLIB, subject="figures", remedy="Install it: pip install matplotlib."
        )
    jobs = _jobs(analysis, run)
    if executor is None:
        drawn: Iterator[Figure | None] = (job() for job in jobs)
    else:
        drawn = (future.result() for future in [executor.submit(job) for job in jobs])
    yield from (figure for figure in drawn if figure is not None)


def _jobs(analysis: StudyAnalysis, run: StudyRun | None) -> list[Job]:
    jobs: list[Job] = [partial(trueness_figure, analysis, area) for area in analysis.areas]
    jobs += [partial(precision_figure, analysis, area) for area in analysis.areas]
    jobs += [partial(equivalence_figure, analysis, measure) for measure in analysis.measures]
    if analysis.parts:
        jobs.append(partial(parts_figure, analysis))
    if analysis.causes is not None:
        jobs.append(partial(causes_figure, analysis))
    if analysis.fit is not None:
        jobs += _fit_jobs(analysis, run)
    profiles = None if run is None else margin_profiles(run, analysis)
    if profiles is not None:
        jobs.append(partial(margin_figure, profiles))
    jobs.append(partial(normal_figure, analysis))
    return [*jobs, *_score_jobs(analysis, run)]


def _score_jobs(analysis: StudyAnalysis, run: StudyRun | None) -> list[Job]:
    if analysis.examiners is None:
        return []
    words = {} if run is None else run.plan.scores.words
    items = dict.fromkeys(row.item for row in analysis.examiners.groups)
    jobs: list[Job] = [
        partial(score_counts_figure, analysis, item, words.get(item, ())) for item in items
    ]
    beside = dict.fromkeys((c.item, c.area, c.measure) for c in analysis.examiners.crowns)
    return [*jobs, *(partial(scores_figure, analysis, *place) for place in beside)]


def _fit_jobs(analysis: StudyAnalysis, run: StudyRun | None) -> list[Job]:
    limits = {} if run is None else fit_limits_um(run)
    jobs: list[Job] = [partial(theme_figure, analysis, theme, limits) for theme in THEMES]
    jobs.append(partial(fit_equivalence_figure, analysis))
    curves = None if run is None else margin_curves(run, analysis)
    return jobs if curves is None else [*jobs, partial(marginal_gap_figure, curves)]

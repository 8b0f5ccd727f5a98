"""A study's figures: every crown, differences against their limit, systematic and random parts."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from functools import partial
from typing import TYPE_CHECKING, TypeAlias

from ...errors import ReportError
from ...study.analysis.fit_words import fit_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.scores import ScoredCrown
from ...study.fit_plan import FIT_MEASURES
from ...study.measuring.results import StudyRun
from ...words.names import area_words
from ...words.text import micrometres
from ..drawing.amount_colours import GroupStyle, group_style
from ..drawing.matplotlib_figure import (
    NO_MATPLOTLIB,
    SOFT,
    Figure,
    bare_axes,
    can_plot,
    draw_figure,
)
from .causes_figure import causes_figure
from .differences import equivalence_figure, fit_equivalence_figure
from .fit_figures import theme_figure
from .fit_themes import THEMES, fit_limits_um
from .marginal_gap_figure import margin_curves, marginal_gap_figure
from .sentences import (
    crown_words,
    short_measure,
    shown,
    shown_factor,
    titles_of,
    unit_of,
    wrapped,
)
from .strips import LABEL_WIDTH, precision_figure, trueness_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

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
        What was analysed: needed for ``marginal_gap``, and for the limits of the crowns' fit.

    Yields
    ------
    Figure
        ``trueness_AREA``, ``precision_AREA``, ``equivalence_MEASURE``, ``parts``, ``causes``,
        ``fit_margin``, ``fit_inside``, ``fit_seat``, ``fit_walls``, ``fit_contacts``,
        ``equivalence_fit``, ``marginal_gap``, ``scores_ITEM_AREA_MEASURE``, each as SVG and PNG.

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
    if analysis.examiners is not None:
        crowns = analysis.examiners.crowns
        items = dict.fromkeys((c.item, c.area, c.measure) for c in crowns)
        jobs += [partial(scores_figure, analysis, *item) for item in items]
    return jobs


def _fit_jobs(analysis: StudyAnalysis, run: StudyRun | None) -> list[Job]:
    limits = {} if run is None else fit_limits_um(run)
    jobs: list[Job] = [partial(theme_figure, analysis, theme, limits) for theme in THEMES]
    jobs.append(partial(fit_equivalence_figure, analysis))
    curves = None if run is None else margin_curves(run, analysis)
    return jobs if curves is None else [*jobs, partial(marginal_gap_figure, curves)]


def parts_figure(analysis: StudyAnalysis) -> Figure:
    """Draw what all crowns of a group share beside what differs between them, per area."""
    titles, step = titles_of(analysis), 1.0
    areas = [a for a in analysis.areas if any(p.area == a for p in analysis.parts)]
    groups = [g for g in analysis.groups if any(p.group == g for p in analysis.parts)]
    thick = 0.8 / (2 * len(groups))

    def fill(drawing: Drawing) -> None:
        axes = drawing.subplots()
        bare_axes(axes, rows=len(areas))
        for part in analysis.parts:
            if part.area not in areas or part.group not in groups:
                continue
            style = group_style(analysis.groups.index(part.group))
            top = step * areas.index(part.area) - 0.4 + 2 * thick * groups.index(part.group)
            for k, (value, hatch) in enumerate(
                ((part.systematic_um, ""), (part.random_um, "/////"))
            ):
                axes.barh(
                    top + (k + 0.5) * thick,
                    value,
                    0.86 * thick,
                    color="white" if hatch else style.colour,
                    edgecolor=style.colour,
                    hatch=hatch,
                    lw=0.8,
                    zorder=3,
                )
        axes.set_yticks(range(len(areas)), [wrapped(area_words(a), LABEL_WIDTH) for a in areas])
        axes.set_xlabel("root mean square, µm")
        _parts_key(drawing, [(titles[g], group_style(analysis.groups.index(g))) for g in groups])

    alt = " ".join(
        f"{area_words(p.area)}, {titles[p.group]}: systematic {micrometres(p.systematic_um)} µm, "
        f"random {micrometres(p.random_um)} µm."
        for p in analysis.parts
    )
    height = 0.9 + len(areas) * (0.16 + 0.2 * len(groups))
    return draw_figure("parts", "Systematic and random parts", alt, height, fill)


def _parts_key(drawing: Drawing, groups: Sequence[tuple[str, GroupStyle]]) -> None:
    from matplotlib.patches import Patch

    handles = [
        Patch(facecolor=style.colour, label=wrapped(title, 24, 1)) for title, style in groups
    ]
    handles += [
        Patch(facecolor=SOFT, label="systematic: shared"),
        Patch(facecolor="white", edgecolor=SOFT, hatch="/////", label="random: between crowns"),
    ]
    drawing.legend(handles=handles, loc="outside upper left", ncols=2, frameon=False, fontsize=7.5)


def scores_figure(analysis: StudyAnalysis, item: str, area: str, measure: str) -> Figure:
    """Draw the crowns' median scores on one item against what was measured in one area."""
    found = analysis.examiners
    assert found is not None
    crowns = [
        crown
        for crown in found.crowns
        if (crown.item, crown.area, crown.measure) == (item, area, measure)
        and math.isfinite(crown.median)
    ]
    worst = max((c.median for c in crowns), default=1.0)
    beside, what = area_words(area), f"{area_words(area)}: {short_measure(measure)}"
    if measure in FIT_MEASURES:
        beside = what = fit_words(area, measure)

    def fill(drawing: Drawing) -> None:
        axes = drawing.subplots()
        bare_axes(axes, rows=math.ceil(worst) + 1)
        for place in range(len(analysis.groups)):
            _draw_scores(axes, analysis, place, crowns, shown_factor(measure))
        axes.set_yticks(range(math.ceil(worst) + 1))
        axes.set_ylabel("median score (0 best)")
        axes.set_xlabel(f"{what}, {unit_of(measure)}")
        axes.margins(x=0.05)
        drawing.legend(loc="outside upper left", ncols=3, frameon=False, fontsize=7.5)

    alt = "; ".join(
        f"{crown_words(c.crown)} score {c.median:g}, {shown(c.measured, measure)}" for c in crowns
    )
    title = f"Score “{item}” beside the {beside}"
    return draw_figure(
        f"scores_{item}_{area}_{measure}", title, alt, 0.95 + 0.42 * (math.ceil(worst) + 1), fill
    )


def _draw_scores(
    axes: Axes, analysis: StudyAnalysis, place: int, crowns: Sequence[ScoredCrown], factor: float
) -> None:
    """Draw one group's crowns, a little above or below those of the others."""
    group, style = analysis.groups[place], group_style(place)
    own = [c for c in crowns if c.group == group and math.isfinite(c.measured)]
    axes.scatter(
        [factor * c.measured for c in own],
        [c.median - 0.16 + 0.32 * place / max(1, len(analysis.groups) - 1) for c in own],
        s=20,
        marker=style.marker,
        color=style.colour,
        edgecolor="white",
        linewidth=0.4,
        zorder=3,
        label=wrapped(analysis.group_titles[place], 24, 1),
        gid=f"scores-{group}",
    )

"""The maps of a study on its design: what is shown, on which scale, in which colours."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...arrays import FloatArray
from ...deviation.direction import DESIGN_TO_SCAN
from ...shares import share_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.results import GroupMap, StudyRun
from ...words.names import DIRECTION_WORDS
from ..drawing.amount_colours import amount_colours, amount_hex
from ..drawing.deviation_colours import ColourArray, deviation_colours
from ..drawing.legend import Legend, colour_limit_um, make_legend, number
from ..drawing.pictures import Colouring
from ..drawing.svg_layout import LEFT, RIGHT, Bar, Mark, Plot, legend_plot
from ..drawing.views import View, standard_views
from .sentences import titles_of

KINDS = ("mean", "sd", "share", "worst", "difference")
FROM_DESIGN = DIRECTION_WORDS[DESIGN_TO_SCAN]
"""The only direction of maps: they stand at the design's points."""

HEADS: Mapping[str, str] = {
    "mean": "Mean of the group",
    "sd": f"Spread between crowns, {FROM_DESIGN}",
    "share": f"Crowns outside tolerance, {FROM_DESIGN}",
    "worst": f"Worst crown at each place, {FROM_DESIGN}",
    "difference": f"Where groups differ, {FROM_DESIGN}",
}
"""What maps of a kind are called; those of means have their direction in their captions."""
LEGEND_STEPS = 65


@dataclass(frozen=True)
class Scale:
    """The one scale of all maps of a kind.

    Attributes
    ----------
    kind : str
        Of :data:`KINDS`.
    limit : float
        The map runs from −limit to +limit, or from 0 to limit, in ``unit``.
    signed : bool
    unit : str
    low_words, high_words : str
        What lies at the ends.
    plot : Plot
        Its legend.
    tolerance_text : str
        What the band on the legend is; empty without one.
    """

    kind: str
    limit: float
    signed: bool
    unit: str
    low_words: str
    high_words: str
    plot: Plot
    tolerance_text: str = ""

    @property
    def range_words(self) -> str:
        """The ends of the scale."""
        limit = number(self.limit)
        return f"−{limit} to +{limit} {self.unit}" if self.signed else f"0 to {limit} {self.unit}"


@dataclass(frozen=True, eq=False)
class StudyMap:
    """One map.

    Attributes
    ----------
    name : str
        ``KIND_GROUP`` or ``difference_SECOND_FIRST``.
    kind, title : str
    colours : (p, 3) uint8
        At the design's evaluation points.
    views : tuple of View
        The sides it is drawn from.
    clipped, unmeasured : float
        Share of the measured surface beyond the scale, and of the surface without a value.
    """

    name: str
    kind: str
    title: str
    colours: ColourArray
    views: tuple[View, ...]
    clipped: float
    unmeasured: float

    @property
    def caption(self) -> str:
        """Say what is beyond the scale and what was not measured; of means the direction too."""
        way = f"{FROM_DESIGN}, " if self.kind == "mean" else ""
        return (
            f"{way}{share_words(self.clipped)} beyond the scale, "
            f"{share_words(self.unmeasured)} not measured"
        )


@dataclass(frozen=True, eq=False)
class StudyMaps:
    """All maps of a study, and the scale of each kind."""

    maps: tuple[StudyMap, ...]
    scales: Mapping[str, Scale]

    def of(self, kind: str) -> tuple[StudyMap, ...]:
        """Return the maps of one kind."""
        return tuple(found for found in self.maps if found.kind == kind)

    @property
    def colourings(self) -> tuple[Colouring, ...]:
        """What is to be drawn."""
        return tuple(Colouring(found.name, found.colours, found.views) for found in self.maps)


def study_maps(run: StudyRun, analysis: StudyAnalysis) -> StudyMaps:
    """Colour every map of a study.

    Means and differences share one symmetric scale over all groups; spread, worst crown and
    share have one of their own each. A difference is coloured only where it is significant
    (q ≤ α): elsewhere it has the colour of zero.

    Parameters
    ----------
    run : StudyRun
    analysis : StudyAnalysis
    """
    weights, titles = run.area_set.evaluation.weights_mm2, titles_of(analysis)
    views = _views(run)
    scales = _scales(run, weights)
    maps: list[StudyMap] = []
    for kind, name, title, values in _values(run, analysis, titles):
        scale = scales[kind]
        sides = views if kind == "mean" else views[:2]
        maps.append(_map(kind, name, title, values, scale, weights, sides))
    return StudyMaps(
        tuple(maps), {k: s for k, s in scales.items() if any(m.kind == k for m in maps)}
    )


def _views(run: StudyRun) -> tuple[View, ...]:
    areas = run.area_set
    return standard_views(
        areas.insertion,
        areas.settings.mesial_direction,
        has_intaglio="intaglio" in areas.areas,
    )


def _values(
    run: StudyRun, analysis: StudyAnalysis, titles: Mapping[str, str]
) -> Iterator[tuple[str, str, str, FloatArray]]:
    for kind in KINDS[:4]:
        for group, found in run.maps.items():
            if found.n > 1 or kind == "mean":
                yield kind, f"{kind}_{group}", titles.get(group, group), _of_group(found, kind)
    for row in run.differences:
        told = np.where(row.q_value <= analysis.settings.alpha, row.difference_um, 0.0)
        values = np.where(np.isfinite(row.difference_um), told, np.nan)
        title = f"{titles.get(row.second, row.second)} minus {titles.get(row.first, row.first)}"
        yield "difference", f"difference_{row.second}_{row.first}", title, values


def _of_group(found: GroupMap, kind: str) -> FloatArray:
    values = {
        "mean": found.mean_um,
        "sd": found.sd_um,
        "share": 100.0 * found.share_outside,
        "worst": found.worst_um,
    }
    return values[kind]


def _scales(run: StudyRun, weights: FloatArray) -> dict[str, Scale]:
    limit_um = run.plan.check.tolerances.limit_um("whole")
    tolerance = limit_um if np.isfinite(limit_um) else None
    groups = list(run.maps.values())
    mean = _common_limit([g.mean_um for g in groups], weights, tolerance)
    worst = _common_limit([g.worst_um for g in groups], weights, tolerance)
    spread = _common_limit([g.sd_um for g in groups if g.n > 1], weights, None)
    return {
        "mean": _signed_scale("mean", mean, tolerance, "missing", "excess"),
        "sd": _amount_scale("sd", spread, "µm", "crowns agree", "crowns differ"),
        "share": _amount_scale("share", 100.0, "%", "no crown", "all crowns"),
        "worst": _signed_scale("worst", worst, tolerance, "missing", "excess"),
        "difference": _signed_scale("difference", mean, None, "less material", "more material"),
    }


def _common_limit(
    maps: Sequence[FloatArray], weights: FloatArray, tolerance_um: float | None
) -> float:
    if not maps:
        return 1.0
    values = np.concatenate(maps) / 1e3
    return colour_limit_um(values, np.tile(weights, len(maps)), tolerance_um=tolerance_um)


def _signed_scale(
    kind: str, limit_um: float, tolerance: float | None, low: str, high: str
) -> Scale:
    legend: Legend = make_legend([0.0], [1.0], limit_um=limit_um, tolerance_um=tolerance)
    text = legend.tolerance_text if legend.band is not None else ""
    return Scale(kind, limit_um, True, "µm", low, high, legend_plot(legend), text)


def _amount_scale(kind: str, limit: float, unit: str, low: str, high: str) -> Scale:
    left, right = LEFT, RIGHT
    edges = np.linspace(left, right, LEGEND_STEPS + 1)
    bars = tuple(
        Bar(round(float(a), 2), 26.0, round(float(b - a) + 0.3, 2), 16.0, amount_hex(k / 64))
        for k, (a, b) in enumerate(itertools.pairwise(edges))
    )
    ticks = tuple(
        Mark(round(left + (right - left) * share, 2), number(round(limit * share, 6)))
        for share in (0.0, 0.25, 0.5, 0.75, 1.0)
    )
    plot = Plot(340.0, 66.0, left, right, 26.0, 42.0, bars, ticks, None, left)
    return Scale(kind, limit, False, unit, low, high, plot)


def _map(
    kind: str,
    name: str,
    title: str,
    values: FloatArray,
    scale: Scale,
    weights: FloatArray,
    views: tuple[View, ...],
) -> StudyMap:
    measured = np.isfinite(values)
    total, counted = float(weights.sum()), float(weights[measured].sum())
    beyond = measured & (np.abs(np.where(measured, values, 0.0)) > scale.limit)
    if scale.signed:
        colours = deviation_colours(values / 1e3, scale.limit / 1e3)
    else:
        colours = amount_colours(values, scale.limit)
    return StudyMap(
        name=name,
        kind=kind,
        title=title,
        colours=colours,
        views=views,
        clipped=float(weights[beyond].sum()) / counted if counted > 0.0 else 0.0,
        unmeasured=max(0.0, 1.0 - counted / total),
    )

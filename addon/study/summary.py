"""What of a study's results is kept in the .blend, as plain data. Needs no Blender."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ...standalone_core.csv_text import csv_text
from ...standalone_core.records import plain
from ...standalone_core.report.study.sentences import (
    opening_lines,
    shown,
    shown_factor,
    titles_of,
    unit_of,
)
from ...standalone_core.words.names import area_words, measure_words

if TYPE_CHECKING:
    from ...standalone_core.measure import ReadyDesign
    from ...standalone_core.study.analysis.results.analysis import StudyAnalysis
    from ...standalone_core.study.measuring.results import StudyRun

POINT_WEIGHT = "weight_mm2"
PER_MM = 1e-3


@dataclass(frozen=True, eq=False)
class Outcome:
    """What a study's run left behind.

    Attributes
    ----------
    run : StudyRun
    analysis : StudyAnalysis
    files : int
        How many files of a report were written.
    ready : ReadyDesign
        The design that all crowns were measured on.
    """

    run: StudyRun
    analysis: StudyAnalysis
    files: int
    ready: ReadyDesign


def summary(outcome: Outcome, unreadable: Sequence[Mapping[str, str]]) -> dict[str, Any]:
    """Return the numbers and sentences that the panel shows.

    Parameters
    ----------
    outcome : Outcome
    unreadable : sequence of mapping
        Scans that could not even be written: name, group, reason, remedy.
    """
    run, analysis = outcome.run, outcome.analysis
    opening = opening_lines(analysis)
    left_out = [*unreadable, *(_left_out(run, row) for row in run.left_out)]
    document: dict[str, Any] = plain(
        {
            "title": analysis.title,
            "groups": [
                {"name": name, "title": title, "n": len(run.crowns_of(name))}
                for name, title in titles_of(analysis).items()
            ],
            "areas": analysis.areas,
            "measures": analysis.measures,
            "opening": [_line(line) for line in opening],
            "more": [_line(line) for line in analysis.verdict if line not in opening],
            "rows": _rows(analysis),
            "comparisons": _comparisons(analysis),
            "odd": [
                {"crown": row.crown, "group": row.group, "reason": row.reason}
                for row in analysis.odd_crowns
                if row.odd
            ],
            "left_out": left_out,
            "warnings": _warnings(run),
            "caveat": analysis.difference_caveat,
            "alpha": analysis.settings.alpha,
            "tolerance_um": run.plan.check.tolerances.limit_um("whole"),
            "maps": _map_rows(run, analysis),
        }
    )
    return document


def map_values(run: StudyRun) -> dict[str, np.ndarray]:
    """Return every map at the evaluation points, by the name of its attribute.

    Deviations in mm; shares from 0 to 1; ``q`` are the adjusted p-values of a difference.
    """
    values: dict[str, np.ndarray] = {POINT_WEIGHT: run.area_set.evaluation.weights_mm2}
    for number, found in enumerate(run.maps.values()):
        values[f"mean {number}"] = PER_MM * found.mean_um
        values[f"worst {number}"] = PER_MM * found.worst_um
        values[f"sd {number}"] = PER_MM * found.sd_um
        values[f"share {number}"] = found.share_outside
    for number, row in enumerate(run.differences):
        values[f"difference {number}"] = PER_MM * row.difference_um
        values[f"q {number}"] = row.q_value
    return values


def table_text(kept: Mapping[str, Any]) -> str:
    """Return all groups, areas and measures as tab-separated text with a line of heads."""
    heads = ("group", "area", "measure", "unit", "crowns", "trueness mean", "trueness SD")
    table: list[list[object]] = [[*heads, "precision mean", "precision SD"]]
    titles = {group["name"]: group["title"] for group in kept["groups"]}
    for row in kept["rows"]:
        measure = row["measure"]
        words = (titles[row["group"]], area_words(row["area"]), measure_words(measure))
        names = ("mean", "sd", "precision_mean", "precision_sd")
        numbers = [_cell(row[name], measure) for name in names]
        table.append([*words, unit_of(measure), row["n"], *numbers])
    return csv_text(table, "\t")


def rows_for(kept: Mapping[str, Any], area: str, measure: str) -> list[dict[str, Any]]:
    """Return the rows of one area and measure, group by group; missing numbers as NaN."""
    return [
        {name: math.nan if value is None else value for name, value in row.items()}
        for row in kept["rows"]
        if (row["area"], row["measure"]) == (area, measure)
    ]


def comparison_lines(kept: Mapping[str, Any], area: str, measure: str) -> list[tuple[str, str]]:
    """Return what was compared in one area by one measure: trueness or precision, and a line."""
    from ...standalone_core.study.analysis.sentences import interval_words

    lines = []
    for row in kept["comparisons"]:
        if (row["area"], row["measure"]) != (area, measure):
            continue
        numbers = ""
        if row["difference"] is not None and row["low"] is not None:
            difference = shown(row["difference"], measure, signed=True)
            numbers = f", {difference} ({interval_words(row['low'], row['high'], measure)})"
        lines.append((row["aspect"], f"{row['groups']}: {row['outcome']}{numbers}"))
    return lines


def _rows(analysis: StudyAnalysis) -> list[dict[str, Any]]:
    precise = {(r.group, r.area, r.measure): r.summary for r in analysis.findings.precision}
    rows = []
    for row in analysis.findings.trueness:
        found = precise.get((row.group, row.area, row.measure))
        rows.append(
            {
                "group": row.group,
                "area": row.area,
                "measure": row.measure,
                "n": row.summary.description.n,
                "mean": row.summary.description.mean,
                "sd": row.summary.description.sd,
                "reason": row.reason,
                "precision_mean": found.description.mean if found else math.nan,
                "precision_sd": found.description.sd if found else math.nan,
            }
        )
    return rows


def _comparisons(analysis: StudyAnalysis) -> list[dict[str, Any]]:
    from ...standalone_core.statistics.equivalence import OUTCOME_WORDS

    findings, titles = analysis.findings, titles_of(analysis)
    aspects = (
        ("Trueness", findings.comparisons),
        ("Precision", findings.precision_comparisons),
    )
    return [
        {
            "aspect": aspect,
            "area": row.area,
            "measure": row.measure,
            "groups": f"{titles[row.second]} minus {titles[row.first]}",
            "outcome": OUTCOME_WORDS[row.outcome],
            "difference": row.difference,
            "low": row.low,
            "high": row.high,
        }
        for aspect, rows in aspects
        for row in rows
    ]


def _map_rows(run: StudyRun, analysis: StudyAnalysis) -> list[dict[str, str]]:
    titles = titles_of(analysis)
    rows = []
    for number, (name, found) in enumerate(run.maps.items()):
        for kind in ("mean", "sd", "worst", "share"):
            if found.n > 1 or kind == "mean":
                words = {"kind": kind, "group": name, "title": titles.get(name, name)}
                rows.append({**words, "attribute": f"{kind} {number}"})
    for number, row in enumerate(run.differences):
        title = f"{titles.get(row.second, row.second)} minus {titles.get(row.first, row.first)}"
        words = {"kind": "difference", "group": f"{row.second} - {row.first}", "title": title}
        rows.append({**words, "attribute": f"difference {number}", "q": f"q {number}"})
    return rows


def _line(line: Any) -> dict[str, str]:
    return {"kind": line.kind, "status": line.status, "sentence": line.sentence}


def _left_out(run: StudyRun, row: Any) -> dict[str, str]:
    title = run.plan.group(row.group).title
    return {"name": row.name, "group": title, "reason": row.reason, "remedy": row.remedy}


def _warnings(run: StudyRun) -> list[str]:
    return [*run.warnings, *(f"{c.name}: {text}" for c in run.crowns for text in c.warnings)]


def _cell(value: float | None, measure: str) -> str:
    return "" if value is None else f"{shown_factor(measure) * value:.2f}"

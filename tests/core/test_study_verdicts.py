"""What a study makes of unmatched surface and of the scanner's uncertainty."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.deviation.unmatched import UnmatchedPiece
from cuspwise.standalone_core.deviation.verdict import ScanEvidence
from cuspwise.standalone_core.report.study.sentences import opening_lines
from cuspwise.standalone_core.report.study.tables import study_tables
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.tolerances import judged_um
from cuspwise.standalone_core.study.measuring.crowns import judged
from cuspwise.standalone_core.study.measuring.results import RepeatScan, StudyRun
from cuspwise.standalone_core.study.measuring.scanner_uncertainty import scanner_uncertainty_um
from made.study_runs import study

MARGINS_UM = (8.0, 8.4, 7.9, 8.2, 8.1, 8.3, 7.8, 8.0)
FLASH = UnmatchedPiece(
    area_mm2=3.3,
    height_um=292.0,
    mean_um=190.0,
    beyond_search=False,
    loose=False,
    areas=("margin",),
    margin_mm=7.5,
    centre_mm=(0.0, 0.0, 0.0),
    peak_mm=(4.0, 0.0, 0.0),
    n=60,
)


def run(pieces: tuple[UnmatchedPiece, ...] = ()) -> StudyRun:
    """Eight crowns far within the margin's tolerance; the third has unmatched surface."""
    plain = study({"milled": {"whole": MARGINS_UM, "margin": MARGINS_UM}})
    third = replace(plain.crowns[2], evidence=ScanEvidence(unmatched=pieces))
    crowns = (*plain.crowns[:2], judged(third, plain.plan.check), *plain.crowns[3:])
    return replace(plain, crowns=crowns)


def test_a_crown_with_flash_is_named_and_keeps_its_group_from_meeting_the_tolerance() -> None:
    sound, flashed = analyse_study(run()), analyse_study(run((FLASH,)))
    (before,) = (row for row in sound.findings.tolerances if row.area == "margin")
    (after,) = (row for row in flashed.findings.tolerances if row.area == "margin")
    assert (before.share.within, before.meets) == (8, True)
    assert (after.share.within, after.share.n, after.meets) == (7, 8, None)
    (line,) = (line for line in opening_lines(flashed) if line.kind == "unmatched")
    name = run().crowns[2].name
    assert line.status == "bad"
    assert line.sentence.startswith(f"{name}: The scan has surface that the design has not")
    assert "292 µm high, along 7.5 mm of the margin" in line.sentence
    assert not any(line.kind == "unmatched" for line in sound.verdict)


def test_the_table_of_verdicts_holds_every_crown_and_area() -> None:
    text = study_tables(run((FLASH,)))["verdicts"].text
    header, *rows = text.splitlines()
    assert header.split(",")[:6] == [
        *("crown", "group", "area", "verdict", "mean_abs_um", "back_mean_abs_um")
    ]
    assert len(rows) == 2 * len(MARGINS_UM)
    outside = [row.split(",")[0] for row in rows if ",margin,outside," in row]
    assert outside == [run().crowns[2].name]


def test_crowns_are_judged_by_the_larger_direction() -> None:
    crown = run().crowns[0]
    back = replace(crown.measures[1], direction="scan_to_design", mean_abs_um=12.5)
    both = judged(replace(crown, measures=(*crown.measures, back)), CheckSettings())
    assert judged_um(crown, "margin") == 8.0
    assert judged_um(both, "margin") == 12.5


def scanned(crown: str, operator: str, trial: int, margin_um: float) -> RepeatScan:
    row = SimpleNamespace(area="margin", direction="design_to_scan", mean_abs_um=margin_um)
    back = SimpleNamespace(area="margin", direction="scan_to_design", mean_abs_um=99.0)
    return RepeatScan(crown, operator, str(trial), SimpleNamespace(measures=(row, back)))


def test_the_scanners_uncertainty_is_the_pooled_spread_within_crowns() -> None:
    """Pooled variance, Σ(nᵢ−1)sᵢ²/Σ(nᵢ−1), by numpy; what parts crowns does not enter."""
    first, second = [8.0, 8.5, 7.7, 8.2], [21.0, 21.3, 20.2]
    repeats = [scanned("a", "ABAB"[k], k, value) for k, value in enumerate(first)]
    repeats += [scanned("b", "A", k, value) for k, value in enumerate(second)]
    pooled = (3 * np.var(first, ddof=1) + 2 * np.var(second, ddof=1)) / 5
    assert scanner_uncertainty_um(repeats) == {"margin": pytest.approx(np.sqrt(pooled))}


def test_too_few_repeats_tell_no_uncertainty() -> None:
    repeats = [scanned("a", "A", k, 8.0 + 0.1 * k) for k in range(4)]
    assert scanner_uncertainty_um(repeats) == {}
    repeats.append(scanned("a", "A", 4, 8.4))
    assert set(scanner_uncertainty_um(repeats)) == {"margin"}
    repeats[0] = scanned("a", "A", 0, np.nan)
    assert scanner_uncertainty_um(repeats) == {}

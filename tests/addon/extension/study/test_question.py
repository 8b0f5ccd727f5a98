"""What a study is to answer and how, as the study file says it and the core reads it."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

from calls import call
from studies import core_run, kept, out_of_date


def ask_much(case: SimpleNamespace, earlier: Path | None = None) -> None:
    """Choose many things otherwise at once."""
    settings, study = case.settings, case.settings.study
    data = settings.design.cuspwise
    data.mesial_direction, settings.areas.margin_band_mm = (1.0, 0.0, 0.0), 1.4
    settings.superimpose.fit_weighting = "robust"
    settings.points.max_normal_angle_deg = 55.0
    settings.verdicts.direction, settings.verdicts.min_coverage = "scan_to_design", 0.8
    settings.verdicts.patch_um = 70.0
    settings.scanner_um = 1.5
    for rows, area, um in (
        ("tolerances", "axial", 44.0),
        ("scanners", "margin", 2.0),
        ("equivalences", "margin", 6.0),
    ):
        assert call(case, "add_area_row", rows=rows, area=area) == {"FINISHED"}
        (study if rows == "equivalences" else settings).__getattribute__(rows)[-1].um = um
    study.equivalence_um, study.lead, study.alpha, study.seed = 12.0, "ranks", 0.1, 7
    study.primary_area, study.primary_measure = "occlusal", "rms_um"
    study.own_comparisons = True
    for area, measure in (("margin", "mean_abs_um"), ("whole", "rms_um")):
        assert call(case, "add_comparison", area=area, measure=measure) == {"FINISHED"}
    assert call(case, "move_comparison", number=1) == {"FINISHED"}
    study.measures = {"rms_um", "mean_abs_um"}
    study.question, study.sample_size_rationale = 'Which is "truer"?', "Two were at hand."
    study.resamples = 200
    if earlier is not None:
        study.earlier = str(earlier)


def plan_of(case: SimpleNamespace, folder: Path) -> Any:
    return case.part("standalone_core.study.file.read").read_plan(folder / "study.toml")


def test_every_choice_is_in_the_plan_and_the_numbers_are_the_command_lines(
    listed: SimpleNamespace, tmp_path: Path
) -> None:
    ask_much(listed)
    assert call(listed, "run_study") == {"FINISHED"}
    plan = plan_of(listed, listed.folder)
    choices = listed.part("addon.check.scene_choices")
    wanted = choices.check_settings(choices.choices_of(listed.settings))
    for name in ("areas", "superimpose", "deviation", "patches", "tolerances", "direction"):
        assert getattr(plan.check, name) == getattr(wanted, name), name
    assert plan.check.areas.mesial_direction == (1.0, 0.0, 0.0)
    analysis = plan.analysis
    assert (analysis.lead, analysis.alpha, analysis.seed) == ("ranks", 0.1, 7)
    assert analysis.order == (
        ("occlusal", "rms_um"),
        ("whole", "rms_um"),
        ("margin", "mean_abs_um"),
    )
    assert dict(analysis.equivalence_um) == {"default": 12.0, "margin": 6.0}
    assert plan.measures == ("mean_abs_um", "rms_um")
    assert plan.question == 'Which is "truer"?'
    assert analysis.sample_size_rationale == "Two were at hand."
    # The table shows the direction that was chosen, to the last bit of the command line's.
    run = core_run(listed, listed.folder / "study.toml", tmp_path / "again")
    for row in kept(listed)["rows"]:
        found = [
            getattr(crown.measures_of(row["area"], "scan_to_design"), row["measure"])
            for crown in run.crowns_of(row["group"])
        ]
        assert row["mean"] == sum(found) / len(found) or abs(row["mean"] - sum(found) / 2) < 1e-12
    assert {"contact_mesial", "contact_distal"} <= set(kept(listed)["areas"])


def test_an_earlier_study_is_compared_with(studied: SimpleNamespace) -> None:
    """With itself: the same crowns again, so that nothing differs."""
    results = studied.folder / "study_results" / "study.json"
    assert results.is_file()
    copy = studied.folder.parent / "earlier.json"
    copy.write_bytes(results.read_bytes())
    studied.settings.study.earlier = str(copy)
    assert out_of_date(studied) == "Another setting was chosen since: earlier study."
    assert call(studied, "run_study") == {"FINISHED"}
    assert plan_of(studied, studied.folder).earlier == copy
    assert out_of_date(studied) == ""


def test_what_is_asked_makes_a_study_out_of_date(studied: SimpleNamespace) -> None:
    settings, study = studied.settings, studied.settings.study
    for owner, name, value, words in (
        (study, "lead", "trimmed", "analysis"),
        (study, "own_comparisons", True, "comparisons after the main one"),
        (study, "measures", {"rms_um"}, "measures"),
        (settings.verdicts, "direction", "scan_to_design", "rules of verdicts"),
        (settings.areas, "margin_band_mm", 0.5, "thresholds or directions of the areas"),
        (settings.superimpose, "fit_weighting", "robust", "best fit"),
    ):
        before = getattr(owner, name)
        setattr(owner, name, value)
        assert out_of_date(studied) == f"Another setting was chosen since: {words}."
        setattr(owner, name, before)
        assert out_of_date(studied) == ""


def test_an_implausible_limit_of_an_area_is_refused(listed: SimpleNamespace) -> None:
    import pytest

    assert call(listed, "add_area_row", rows="equivalences", area="margin") == {"FINISHED"}
    listed.settings.study.equivalences[0].um = 6000.0
    with pytest.raises(RuntimeError, match="Equivalence Limit"):
        call(listed, "run_study")
    assert not listed.folder.exists()

"""What a script does with ``import cuspwise`` alone, against what the command line does."""

from __future__ import annotations

from pathlib import Path

import cuspwise
import numpy as np
import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.study.crowns_needed import Aim, Spread, plan_sizes
from made.small_studies import written

TABLES = """
[examiners]
file = "examiners.csv"
[repeats]
file = "repeats.csv"
"""


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small study with examiners' scores and repeated scans."""
    file = cuspwise.demo_study(tmp_path_factory.mktemp("study"))
    crowns = ("milled/m1", "milled/m2", "printed/p1", "printed/p2")
    scores = [
        f"{crown.split('/')[1]},{who},{k % 2},0,0" for k, crown in enumerate(crowns) for who in "AB"
    ]
    table = "\n".join(["crown,examiner,gap,contact,seating", *scores])
    (file.parent / "examiners.csv").write_text(table + "\n", encoding="utf-8")
    scans = [f"{crown}.stl,m1,{who},1" for crown, who in zip(crowns[:2], "xy", strict=True)]
    table = "\n".join(["file,crown,operator,trial", *scans])
    (file.parent / "repeats.csv").write_text(table + "\n", encoding="utf-8")
    file.write_text(file.read_text(encoding="utf-8") + TABLES, encoding="utf-8")
    return file


def test_a_study_takes_four_calls_and_yields_what_the_command_line_writes(file: Path) -> None:
    """The tables that belong to it, too: nobody has to hand scores or repeated scans on."""
    out = file.parent / "python"
    study = cuspwise.read_study(file)
    run = cuspwise.run_study(study, out)
    analysis = cuspwise.analyse_study(run)
    cuspwise.write_study(run, analysis, out, pictures="no")
    assert run.scores is study.scores is not None
    assert analysis.examiners is not None
    assert [(scan.crown, scan.operator) for scan in run.repeats] == [("m1", "x"), ("m1", "y")]
    told = CliRunner().invoke(
        main,
        [
            "study",
            str(file),
            "--out",
            str(file.parent / "command"),
            "--no-pictures",
        ],
    )
    assert told.exit_code == 0, told.output
    expected = written(file.parent / "command")
    assert written(out) == expected
    assert any("examiner" in name for name in expected)


def test_a_plan_in_memory_needs_no_file(file: Path, tmp_path: Path) -> None:
    scans = tuple(sorted((file.parent / "milled").glob("*.stl")))
    plan = cuspwise.StudyPlan(
        None,
        "Milled",
        "",
        file.parent / "design.stl",
        (cuspwise.GroupPlan("milled", "Milled", scans),),
        check=cuspwise.CheckSettings(spacing_mm=0.5),
    )
    run = cuspwise.run_study(plan, tmp_path)
    assert [crown.name for crown in run.crowns] == ["m1", "m2"]
    assert run.scores is None
    assert cuspwise.analyse_study(run).examiners is None


def test_a_mesh_will_do_where_its_index_or_points_are_made_anyway() -> None:
    design = cuspwise.demo_crown(edge_mm=0.6).mesh
    index, moved = cuspwise.SurfaceIndex(design), design.moved(np.eye(4))
    fits = [cuspwise.superimpose(moved, surface) for surface in (design, index)]
    assert (fits[0].T_design_scan == fits[1].T_design_scan).all()
    fields = [cuspwise.measure_deviation(moved, surface) for surface in (design, index)]
    assert (fields[0].deviation_mm == fields[1].deviation_mm).all()
    evaluation = cuspwise.evaluation_mesh(design)
    found, given = cuspwise.find_areas(design), cuspwise.find_areas(evaluation)
    assert list(found.areas) == list(given.areas)
    assert all((found.areas[a].points == given.areas[a].points).all() for a in given.areas)


def test_crowns_needed_is_what_the_plan_says() -> None:
    aim = Aim(equivalence_um=5.0, true_difference_um=1.0, power=0.9, alpha=0.1)
    rows = plan_sizes([Spread("a", 3.2), Spread("b", 4.0)], aim)
    found = cuspwise.crowns_needed(
        (3.2, 4.0), equivalence_um=5.0, true_difference_um=1.0, power=0.9, alpha=0.1
    )
    assert found.aim == aim
    assert found.n == rows[0].size.n == found.rows[0].size.n
    assert found.sentences[0].startswith(f"{found.n} crowns per group are needed to show equiv")
    assert cuspwise.crowns_needed(3.2, difference_um=5.0).rows[0].size.sd_b == 3.2


def test_crowns_needed_of_a_pilot_and_what_it_refuses(file: Path, tmp_path: Path) -> None:
    run = cuspwise.run_study(cuspwise.read_study(file), file.parent / "python")
    cuspwise.write_study(run, cuspwise.analyse_study(run), tmp_path, pictures="no")
    found = cuspwise.crowns_needed(tmp_path / "study.json", difference_um=1.0, area="whole")
    assert [(row.first.group, row.second.group) for row in found.rows] == [("milled", "printed")]
    assert found.rows[0].cautious.n > found.n
    with pytest.raises(cuspwise.SettingError, match="Exactly one aim"):
        cuspwise.crowns_needed(3.2)
    with pytest.raises(cuspwise.SettingError, match="There is no 'rim'"):
        cuspwise.crowns_needed(tmp_path / "study.json", difference_um=5.0, area="rim")
    with pytest.raises(cuspwise.FileError, match="cannot be read"):
        cuspwise.crowns_needed(tmp_path / "none.json", difference_um=5.0)


def test_figures_without_matplotlib_are_refused_with_the_remedy(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = cuspwise.run_study(cuspwise.read_study(file), file.parent / "python")
    analysis = cuspwise.analyse_study(run)
    home = "cuspwise.standalone_core.report.study.figures.can_plot"
    monkeypatch.setattr(home, lambda: False)
    with pytest.raises(cuspwise.ReportError, match="pip install matplotlib"):
        next(cuspwise.study_figures(analysis))

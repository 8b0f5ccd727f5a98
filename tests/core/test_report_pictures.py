"""The six views, and the drawing process: that it is asked well, watched and ended."""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.errors import ReportError
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.report.check import output as report_files
from cuspwise.standalone_core.report.check.output import write_check
from cuspwise.standalone_core.report.drawing import pictures as report_pictures
from cuspwise.standalone_core.report.drawing.legend import make_legend
from cuspwise.standalone_core.report.drawing.pictures import Pictures, draw_pictures_steps
from cuspwise.standalone_core.report.drawing.views import VIEW_NAMES, standard_views

MESH = TriangleMesh(np.eye(3), [[0, 1, 2]])
LEGEND = make_legend(np.array([0.01, -0.02, np.nan]), np.ones(3), limit_um=50.0, tolerance_um=25.0)

# Stands in for Blender: reads its job as the real program does, writes empty pictures.
DRAWS = """
import json, pathlib, sys
import numpy as np
folder = pathlib.Path(sys.argv[1])
job = json.loads((folder / "job.json").read_text(encoding="utf-8"))
arrays = np.load(folder / "job.npz")
assert set(arrays.files) == {"points", "normals", "colours", "faces"}
"""
FINISHES = """
for view in job["views"]:
    (folder / (view["name"] + ".png")).write_bytes(job["engine"].encode())
    print("drawn", view["name"], flush=True)
"""


def draw(tmp_path: Path, body: str) -> Pictures:
    script = tmp_path / "script.py"
    script.write_text(DRAWS + body, encoding="utf-8")
    steps = draw_pictures_steps(
        MESH, np.zeros((3, 3), dtype=np.uint8), standard_views(), LEGEND, script=script
    )
    return run(steps)


@pytest.mark.parametrize("insertion", [(0, 0, 1), (1, 2, -0.5), (0.0, -3.0, 0.0), None])
@pytest.mark.parametrize("mesial", [(1, 0, 0), (0, 0, 2), (-1, 3, 0.1), None])
def test_views_look_from_six_sides(insertion: object, mesial: object) -> None:
    views = standard_views(insertion, mesial)
    fronts = np.array([view.towards_viewer for view in views])
    ups = np.array([view.up for view in views])
    assert len({view.name for view in views}) == len({view.title for view in views}) == 6
    assert {view.name for view in views} <= set(VIEW_NAMES)
    np.testing.assert_allclose(np.linalg.norm(fronts, axis=1), 1.0, atol=1e-12)
    np.testing.assert_allclose(np.einsum("ij,ij->i", fronts, ups), 0.0, atol=1e-12)
    # Three pairs of opposite looks, at right angles to one another.
    grammian = np.abs(fronts @ fronts.T)
    np.testing.assert_allclose(np.sort(grammian, axis=1), [[0, 0, 0, 0, 1, 1]] * 6, atol=1e-12)
    np.testing.assert_allclose(fronts.sum(axis=0), 0.0, atol=1e-12)
    if insertion is not None:
        axis = np.array(insertion) / np.linalg.norm(insertion)
        np.testing.assert_allclose(fronts[0], axis, atol=1e-12)
        np.testing.assert_allclose(ups[2:], np.tile(axis, (4, 1)), atol=1e-12)


def test_views_are_named_by_direction_where_known() -> None:
    named = {v.name: v for v in standard_views((0, 0, 1), (1, 0.1, 0), has_intaglio=True)}
    assert named["cervical"].title == "Intaglio side"
    assert named["mesial"].towards_viewer[0] > 0.99
    # Seen with occlusal up, right is up × front.
    side = named["side_1"]
    assert "mesial to the right" in side.title
    assert np.cross(side.up, side.towards_viewer)[0] > 0.99
    plain = [view.title for view in standard_views((0, 0, 1))]
    assert plain == ["Occlusal", "Cervical"] + [
        f"Side towards {w}" for w in ("+x", "+y", "−x", "−y")
    ]
    assert standard_views()[0].title == "Towards +z"
    # A mesial direction along the path of insertion names nothing.
    assert [view.title for view in standard_views((0, 0, 1), (0, 0.1, 1))] == plain


def test_a_finished_drawing_comes_back_in_order(tmp_path: Path) -> None:
    drawn = draw(tmp_path, FINISHES)
    assert [p.view for p in drawn.pictures] == list(standard_views())
    assert drawn.engine == "BLENDER_WORKBENCH"
    assert {p.png for p in drawn.pictures} == {b"BLENDER_WORKBENCH"}


def test_a_crash_is_tried_again_with_the_other_engine(tmp_path: Path) -> None:
    # As Workbench does on a machine without EGL: it aborts the whole process.
    crash = "import os\nif job['engine'] == 'BLENDER_WORKBENCH':\n    os.abort()\n"
    drawn = draw(tmp_path, crash + FINISHES)
    assert drawn.engine == "CYCLES"
    assert {p.png for p in drawn.pictures} == {b"CYCLES"}


def test_a_failure_is_told_with_its_reason(tmp_path: Path) -> None:
    drawn = draw(tmp_path, "raise ValueError('no such engine')")
    assert drawn.pictures == ()
    assert "no such engine" in drawn.reason
    assert "signal" in draw(tmp_path, "import os\nos.abort()").reason
    # It says that it is done but leaves no pictures.
    assert "No such file" in draw(tmp_path, "").reason


def test_a_drawing_that_hangs_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report_pictures, "LONGEST_WAIT_S", 0.5)
    assert "no picture within 0.5 s" in draw(tmp_path, "import time\ntime.sleep(60)").reason


def test_closing_ends_the_process_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    script = tmp_path / "script.py"
    pid_file = tmp_path / "pid"
    script.write_text(
        f"import os, time\nopen({str(pid_file)!r}, 'w').write(str(os.getpid()))\ntime.sleep(60)",
        encoding="utf-8",
    )
    steps = draw_pictures_steps(
        MESH, np.zeros((3, 3), dtype=np.uint8), standard_views(), LEGEND, script=script
    )
    for _ in range(200):
        next(steps)
        if pid_file.is_file() and pid_file.read_text():
            break
    child = int(pid_file.read_text())
    steps.close()
    with pytest.raises(ProcessLookupError):
        os.kill(child, 0)
    assert {p.name for p in tmp_path.iterdir()} == {"script.py", "pid"}


def test_progress_never_falls_and_comes_often(tmp_path: Path) -> None:
    script = tmp_path / "script.py"
    script.write_text(DRAWS + "import time\ntime.sleep(0.5)" + FINISHES, encoding="utf-8")
    steps = draw_pictures_steps(
        MESH, np.zeros((3, 3), dtype=np.uint8), standard_views(), LEGEND, script=script
    )
    fractions, start = [], time.monotonic()
    try:
        while True:
            fractions.append(next(steps).fraction)
    except StopIteration:
        pass
    assert fractions == sorted(fractions)
    assert len(fractions) >= 4
    assert time.monotonic() - start < 30.0


def test_pictures_that_cannot_be_had_are_refused_before_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(report_files, "can_draw", lambda: False)
    with pytest.raises(ReportError, match="bpy") as caught:
        write_check(None, tmp_path / "out", pictures="yes")  # type: ignore[arg-type]
    assert "pip install" in caught.value.remedy
    assert not (tmp_path / "out").exists()


def test_the_program_that_draws_is_where_it_is_sought() -> None:
    assert report_pictures.SCRIPT.is_file()
    assert report_pictures.SCRIPT.parents[1].name == "addon"
    source = report_pictures.SCRIPT.read_text(encoding="utf-8")
    assert "from ." not in source  # it runs alone

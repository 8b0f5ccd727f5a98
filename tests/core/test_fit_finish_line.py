"""Finish lines from files, from points and from a design, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.areas.files import save_areas
from cuspwise.standalone_core.deviation.margin_directions import directions_about
from cuspwise.standalone_core.errors import AreaError, CuspwiseError, FileError
from cuspwise.standalone_core.fit.gap.finish_file import finish_line_from_file
from cuspwise.standalone_core.fit.gap.finish_line import (
    CARRIED,
    carried_finish_line,
    finish_line_from_points,
    finish_line_on_steps,
)
from cuspwise.standalone_core.fit.gap.marginal import marginal_gap
from cuspwise.standalone_core.fit.settings import GapSettings
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.fit_gaps import AXIS, around, die_of, with_edge
from made.fit_shapes import revolved_die, shoulder_pair

POINTS = around(5.0, 0.0, 90)


def index() -> SurfaceIndex:
    """A cylinder on a shoulder whose edge lies at r = 5, z = 0."""
    return shoulder_pair().die.index


def written(folder: Path, text: str) -> Path:
    path = folder / "finish line.csv"
    path.write_text(text, encoding="utf-8")
    return path


def lines(points: np.ndarray, separator: str = ",") -> str:
    return "".join(separator.join(map(repr, row)) + "\n" for row in points.tolist())


@pytest.mark.parametrize("header", ["", "x,y,z\n", "\ufeffX, Y ,Z\n", "\n\nx,y,z\n\n"])
def test_points_are_read_from_csv(tmp_path: Path, header: str) -> None:
    line = finish_line_from_file(written(tmp_path, header + lines(POINTS) + "\n"))
    np.testing.assert_array_equal(line.points_mm, POINTS)
    assert (line.closed, line.origin) == (True, "file")


def test_columns_are_found_by_name(tmp_path: Path) -> None:
    rows = "".join(f"{k},{z!r},{y!r},{x!r}\n" for k, (x, y, z) in enumerate(POINTS.tolist()))
    line = finish_line_from_file(written(tmp_path, "place,z,y,x\n" + rows))
    np.testing.assert_array_equal(line.points_mm, POINTS)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "It holds no points"),
        ("x,y,z\n", "It holds no points"),
        ("x,y\n1,2\n", "Line 1 .* z missing"),
        ("a,b,c\n1,2,3\n", "Line 1 .* x, y, z missing"),
        ("x,y,z\n1,2,3\n1,2\n", 'Line 3 holds "1,2"'),
        ("1,2,3\n1,2,3,4\n", 'Line 2 holds "1,2,3,4"'),
        ("1,2,3\n\n1,nan,3\n", 'Line 3 holds "1,nan,3"'),
        ("1,2,3\n4,five,6\n", 'Line 2 holds "4,five,6"'),
        ("1;2;3\n4;5;6\n", "Line 1 holds neither"),
    ],
)
def test_what_is_no_list_of_points_is_named_by_its_line(
    tmp_path: Path, text: str, reason: str
) -> None:
    path = written(tmp_path, text)
    with pytest.raises(FileError, match=reason) as caught:
        finish_line_from_file(path)
    assert caught.value.subject == str(path)
    assert caught.value.remedy


def test_files_that_cannot_be_read_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read as a finish line"):
        finish_line_from_file(tmp_path / "none.csv")
    path = tmp_path / "binary.csv"
    path.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(FileError, match="no text in UTF-8"):
        finish_line_from_file(path)


def test_an_areas_file_gives_its_margin_line(tmp_path: Path) -> None:
    crown = shoulder_pair(0.05, 0.0).crown
    path = save_areas(tmp_path / "areas.json", crown.area_set)
    line = finish_line_from_file(path)
    np.testing.assert_allclose(line.points_mm, crown.margin_line.points_mm, atol=1e-6)
    assert line.origin == "file"
    document = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps(document | {"margin_line": None}), encoding="utf-8")
    with pytest.raises(AreaError, match="holds no margin line") as caught:
        finish_line_from_file(path)
    assert caught.value.subject == str(path)
    path.write_text('{"format": "other"}', encoding="utf-8")
    with pytest.raises(AreaError, match="not an areas file"):
        finish_line_from_file(path)


def test_points_are_laid_on_the_die() -> None:
    """0.03 mm above the shoulder: each comes to lie on it, between the points too."""
    given = around(4.9, 0.03, 60)
    laid = finish_line_from_points(np.vstack([given, given[:1]]), index())
    assert laid.off_um == pytest.approx(30.0)
    assert (laid.note, laid.line.closed, laid.line.origin) == ("", True, "user")
    points = laid.line.points_mm
    np.testing.assert_allclose(points[:, 2], 0.0, atol=1e-12)
    assert np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1).max() <= 0.1
    assert index().closest(points).distance_mm.max() < 1e-12
    # The given points are among them: 0.51 mm apart, six parts each.
    np.testing.assert_allclose(points[::6, :2], given[:, :2], atol=1e-12)


def test_a_line_that_is_laid_down_measures_as_the_edge_itself() -> None:
    pair = shoulder_pair(0.05, 0.05)
    laid = finish_line_from_points(POINTS + np.array([0.0, 0.0, 0.02]), pair.die.index)
    die = die_of(pair.die.mesh, laid.line.points_mm)
    directions = directions_about(AXIS, pair.crown.area_set.settings)
    found = marginal_gap(pair.crown, die, np.eye(4), GapSettings(places=90), directions)
    np.testing.assert_allclose(found.gap_um, 50.0, atol=0.01)
    np.testing.assert_allclose(found.extension_um, 0.0, atol=0.01)


def shuffled(points: np.ndarray) -> np.ndarray:
    return np.random.default_rng(1).permutation(points)


@pytest.mark.parametrize(
    ("points", "reason"),
    [
        (POINTS + np.array([0.0, 0.0, 0.5]), r"90 of its 90 points .* farthest 0.50 mm"),
        (POINTS * 25.4, "does not lie on the die"),
        (POINTS[:60], r"not closed: from its last point to its first, 8.8\d mm away"),
        (shuffled(POINTS), r"Between its points \d+ and \d+, .* runs .* off the die"),
        (POINTS[::15], "6 different points are too few"),
        (np.vstack([POINTS[:45], POINTS[44::-1]]), "doubles back|does not go around"),
        (POINTS[[0, 2, 1, *range(3, 90)]], "doubles back at points 2, 3"),
        (POINTS[:, :2], "not a list of points"),
        (np.vstack([POINTS, [[np.nan, 0, 0]]]), "not a list of points"),
        ([["a", "b", "c"]], "not a list of points"),
    ],
)
def test_what_is_no_finish_line_is_refused(points: np.ndarray, reason: str) -> None:
    with pytest.raises(AreaError, match=reason) as caught:
        finish_line_from_points(points, index(), subject="drawn.csv")
    assert caught.value.subject == "drawn.csv"
    assert caught.value.remedy


def test_a_line_that_encloses_nothing_is_refused() -> None:
    """There and back on the flat top, 0.1 mm beside: long, and around nothing."""
    x = np.linspace(-3.0, 3.0, 40)
    there = np.column_stack([x, 0 * x, 5.0 + 0 * x])
    back = (there + np.array([0.0, 0.1, 0.0]))[::-1]
    ends = [[3.04, 0.05, 5.0]], [[-3.04, 0.05, 5.0]]
    with pytest.raises(AreaError, match=r"does not go around .* encloses 0.6 mm²"):
        finish_line_from_points(np.vstack([there, ends[0], back, ends[1]]), index())


def test_a_designs_margin_line_is_carried_over() -> None:
    """An edge 0.05 mm above the shoulder and 0.1 mm outside its edge comes to lie on that."""
    pair = shoulder_pair(0.05, 0.05, edge_mm=1.1)
    carried = carried_finish_line(pair.crown, pair.die.index)
    np.testing.assert_allclose(carried.line.points_mm[::4][:90, 2], 0.0, atol=1e-9)
    radius = np.hypot(*carried.line.points_mm[:, :2].T)
    assert radius.max() == pytest.approx(5.0)
    assert carried.off_um == pytest.approx(1e3 * np.hypot(0.1, 0.05), rel=0.01)
    assert (carried.note, carried.line.origin) == (CARRIED, "automatic")


def test_a_margin_line_far_from_the_die_is_not_carried_over() -> None:
    pair = shoulder_pair(0.05, 0.4)
    with pytest.raises(AreaError, match=r"farthest 0.40 mm") as caught:
        carried_finish_line(pair.crown, pair.die.index)
    assert caught.value.subject == "margin line of crown"
    edge = pair.crown.margin_line.points_mm[:60]
    with pytest.raises(CuspwiseError, match="open"):
        carried_finish_line(with_edge(pair.crown, edge, closed=False), pair.die.index)


def test_an_edge_is_found_again_from_points_beside_it() -> None:
    """A line 0.05 mm outside and below the shoulder's edge goes to the edge's own faces."""
    die = revolved_die([(0, 5), (4, 5), (4, 0), (5, 0), (5, -2), (0, -2)], sides=180, step_mm=1.0)
    laid = finish_line_from_points(around(5.05, 0.05, 180), die.index)
    radius, z = np.hypot(*laid.line.points_mm[:, :2].T), laid.line.points_mm[:, 2]
    np.testing.assert_allclose(z, 0.0, atol=1e-9)
    np.testing.assert_allclose(radius, 5.0, atol=5.0 * (np.pi / 180) ** 2)


def test_a_line_is_laid_on_a_die_that_was_not_made_ready() -> None:
    """As on its index; 50 µm off, it comes back on to the edge."""
    off = POINTS * [1.01, 1.01, 1.0]
    found = run(finish_line_on_steps(off, index().mesh))
    expected = finish_line_from_points(off, index())
    np.testing.assert_allclose(found.line.points_mm, expected.line.points_mm, atol=1e-12)
    assert found.off_um == pytest.approx(expected.off_um)
    with pytest.raises(AreaError, match=r"margin line of A: It does not lie on the die"):
        run(finish_line_on_steps(POINTS + 3.0, index().mesh, subject="margin line of A"))

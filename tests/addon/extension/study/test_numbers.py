"""The study of the listed scans: the same numbers as the core's."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from calls import call
from studies import CROWNS, GROUPS, SAME_UM, core_run, kept, out_of_date


def test_the_files_give_the_same_numbers_again(studied: SimpleNamespace, tmp_path: Path) -> None:
    """What the command line does with the folder, in a folder of results of its own."""
    run = core_run(studied, studied.folder / "study.toml", tmp_path / "again")
    from_pairs = studied.part("standalone_core.statistics.permutation").distances_from_pairs
    assert run.reused == 0
    titles = {group["name"]: group["title"] for group in kept(studied)["groups"]}
    assert list(titles.values()) == [title for title, _ in GROUPS]
    rows = kept(studied)["rows"]
    assert len(rows) == len(titles) * len(kept(studied)["areas"]) * 3
    assert {"whole", "occlusal", "margin", "intaglio"} <= set(kept(studied)["areas"])
    for row in rows:
        found = [
            getattr(crown.measures_of(row["area"]), row["measure"])
            for crown in run.crowns_of(row["group"])
        ]
        assert row["n"] == CROWNS
        assert row["mean"] == pytest.approx(np.mean(found), abs=SAME_UM)
        assert row["sd"] == pytest.approx(np.std(found, ddof=1), abs=SAME_UM)
        apart = np.zeros((CROWNS, CROWNS))
        pairs = [pair for pair in run.pairs if pair.group == row["group"]]
        for (i, j), pair in zip(combinations(range(CROWNS), 2), pairs, strict=True):
            measured = next(one for one in pair.superimposed if one.area == row["area"])
            apart[i, j] = apart[j, i] = getattr(measured, row["measure"])
        assert row["precision_mean"] == pytest.approx(from_pairs(apart).mean(), abs=SAME_UM)


def test_the_scans_are_written_as_they_are(studied: SimpleNamespace) -> None:
    """Objects in mm without a scale: every coordinate of the file is the object's own."""
    read = studied.part("standalone_core.mesh.files").read_mesh
    positions = studied.part("addon.blender.bridge").positions
    entries = kept(studied)["made_with"]["scans"]
    for item in studied.settings.scans:
        entry = entries[item.scan.cuspwise.study_entry]
        mesh = read(studied.folder / entry["file"], unit="mm").mesh
        assert np.array_equal(mesh.vertices, positions(item.scan.data))
    mesh = read(studied.folder / "design.ply", unit="mm").mesh
    assert np.array_equal(mesh.vertices, positions(studied.design.data))


def test_a_second_run_does_only_what_changed(studied: SimpleNamespace) -> None:
    written = {
        file: file.stat().st_mtime_ns
        for file in studied.folder.rglob("*")
        if (file.suffix == ".ply" and "study_results" not in file.parts)
        or file.name.startswith(("scan-", "pair-"))
    }
    assert len(written) > 12
    # Neither a place nor a name is part of what is measured.
    studied.scan.location = (5.0, 6.0, 7.0)
    studied.scan.rotation_euler = (0.3, 1.2, -2.0)
    studied.design.location.x += 3.0
    assert out_of_date(studied) == ""
    other = studied.settings.scans[1].scan
    other.data.vertices[5].co.x += 0.05
    other.data.update()
    assert out_of_date(studied) == f"{other.name}: its mesh was changed."
    assert call(studied, "run_study") == {"FINISHED"}
    changed = [file.name for file, when in written.items() if file.stat().st_mtime_ns != when]
    assert changed == [f"{other.name}.ply"]
    new = set(studied.folder.rglob("scan-*.npz")) - written.keys()
    assert len(new) == 1
    assert out_of_date(studied) == ""


def test_scale_mirror_and_unit_give_the_same_numbers(
    studied: SimpleNamespace, tmp_path: Path
) -> None:
    """The same crowns in metres, under a scale, all of them mirrored in their own meshes."""
    from mathutils import Matrix

    # So wide that no edge is split: where edges are about as long, rounding decides.
    studied.settings.spacing_mm = 5.0
    assert call(studied, "run_study") == {"FINISHED"}
    before = kept(studied)["rows"]
    studied.settings.unit = "m"
    for obj in (studied.design, *(item.scan for item in studied.settings.scans)):
        obj.data.transform(Matrix.Diagonal((-0.01, 0.01, 0.01, 1.0)))
        obj.data.flip_normals()
        obj.scale = (-0.1, 0.1, 0.1)
    assert "mesh was changed" in out_of_date(studied)
    studied.settings.study.folder = str(tmp_path / "in metres")
    assert call(studied, "run_study") == {"FINISHED"}
    for old, new in zip(before, kept(studied)["rows"], strict=True):
        assert new["mean"] == pytest.approx(old["mean"], abs=SAME_UM)
        assert new["precision_mean"] == pytest.approx(old["precision_mean"], abs=SAME_UM)


@pytest.mark.parametrize("start", ["in_place", "landmarks"])
def test_starts_from_where_the_scans_lie(listed: SimpleNamespace, start: str) -> None:
    """The scans lie a little off their design, or far away with landmarks."""
    from mathutils import Vector

    settings, scan = listed.settings, listed.settings.scans[0].scan
    while len(settings.scans) > 1:
        settings.scans.remove(1)
    settings.scan_index = 0
    assert call(listed, "superimpose") == {"FINISHED"}
    if start == "landmarks":
        add = listed.part("addon.check.landmarks").add_landmark
        for place in ((0, 0, 9), (4, 0, 3), (-4, 0, 3), (0, 4, 3)):
            for obj in (scan, settings.design):
                add(obj, Vector(place), listed.scene, 1.0)
        scan.location, scan.rotation_euler = (40.0, -30.0, 20.0), (2.0, 1.0, 0.5)
    else:
        scan.location.x += 0.05
    listed.bpy.context.view_layer.update()
    assert call(listed, "run_study") == {"FINISHED"}
    automatic = kept(listed)["rows"][0]["mean"]
    settings.start = start
    assert out_of_date(listed).startswith("Another setting was chosen since: start")
    assert call(listed, "run_study") == {"FINISHED"}
    assert 'start = "in_place"' in (listed.folder / "study.toml").read_text(encoding="utf-8")
    assert kept(listed)["rows"][0]["mean"] == pytest.approx(automatic, abs=0.05)
    assert out_of_date(listed) == ""
    scan.location.x += 0.01
    # Its landmarks go with it, and lay it where it was laid before.
    assert ("moved" in out_of_date(listed)) == (start == "in_place")


def test_edited_areas_and_tolerances_take_part(listed: SimpleNamespace) -> None:
    design = listed.settings.design
    group = design.vertex_groups.new(name="Area: Höcker")
    high = [v.index for v in design.data.vertices if v.co.z > 6.0]
    group.add(high, 1.0, "REPLACE")
    listed.settings.tolerance_whole_um = 12.5
    listed.settings.tolerance_margin_um = 0.0
    listed.settings.study.equivalence_um = 7.5
    listed.settings.study.primary_area = "occlusal"
    assert call(listed, "run_study") == {"FINISHED"}
    assert "Höcker" in kept(listed)["areas"]
    plan = listed.part("standalone_core.study.file.read").read_plan(listed.folder / "study.toml")
    assert dict(plan.check.tolerances.tolerances_um) == {"whole": 12.5, "occlusal": 20.0}
    assert plan.analysis.equivalence_of("margin") == 7.5
    assert plan.analysis.primary_area == "occlusal"
    assert plan.check.areas_file == listed.folder / "areas.json"
    run = core_run(listed, listed.folder / "study.toml", listed.folder / "study_results")
    assert run.reused == 4 + 2  # the very areas: crowns, and a pair in each group
    row = next(r for r in kept(listed)["rows"] if r["area"] == "Höcker")
    found = [crown.measures_of("Höcker").mean_abs_um for crown in run.crowns_of(row["group"])]
    assert row["mean"] == pytest.approx(np.mean(found), abs=SAME_UM)


def test_a_bad_scan_is_left_out_with_its_reason(listed: SimpleNamespace) -> None:
    modified, tiny = (listed.settings.scans[k].scan for k in (0, 2))
    modified.modifiers.new("Dicker", "SOLIDIFY").thickness = 0.3
    tiny.data.clear_geometry()
    tiny.data.from_pydata([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [], [(0, 1, 2)])
    assert call(listed, "run_study") == {"FINISHED"}
    left = {row["name"]: row for row in kept(listed)["left_out"]}
    assert "Dicker" in left[modified.name]["reason"]
    assert left[tiny.name]["group"] == "Printed – tilted"
    assert {group["title"]: group["n"] for group in kept(listed)["groups"]} == {
        "Milled": 1,
        "Printed – tilted": 1,
    }
    assert out_of_date(listed) == ""


def test_no_usable_scan_at_all(listed: SimpleNamespace) -> None:
    for item in listed.settings.scans:
        item.scan.modifiers.new("Dicker", "SOLIDIFY").thickness = 0.3
    with pytest.raises(RuntimeError, match="None of its scans can be used"):
        call(listed, "run_study")
    assert not listed.folder.exists()


def test_one_group_of_one_crown(listed: SimpleNamespace) -> None:
    for item in list(listed.settings.scans)[1:]:
        item.group = ""
    assert call(listed, "run_study") == {"FINISHED"}
    assert kept(listed)["comparisons"] == []
    chosen = listed.settings.study
    assert call(listed, "show_group_map") == {"FINISHED"}
    chosen.map_kind = "sd"
    assert call(listed, "remove_colour_map") == {"FINISHED"}
    with pytest.raises(RuntimeError, match="too few crowns"):
        call(listed, "show_group_map")


def test_names_that_files_cannot_hold(listed: SimpleNamespace) -> None:
    """Capitals, signs and repeated names: each scan has a file of its own."""
    for number, name in enumerate(("a/b: c?", "A:b/ C?", "krone")):
        listed.settings.scans[number].scan.name = name
    for item in list(listed.settings.scans)[:2]:
        item.group = "Repeats"
    assert call(listed, "run_study") == {"FINISHED"}
    files = {row["name"]: row["file"] for row in kept(listed)["made_with"]["scans"].values()}
    assert len({file.casefold() for file in files.values()}) == 4
    assert all((listed.folder / file).is_file() for file in files.values())

"""The study of the listed scans: same numbers as the core's, kept with the file, shown as a map."""

from __future__ import annotations

import csv
import io
import json
import shutil
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

GROUPS = (("Milled", "milled"), ("Printed – tilted", "tilted"))
CROWNS = 3
EDGE_MM = SPACING_MM = 0.7  # coarse, for speed
SAME_UM = 0.01


def call(case: SimpleNamespace, name: str, *args: Any, **options: Any) -> Any:
    return getattr(case.bpy.ops.cuspwise, name)(*args, **options)


def kept(case: SimpleNamespace) -> dict[str, Any]:
    return case.part("addon.study.store").study_of(case.scene)


def stale(case: SimpleNamespace) -> str:
    """Why the study is stale, after Blender has taken note of changes."""
    case.bpy.context.view_layer.update()
    return case.part("addon.study.store").why_stale(case.scene)


def core_run(case: SimpleNamespace, file: Path, out: Path) -> Any:
    """What the command line does with a study file; what is kept in ``out`` is used again."""
    plan = case.part("standalone_core.study.file.read").read_study(file)
    return case.part("standalone_core.study.measuring.run").run_study(plan, out)


@pytest.fixture(scope="module")
def crowns(extension: SimpleNamespace) -> SimpleNamespace:
    """A coarse design, and three coarse crowns made in each of two ways."""
    part = extension.part
    design = part("standalone_core.demo.crown").demo_crown(EDGE_MM)
    ways = part("standalone_core.demo.study_groups")
    produce = part("standalone_core.demo.production").produce
    made = {}
    for number, (title, way) in enumerate(GROUPS):
        rng = np.random.default_rng(20 + number)
        made[title] = [
            produce(design, getattr(ways, way)(rng), edge_mm=EDGE_MM, rng=rng).mesh
            for _ in range(CROWNS)
        ]
    return SimpleNamespace(design=design.mesh, made=made, extension=extension)


def fill(crowns: SimpleNamespace, folder: Path | None = None, count: int = CROWNS) -> Any:
    """Fill a new file with design and scans in their groups; return its settings."""
    import bpy

    settings, add_object = bpy.context.scene.cuspwise, crowns.extension.add_object
    settings.design = add_object("Design", crowns.design)
    settings.spacing_mm = SPACING_MM
    for title, meshes in crowns.made.items():
        for number, mesh in enumerate(meshes[:count], 1):
            item = settings.scans.add()
            item.scan, item.group = add_object(f"{title[0]} {number}", mesh), title
    settings.study.folder = str(folder) if folder else ""
    return settings


@pytest.fixture
def listed(empty: SimpleNamespace, crowns: SimpleNamespace, tmp_path: Path) -> SimpleNamespace:
    """A file with design and two scans in each group, not studied yet."""
    settings = fill(crowns, tmp_path / "study", count=2)
    return SimpleNamespace(**vars(empty), settings=settings, folder=tmp_path / "study")


@pytest.fixture(scope="module")
def studied_file(
    extension: SimpleNamespace,
    crowns: SimpleNamespace,
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """A saved file whose study was run, into the folder beside it."""
    import bpy

    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    path = tmp_path_factory.mktemp("studied") / "Studie ü.blend"
    fill(crowns)
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    assert bpy.ops.cuspwise.run_study() == {"FINISHED"}
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture
def studied(studied_file: Path, extension: SimpleNamespace, tmp_path: Path) -> SimpleNamespace:
    """The studied crowns, opened from a copy of file and folder."""
    folder = studied_file.with_name(f"{studied_file.stem}_study")
    shutil.copytree(folder, tmp_path / folder.name)
    return opened(extension.part, Path(shutil.copy(studied_file, tmp_path)))


def opened(part: Any, path: Path) -> SimpleNamespace:
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(path))
    scene = bpy.context.scene
    return SimpleNamespace(
        bpy=bpy,
        part=part,
        path=path,
        scene=scene,
        settings=scene.cuspwise,
        design=scene.cuspwise.design,
        scan=scene.cuspwise.scans[0].scan,
        folder=path.with_name(f"{path.stem}_study"),
    )


# Asking and refusing -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["copy_study_table", "show_group_map", "open_study_report", "copy_study_command"]
)
def test_asks_for_a_study(listed: SimpleNamespace, name: str) -> None:
    with pytest.raises(RuntimeError, match="Run the study first"):
        call(listed, name)


def test_asks_for_a_design(listed: SimpleNamespace) -> None:
    listed.settings.design = None
    with pytest.raises(RuntimeError, match="Choose the design first"):
        call(listed, "run_study")


def test_asks_for_groups(listed: SimpleNamespace) -> None:
    for item in listed.settings.scans:
        item.group = "  "
    with pytest.raises(RuntimeError, match="a group each"):
        call(listed, "run_study")


def test_asks_to_save_or_choose_a_folder(listed: SimpleNamespace) -> None:
    for folder in ("", "//beside"):
        listed.settings.study.folder = folder
        with pytest.raises(RuntimeError, match=r"Save the \.blend, or choose a folder"):
            call(listed, "run_study")


def test_refuses_a_folder_that_holds_other_files(listed: SimpleNamespace) -> None:
    listed.folder.mkdir()
    own = listed.folder / "design.ply"
    own.write_text("mine")
    with pytest.raises(RuntimeError, match="It holds other files"):
        call(listed, "run_study")
    assert [file.name for file in listed.folder.iterdir()] == ["design.ply"]
    assert own.read_text() == "mine"
    assert kept(listed) is None


def test_refuses_a_folder_that_cannot_be_made(listed: SimpleNamespace, tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("")
    listed.settings.study.folder = str(tmp_path / "a file" / "study")
    with pytest.raises(RuntimeError, match="cannot be made"):
        call(listed, "run_study")


def test_every_choice_explains_itself(extension: SimpleNamespace) -> None:
    group = extension.part("addon.properties.study_choices").StudySettings
    for name in group.__annotations__:
        shown = group.bl_rna.properties[name]
        assert shown.is_hidden or len(shown.description) > 15, name


def test_says_who_takes_part_and_what_it_cannot_tell(listed: SimpleNamespace) -> None:
    scene = listed.part("addon.study.scene")
    lines = scene.listing_lines(scene.listing_of(listed.scene))
    assert lines == ("4 crowns: 2 in Milled, 2 in Printed – tilted.",)
    for item in list(listed.settings.scans)[1:]:
        item.group = ""
    listed.settings.scans[0].group = " milled "
    lines = scene.listing_lines(scene.listing_of(listed.scene))
    assert lines[0] == "1 crown: 1 in milled."
    assert "3 scans have no group" in lines[1]
    assert "nothing to compare" in lines[2]
    assert "nothing about spread" in lines[3]


# Numbers -------------------------------------------------------------------------------------


def test_the_files_give_the_same_numbers_again(studied: SimpleNamespace, tmp_path: Path) -> None:
    """What the command line does with the folder, in a folder of results of its own."""
    run = core_run(studied, studied.folder / "study.toml", tmp_path / "again")
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
        pairs = [pair for pair in run.pairs if pair.group == row["group"]]
        apart = [
            getattr(measured, row["measure"])
            for pair in pairs
            for measured in pair.superimposed
            if measured.area == row["area"]
        ]
        assert row["pairs"] == 3
        assert row["pair_mean"] == pytest.approx(np.mean(apart), abs=SAME_UM)


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
    assert stale(studied) == ""
    other = studied.settings.scans[1].scan
    other.data.vertices[5].co.x += 0.05
    other.data.update()
    assert stale(studied) == f"{other.name}: its mesh was changed."
    assert call(studied, "run_study") == {"FINISHED"}
    changed = [file.name for file, when in written.items() if file.stat().st_mtime_ns != when]
    assert changed == [f"{other.name}.ply"]
    new = set(studied.folder.rglob("scan-*.npz")) - written.keys()
    assert len(new) == 1
    assert stale(studied) == ""


def test_scale_mirror_and_unit_give_the_same_numbers(
    studied: SimpleNamespace, tmp_path: Path
) -> None:
    """The same crowns in metres, under a scale, one of them mirrored in its own mesh."""
    from mathutils import Matrix

    # So wide that no edge is split: where edges are about as long, rounding decides.
    studied.settings.spacing_mm = 5.0
    assert call(studied, "run_study") == {"FINISHED"}
    before = kept(studied)["rows"]
    studied.settings.unit = "m"
    for obj in (studied.design, *(item.scan for item in studied.settings.scans)):
        obj.data.transform(Matrix.Diagonal((0.01, 0.01, 0.01, 1.0)))
        obj.scale = (0.1, 0.1, 0.1)
    studied.scan.data.transform(Matrix.Diagonal((-1.0, 1.0, 1.0, 1.0)))
    studied.scan.data.flip_normals()
    studied.scan.scale.x = -0.1
    assert "mesh was changed" in stale(studied)
    studied.settings.study.folder = str(tmp_path / "in metres")
    assert call(studied, "run_study") == {"FINISHED"}
    for old, new in zip(before, kept(studied)["rows"], strict=True):
        assert new["mean"] == pytest.approx(old["mean"], abs=SAME_UM)
        assert new["pair_mean"] == pytest.approx(old["pair_mean"], abs=SAME_UM)


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
    assert stale(listed).startswith("Another setting was chosen since: start")
    assert call(listed, "run_study") == {"FINISHED"}
    assert 'start = "in_place"' in (listed.folder / "study.toml").read_text(encoding="utf-8")
    assert kept(listed)["rows"][0]["mean"] == pytest.approx(automatic, abs=0.05)
    assert stale(listed) == ""
    scan.location.x += 0.01
    # Its landmarks go with it, and lay it where it was laid before.
    assert ("moved" in stale(listed)) == (start == "in_place")


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
    plan = listed.part("standalone_core.study.file.read").read_study(listed.folder / "study.toml")
    assert dict(plan.check.tolerances.mean_abs_um) == {"whole": 12.5, "occlusal": 20.0}
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
    assert stale(listed) == ""


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


# Cancelling ----------------------------------------------------------------------------------


def test_cancelling_keeps_finished_scans_and_changes_nothing(listed: SimpleNamespace) -> None:
    """The job's own steps, given up once two scans are measured."""
    study = listed.part("addon.operators.study")
    reading = listed.part("addon.study.export").read_steps(listed.bpy.context)
    read = listed.part("standalone_core.progress").run(reading)
    steps = study._study_steps(read)
    done = listed.folder / "study_results" / "kept"
    while len(list(done.glob("scan-*"))) < 2:
        next(steps)
    steps.close()
    assert kept(listed) is None
    assert "kept in the folder" in study.RunStudy.after_cancel
    assert listed.settings.scans[0].scan.cuspwise.study_entry == ""
    assert not (listed.folder / "study_results" / "report.html").exists()
    first = {file: file.stat().st_mtime_ns for file in done.glob("scan-*")}
    assert call(listed, "run_study") == {"FINISHED"}
    assert len(list(done.glob("scan-*"))) == 4
    assert all(file.stat().st_mtime_ns == when for file, when in first.items())


class Forbidden:
    """Stands for Blender's module while steps are taken that have no business with it."""

    def __getattr__(self, name: str) -> Any:
        raise AssertionError(f"The steps of a study asked Blender for {name}.")


def test_the_steps_need_no_blender(
    listed: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They run to their end in a thread, though the file that was read is closed by then."""
    group = listed.settings.design.vertex_groups.new(name="Area: mine")
    group.add(list(range(60)), 1.0, "REPLACE")
    run, bpy = listed.part("standalone_core.progress").run, listed.bpy
    reading = listed.part("addon.study.export").read_steps(bpy.context)
    steps = listed.part("addon.operators.study")._study_steps(run(reading))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with monkeypatch.context() as patch:
        for name, module in list(sys.modules.items()):
            if ".cuspwise.addon" in name and hasattr(module, "bpy"):
                patch.setattr(module, "bpy", Forbidden())
        worker = listed.part("addon.blender.worker").Worker(steps)
        worker.wait(120.0)
    assert len(worker.result().run.crowns) == 4
    assert "mine" in worker.result().run.area_set.areas


# Keeping -------------------------------------------------------------------------------------


def test_a_saved_file_holds_everything(studied: SimpleNamespace, tmp_path: Path) -> None:
    before = kept(studied)
    assert stale(studied) == ""
    for item in studied.settings.scans:
        item.scan.name = f"neu {item.scan.name}"
    studied.design.name = studied.design.data.name = "Entwurf – größer"
    again_path = tmp_path / "anderswo.blend"
    studied.bpy.ops.wm.save_as_mainfile(filepath=str(again_path))
    again = opened(studied.part, again_path)
    assert kept(again) == before
    assert stale(again) == ""
    assert again.part("addon.study.store").refresh(again.scene) == ""
    assert call(again, "show_group_map") == {"FINISHED"}


def test_undo_brings_the_study_before_back(studied: SimpleNamespace) -> None:
    bpy, before = studied.bpy, studied.design.cuspwise.study
    bpy.ops.ed.undo_push(message="before")
    studied.settings.scans[0].group = ""
    bpy.ops.ed.undo_push(message="group")
    assert call(studied, "run_study") == {"FINISHED"}
    bpy.ops.ed.undo_push(message="run")
    assert studied.design.cuspwise.study != before
    bpy.ops.ed.undo()
    bpy.ops.ed.undo()
    scene = bpy.context.scene
    assert scene.cuspwise.design.cuspwise.study == before
    again = SimpleNamespace(bpy=bpy, part=studied.part, scene=scene)
    assert stale(again) == ""
    assert call(again, "show_group_map") == {"FINISHED"}


def test_appended_with_its_design(studied: SimpleNamespace) -> None:
    bpy, before = studied.bpy, kept(studied)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with bpy.data.libraries.load(str(studied.path), link=False) as (_source, target):
        target.objects = ["Design"]
    scene = bpy.context.scene
    scene.collection.objects.link(target.objects[0])
    scene.cuspwise.design = target.objects[0]
    again = SimpleNamespace(bpy=bpy, part=studied.part, scene=scene)
    assert kept(again) == before
    assert "no longer in the list" in stale(again)
    assert call(again, "show_group_map") == {"FINISHED"}


def test_another_version_is_not_read(studied: SimpleNamespace) -> None:
    document = json.loads(studied.design.cuspwise.study)
    studied.design.cuspwise.study = json.dumps({**document, "version": 99})
    assert kept(studied) is None
    with pytest.raises(RuntimeError, match="another version"):
        call(studied, "copy_study_table")


def _edit_scan(case: SimpleNamespace) -> None:
    case.scan.data.vertices[3].co.x += 0.002
    case.scan.data.update()


def _edit_design(case: SimpleNamespace) -> None:
    case.design.data.vertices[3].co.x += 0.002
    case.design.data.update()


def _scale_scan(case: SimpleNamespace) -> None:
    case.scan.scale *= 1.001


def _scale_design(case: SimpleNamespace) -> None:
    case.design.scale *= 1.001


def _other_group(case: SimpleNamespace) -> None:
    case.settings.scans[0].group = "Printed – tilted"


def _no_group(case: SimpleNamespace) -> None:
    case.settings.scans[0].group = ""


def _remove_from_list(case: SimpleNamespace) -> None:
    case.settings.scans.remove(0)


def _delete(case: SimpleNamespace) -> None:
    case.bpy.data.objects.remove(case.scan)


def _add(case: SimpleNamespace) -> None:
    copy = case.scan.copy()
    case.scene.collection.objects.link(copy)
    item = case.settings.scans.add()
    item.scan, item.group = copy, "Milled"


def _tolerance(case: SimpleNamespace) -> None:
    case.settings.tolerance_whole_um = 99.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_edit_scan, "its mesh was changed"),
        (_edit_design, "design's mesh was changed"),
        (_scale_scan, "its scale was changed"),
        (_scale_design, "design's scale"),
        (_other_group, "in another group now"),
        (_no_group, "no longer in the list with a group"),
        (_remove_from_list, "no longer in the list"),
        (_delete, "no longer in the list"),
        (_add, "not in the study yet"),
        (_tolerance, "tolerances"),
    ],
)
def test_changes_make_it_stale(studied: SimpleNamespace, change: Any, words: str) -> None:
    assert stale(studied) == ""
    change(studied)
    assert words in stale(studied)


def test_edited_areas_are_noticed_where_it_counts(studied: SimpleNamespace) -> None:
    group = studied.design.vertex_groups.new(name="Area: mine")
    group.add([0, 1, 2], 1.0, "REPLACE")
    assert "areas" in studied.part("addon.study.store").refresh(studied.scene)


def test_comparisons_are_said_in_a_line(studied: SimpleNamespace) -> None:
    lines = studied.part("addon.study.summary").comparison_lines
    (true, words), (precise, _) = lines(kept(studied), "margin", "mean_abs_um")
    assert (true, precise) == ("Trueness", "Precision")
    assert words.startswith("Printed – tilted minus Milled: ")
    assert " to " in words
    assert "µm)" in words


# Out -----------------------------------------------------------------------------------------


def test_the_table_is_copied(studied: SimpleNamespace) -> None:
    assert call(studied, "copy_study_table") == {"FINISHED"}
    text = studied.part("addon.study.summary").table_text(kept(studied))
    rows = list(csv.DictReader(io.StringIO(text), delimiter="\t"))
    assert len(rows) == len(kept(studied)["rows"])
    first, known = rows[0], kept(studied)["rows"][0]
    assert first["group"] == "Milled"
    assert first["unit"] == "µm"
    assert float(first["trueness mean"]) == pytest.approx(known["mean"], abs=0.006)
    assert int(first["crowns"]) == CROWNS


def test_the_report_is_the_command_lines(studied: SimpleNamespace) -> None:
    assert call(studied, "open_study_report") == {"FINISHED"}
    results = studied.folder / "study_results"
    page = (results / "report.html").read_text(encoding="utf-8")
    assert "Printed – tilted" in page
    for line in kept(studied)["opening"]:
        assert line["sentence"].split("(")[0].strip()[:40] in page.replace("&#39;", "'")
    assert (results / "tables" / "trueness.csv").is_file() or list(results.glob("tables/*.csv"))
    document = json.loads((results / "study.json").read_text(encoding="utf-8"))
    assert len(document["files"]) > 8
    assert call(studied, "copy_study_command") == {"FINISHED"}
    folder = studied.part("addon.study.store").folder_of(studied.scene)
    command = studied.part("addon.operators.study").command_for(folder)
    assert command == f'cuspwise study "{folder / "study.toml"}"'
    assert (folder / "study.toml").is_file()


def test_finds_the_report_of_a_folder_that_moved_with_the_file(studied: SimpleNamespace) -> None:
    document = json.loads(studied.design.cuspwise.study)
    studied.design.cuspwise.study = json.dumps({**document, "folder": str(studied.folder / "no")})
    assert call(studied, "open_study_report") == {"FINISHED"}
    shutil.rmtree(studied.folder)
    with pytest.raises(RuntimeError, match="no longer there"):
        call(studied, "open_study_report")


# Maps ----------------------------------------------------------------------------------------


def attributes(case: SimpleNamespace) -> dict[str, np.ndarray]:
    read = case.part("addon.blender.bridge").read_attribute
    names = [a.name for a in case.design.data.attributes if a.name.startswith("study ")]
    return {name: read(case.design.data, name) for name in names}


def colours(obj: Any) -> np.ndarray:
    layer = obj.data.color_attributes["Cuspwise Colours"]
    flat = np.empty(4 * len(layer.data), dtype=np.float32)
    layer.data.foreach_get("color_srgb", flat)
    return np.rint(255 * flat.reshape(-1, 4)[:, :3]).astype(np.uint8)


def test_maps_are_the_cores_at_the_vertices(studied: SimpleNamespace) -> None:
    run = core_run(studied, studied.folder / "study.toml", studied.folder / "study_results")
    assert run.reused == 6 + 6
    found = run.maps["Printed – tilted"]
    own = len(studied.design.data.vertices)
    assert len(found.mean_um) > own
    studied.settings.study.map_group = "Printed – tilted"
    shown = {
        "mean": ("study mean_mm: Printed – tilted", found.mean_um / 1e3),
        "sd": ("study sd_mm: Printed – tilted", found.sd_um / 1e3),
        "worst": ("study worst_mm: Printed – tilted", found.worst_um / 1e3),
        "share": ("study share: Printed – tilted", found.share_outside),
    }
    for kind, (name, values) in shown.items():
        studied.settings.study.map_kind = kind
        assert call(studied, "show_group_map") == {"FINISHED"}
        written = attributes(studied)
        assert list(written) == [name]
        assert written[name] == pytest.approx(values[:own], abs=SAME_UM / 1e3, nan_ok=True)


def test_colours_and_legend_follow_the_choices(studied: SimpleNamespace) -> None:
    part, settings = studied.part, studied.settings
    legend = part("addon.study.group_map").legend_of
    palette = part("standalone_core.report.drawing.deviation_colours")
    assert call(studied, "show_group_map") == {"FINISHED"}
    ((name, values),) = attributes(studied).items()
    limit = settings.shown_limit_um
    expected = palette.deviation_colours(values, limit / 1e3)
    assert np.array_equal(colours(studied.design), expected)
    found, heads = legend(studied.scene)
    assert heads == ("Mean of the group, µm", "Milled")
    assert found.limit_um == limit
    assert "±25 µm" in found.tolerance_text
    settings.limit_is_automatic = False
    settings.limit_um = 12.0
    assert legend(studied.scene)[0].limit_um == 12.0
    settings.palette = "grey"
    expected = palette.deviation_colours(values, 0.012, "grey")
    assert np.array_equal(colours(studied.design), expected)
    settings.study.map_kind = "share"
    found, heads = legend(studied.scene)
    assert heads[0] == "Crowns out of tolerance"
    assert [tick.text for tick in found.ticks] == ["0 %", "25 %", "50 %", "75 %", "100 %"]
    settings.study.map_kind = "sd"
    found, _ = legend(studied.scene)
    assert found.ticks[0].text == "0"
    assert "above 12 µm" in found.clipped_text
    assert name not in attributes(studied)


def test_a_difference_is_coloured_where_it_is_significant(studied: SimpleNamespace) -> None:
    settings = studied.settings
    settings.study.map_kind = "difference"
    assert call(studied, "show_group_map") == {"FINISHED"}
    title = "Printed – tilted minus Milled"
    written = attributes(studied)
    assert set(written) == {f"study difference_mm: {title}"[:60], f"study q: {title}"[:60]}
    difference, q = written[f"study difference_mm: {title}"[:60]], written[f"study q: {title}"[:60]]
    told = np.where(np.isfinite(difference), np.where(q <= 0.05, difference, 0.0), np.nan)
    expected = studied.part("standalone_core.report.drawing.deviation_colours").deviation_colours(
        told, settings.shown_limit_um / 1e3
    )
    assert np.array_equal(colours(studied.design), expected)
    assert "does not say that they differ there" in kept(studied)["caveat"]


def test_long_names_of_groups_in_any_script(listed: SimpleNamespace) -> None:
    """Attributes hold 67 bytes of a name, legends two lines of it."""
    for item in listed.settings.scans:
        item.group = f"{item.group}: 歯科用ジルコニア・ブロックから削り出した冠、焼結後に研磨"
    listed.settings.scans.remove(0)
    assert call(listed, "run_study") == {"FINISHED"}
    assert call(listed, "show_group_map") == {"FINISHED"}
    case = SimpleNamespace(**vars(listed), design=listed.settings.design)
    ((name, values),) = attributes(case).items()
    assert len(name.encode()) <= 60
    assert np.isfinite(values).any()
    assert len(listed.part("addon.study.group_map").legend_of(listed.scene)[1]) <= 3


def test_removing_brings_everything_back(studied: SimpleNamespace) -> None:
    bpy = studied.bpy
    material = bpy.data.materials.new("Keramik")
    studied.design.data.materials.append(material)
    hidden = studied.settings.scans[2].scan
    hidden.hide_set(True)
    names = {a.name for a in studied.design.data.attributes}
    transform = studied.scene.view_settings.view_transform
    assert call(studied, "show_group_map") == {"FINISHED"}
    assert all(item.scan.hide_get() for item in studied.settings.scans)
    assert not studied.design.hide_get()
    assert studied.scene.view_settings.view_transform == "Standard"
    assert stale(studied) == ""
    assert call(studied, "remove_colour_map") == {"FINISHED"}
    assert [item.scan.hide_get() for item in studied.settings.scans].count(True) == 1
    assert hidden.hide_get()
    assert studied.design.material_slots[0].material == material
    assert {a.name for a in studied.design.data.attributes} == names
    assert studied.scene.view_settings.view_transform == transform
    assert studied.settings.study.shown is False


def test_the_map_gives_way_to_a_checked_crown(studied: SimpleNamespace) -> None:
    assert call(studied, "show_group_map") == {"FINISHED"}
    assert call(studied, "check_crown") == {"FINISHED"}
    assert studied.settings.study.shown is False
    assert not studied.scan.hide_get()
    assert attributes(studied) == {}
    assert call(studied, "show_group_map") == {"FINISHED"}
    with pytest.raises(RuntimeError, match="A group's map is shown"):
        call(studied, "read_value", location=(0, 0, 9))
    assert call(studied, "show_colour_map") == {"FINISHED"}
    assert studied.settings.study.shown is False


def test_a_map_of_a_changed_design_says_so(studied: SimpleNamespace) -> None:
    """Vertices that moved are not measured points any more: grey, not wrong."""
    _edit_design(studied)
    assert call(studied, "show_group_map") == {"FINISHED"}
    ((_, values),) = attributes(studied).items()
    assert np.isnan(values[3])
    assert np.isfinite(values).sum() > 0.9 * len(values)
    assert stale(studied) == "The design's mesh was changed."


def test_nothing_of_it_stays_when_the_folder_goes(studied: SimpleNamespace, tmp_path: Path) -> None:
    """Numbers and maps live in the .blend; only the report needs the folder."""
    copy = tmp_path / "Studie.blend"
    shutil.copy(studied.path, copy)
    again = opened(studied.part, copy)
    assert call(again, "copy_study_table") == {"FINISHED"}
    assert call(again, "show_group_map") == {"FINISHED"}


def test_crowns_with_unmatched_surface_are_named(
    empty: SimpleNamespace,
    extension: SimpleNamespace,
    spoilt_surfaces: SimpleNamespace,
    tmp_path: Path,
) -> None:
    """Limits and the scanner's uncertainty go into the file, and a change of them is noticed."""
    settings = empty.scene.cuspwise
    settings.design = extension.add_object("Design", spoilt_surfaces.design)
    settings.spacing_mm = extension.spacing_mm
    item = settings.scans.add()
    item.scan, item.group = extension.add_object("Spoilt", spoilt_surfaces.scan), "Printed"
    settings.study.folder = str(tmp_path / "study")
    settings.scanner_um, settings.max_unmatched_um, settings.max_unmatched_mm2 = 1.5, 90.0, 0.15
    settings.max_missing_mm = 0.7
    assert call(empty, "run_study") == {"FINISHED"}
    read = empty.part("standalone_core.study.file.read").read_study
    tolerances = read(tmp_path / "study" / "study.toml").check.tolerances
    assert dict(tolerances.scanner_um) == {"default": 1.5}
    assert (tolerances.max_unmatched_um, tolerances.max_unmatched_mm2) == (90.0, 0.15)
    assert tolerances.max_missing_mm == 0.7
    bad = [line["sentence"] for line in kept(empty)["opening"] if line["status"] == "bad"]
    (named,) = [text for text in bad if text.startswith("Spoilt: ")]
    assert "The scan has surface that the design has not" in named
    assert not stale(empty)
    settings.max_unmatched_um = 95.0
    assert "height of unmatched scan surface" in stale(empty)
    settings.max_unmatched_um, settings.max_missing_mm = 90.0, 0.5
    assert "length of missing margin" in stale(empty)
    settings.max_missing_mm, settings.scanner_um = 0.7, 0.0
    assert "scanner's uncertainty" in stale(empty)

"""Everything that the command line sets is set in Blender too, and gives the same numbers."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from types import SimpleNamespace
from typing import Any

import pytest
from calls import call
from test_judging import JUDGED, assert_same, fresh

NOT_IN_BLENDER = {
    "design_unit": "Unit says how long the scene's units are; a file's is asked when it comes in",
    "scan_unit": "the same",
    "superimpose.refine": "Measure Deviation leaves the scan where it lies, all else refines",
    "superimpose.landmarks_scan_mm": "Pick Landmarks makes them",
    "superimpose.landmarks_design_mm": "the same",
    "superimpose.look_for_rivals": "always looked for, as the command line does by default",
    "superimpose.tolerance_mm": "the numerical end of the best fit; a fit not settled says so",
    "superimpose.max_iterations": "the same",
    "causes.find_causes": "Find Causes does it when it is pressed",
}
"""Settings that no property holds, with the reason."""
CAUSES_IN_BLENDER = ("scanner_scale_permille", "scanner_scale_uncertainty_permille")
"""Of how causes are looked for; the others are the search's own, and no choice of a crown's."""


def check_settings(case: SimpleNamespace) -> Any:
    """The core's settings by the scene's choices of now."""
    choices, production = (
        case.part("addon.check.scene_choices"),
        case.part("addon.causes.production"),
    )
    chosen = choices.choices_of(case.settings) | production.choices_of(case.scene, case.scan)
    return choices.check_settings({**chosen, "force": True})


def declared(case: SimpleNamespace, settings: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every declared setting of a check by its dotted name."""
    known = case.part("standalone_core.setting").declared_in(type(settings))
    for one in fields(settings):
        value, name = getattr(settings, one.name), f"{path}{one.name}"
        if one.name in known:
            yield name, known[one.name]
        elif is_dataclass(value):
            yield from declared(case, value, f"{name}.")


def owner_of(case: SimpleNamespace, path: str, name: str) -> Any:
    """What holds the property of a setting; None if nothing does."""
    settings = case.settings
    first = path.partition(".")[0]
    groups = case.part("addon.check.setting_groups").GROUPS
    of_kind = {"mark": settings.support_marks, "causes": settings.causes}
    of_kind["production"] = settings.causes.production
    if first in of_kind:
        return of_kind[first]
    for key, group in groups.items():
        if name in group.names:
            return getattr(settings, key)
    return case.design.cuspwise if path.startswith("areas.") else settings


def other(setting: Any, usual: Any) -> Any:
    """A value that is allowed and is not the default."""
    kind = type(setting.allowed).__name__
    if kind == "Flag":
        return not usual
    if kind == "Choice":
        return next(word for word in setting.allowed.words if word != usual)
    if kind == "Direction":
        return (0.0, 0.6, 0.8)
    low, high = setting.plausible or (setting.number.low, setting.number.high)
    if usual is None:
        return float(f"{min(max(low, 0.5), high, 1.1):.6g}")
    return float(f"{(usual + min(high, 2 * usual if usual else 1.0)) / 2:.6g}")


def of_path(settings: Any, path: str) -> Any:
    for part in path.split("."):
        settings = getattr(settings, part)
    return settings


def test_every_setting_of_a_check_is_set_in_blender_or_has_its_reason(
    crown: SimpleNamespace,
) -> None:
    """Each property is changed alone; the core's settings follow in it."""
    usual, reached = check_settings(crown), set()
    assert usual == type(usual)(spacing_mm=usual.spacing_mm, force=True)
    crown.settings.causes.scanner_is_known = True
    for path, setting in declared(crown, usual):
        name = path.rpartition(".")[2]
        if path in NOT_IN_BLENDER or path in ("superimpose.start", "force"):
            continue  # those two have tests of their own
        if path.startswith("causes.") and name not in CAUSES_IN_BLENDER:
            continue
        if name in ("tolerances_um", "scanner_um", "fit_areas"):
            continue  # lists, below
        owner = owner_of(crown, path, name)
        value = other(setting, of_path(usual, path))
        owner_before = getattr(owner, name)
        if not isinstance(owner_before, (bool, int, float, str)):
            owner_before = tuple(owner_before)
        setattr(owner, name, value)
        found = of_path(check_settings(crown), path)
        wanted = value if isinstance(value, (bool, str)) else pytest.approx(value, rel=1e-5)
        assert found == wanted, (path, found, value)
        setattr(owner, name, owner_before)
        reached.add(path)
    assert len(reached) > 50
    every = {path for path, _ in declared(crown, usual)}
    assert set(NOT_IN_BLENDER) <= every


def test_lists_of_areas_reach_the_core(crown: SimpleNamespace) -> None:
    settings = crown.settings
    for rows, area in (("tolerances", "fossae"), ("scanners", "margin"), ("fit_areas", "axial")):
        assert call(crown, "add_area_row", rows=rows, area=area) == {"FINISHED"}
    assert call(crown, "add_area_row", rows="fit_areas", area="occlusal") == {"FINISHED"}
    settings.tolerances[0].um, settings.scanners[0].um = 33.0, 2.5
    settings.scanner_um, settings.fit_area = 1.5, "LISTED"
    found = check_settings(crown)
    limits = {"whole": 25.0, "occlusal": 20.0, "margin": 15.0, "fossae": 33.0}
    assert dict(found.tolerances.tolerances_um) == limits
    assert dict(found.tolerances.scanner_um) == {"default": 1.5, "margin": 2.5}
    assert found.fit_areas == ("axial", "occlusal")
    assert call(crown, "remove_area_row", rows="tolerances", number=0) == {"FINISHED"}
    assert "fossae" not in check_settings(crown).tolerances.tolerances_um


def change_many(case: SimpleNamespace) -> None:
    """Choose many things otherwise at once."""
    settings, data = case.settings, case.design.cuspwise
    assert call(case, "design_direction_from_axis", kind="mesial_direction", axis="POS_X")
    assert call(case, "design_direction_from_axis", kind="buccal_direction", axis="NEG_Y")
    data.insertion = (0.02, -0.01, 1.0)
    settings.areas.margin_band_mm, settings.areas.occlusal_slope_deg = 0.7, 52.0
    settings.areas.contact_radius_mm = 1.2
    settings.superimpose.fit_weighting, settings.superimpose.keep_share = "trimmed", 0.8
    settings.doubt.least_overlap = 0.4
    settings.fit_area = "external"
    settings.search_mm, settings.points.max_normal_angle_deg = 0.8, 50.0
    settings.points.ignore_loose_pieces = True
    settings.verdicts.direction, settings.verdicts.weighted = "scan_to_design", False
    settings.verdicts.patch_um, settings.verdicts.min_patch_mm2 = 40.0, 0.05
    settings.verdicts.min_coverage = 0.8
    settings.tolerance_margin_um, settings.scanner_um = 60.0, 1.2
    for rows, area, um in (("tolerances", "contact_mesial", 45.0), ("scanners", "axial", 2.0)):
        assert call(case, "add_area_row", rows=rows, area=area) == {"FINISHED"}
        getattr(settings, rows)[-1].um = um


def many(case: SimpleNamespace) -> Any:
    """The same as a user of the core writes it."""
    part = case.part
    deviation = part("standalone_core.deviation.settings")
    tolerances = part("standalone_core.deviation.tolerances").Tolerances
    return part("standalone_core.check").CheckSettings(
        spacing_mm=round(case.settings.spacing_mm, 6),
        ignore_loose_pieces=True,
        areas=part("standalone_core.areas.settings").AreaSettings(
            insertion=(0.02, -0.01, 1.0),
            mesial_direction=(1.0, 0.0, 0.0),
            buccal_direction=(0.0, -1.0, 0.0),
            margin_band_mm=0.7,
            occlusal_slope_deg=52.0,
            contact_radius_mm=1.2,
        ),
        superimpose=part("standalone_core.superimpose.settings").SuperimposeSettings(
            fit_weighting="trimmed", keep_share=0.8, least_overlap=0.4
        ),
        fit_areas=("external",),
        deviation=deviation.DeviationSettings(search_mm=0.8, max_normal_angle_deg=50.0),
        patches=deviation.PatchSettings(patch_um=40.0, min_patch_mm2=0.05),
        tolerances=tolerances(
            {"whole": 25.0, "occlusal": 20.0, "margin": 60.0, "contact_mesial": 45.0},
            min_coverage=0.8,
            scanner_um={"default": 1.2, "axial": 2.0},
        ),
        weighted=False,
        direction="scan_to_design",
    )


def test_many_settings_at_once_give_the_command_lines_numbers_to_the_last_bit(
    crown: SimpleNamespace, surfaces: SimpleNamespace, tmp_path: Any
) -> None:
    """The objects' own coordinates in files, checked as the command line checks them."""
    part, store = crown.part, crown.part("addon.check.store")
    change_many(crown)
    files = part("standalone_core.mesh.files")
    names = [tmp_path / "design.ply", tmp_path / "scan.ply"]
    for path, mesh in zip(names, (surfaces.design, surfaces.scan), strict=True):
        files.write_mesh(path, mesh)
    assert call(crown, "check_crown") == {"FINISHED"}
    found = store.result_of(crown.scan)["check"]
    expected = part("standalone_core.check").check(*names, many(crown))
    wanted = json.loads(
        json.dumps(part("standalone_core.report.check.document").check_document(expected))
    )
    for name in ("measures", "verdicts", "patches", "unmatched", "margin_profile", "insertion"):
        assert found[name] == wanted[name], name
    for name in ("areas", "superimpose", "deviation", "patches", "tolerances", "direction"):
        assert found["settings"][name] == wanted["settings"][name], name
    areas = {row["area"] for row in found["measures"]}
    assert {"contact_mesial", "contact_distal"} <= areas
    # The panel shows the direction that is judged first, and the places have their names.
    (margin,) = [
        row for row in store.rows_of(store.result_of(crown.scan)) if row["area"] == "margin"
    ]
    assert margin["direction"] == "scan_to_design"
    assert store.profile_of(crown.scan).directions.words(0.0) == "mesial"


def test_rules_of_verdicts_are_followed_without_measuring(spoilt: SimpleNamespace) -> None:
    store, number = spoilt.part("addon.check.store"), spoilt.scan.cuspwise.result_id
    rules = spoilt.settings.verdicts
    rules.direction, rules.weighted, rules.min_coverage = "scan_to_design", False, 0.99
    rules.patch_um = 60.0
    assert call(spoilt, "add_area_row", rows="tolerances", area="axial") == {"FINISHED"}
    spoilt.settings.tolerances[0].um = 4.0
    kept, wanted = store.result_of(spoilt.scan), fresh(spoilt)
    assert spoilt.scan.cuspwise.result_id == number
    for name in (*JUDGED, "settings"):
        assert_same(kept["check"][name], wanted[name], name)
    verdicts = {row.area: row for row in store.verdicts_of(kept)}
    assert verdicts["axial"].tolerance_um == 4.0
    assert kept["patch_limit_um"] == 60.0
    assert call(spoilt, "remove_area_row", rows="tolerances", number=0) == {"FINISHED"}
    verdicts = {row.area: row for row in store.verdicts_of(store.result_of(spoilt.scan))}
    assert verdicts["axial"].verdict == "no_tolerance"
    assert spoilt.scan.cuspwise.state == "CURRENT"


# Out of date ----------------------------------------------------------------------------------


def test_what_is_measured_with_makes_results_out_of_date_until_it_is_as_before(
    checked: SimpleNamespace,
) -> None:
    settings, data = checked.settings, checked.scan.cuspwise
    for owner, name, value, words in (
        (settings.areas, "margin_band_mm", 0.5, "thresholds or directions"),
        (checked.design.cuspwise, "mesial_direction", (1.0, 0.0, 0.0), "thresholds or directions"),
        (settings.points, "ignore_loose_pieces", True, "which points count"),
        (settings, "spacing_mm", 0.3, "spacing"),
        (settings, "search_mm", 0.5, "search distance"),
    ):
        before = getattr(owner, name)
        before = before if isinstance(before, (bool, float)) else tuple(before)
        setattr(owner, name, value)
        assert data.state == "OUT_OF_DATE", name
        assert words in data.state_reason
        setattr(owner, name, before)
        assert data.state == "CURRENT", name


def test_defaults_come_back_at_once(checked: SimpleNamespace) -> None:
    settings = checked.settings
    settings.areas.margin_band_mm = settings.areas.fossa_ball_radius_mm = 1.1
    assert checked.scan.cuspwise.state == "OUT_OF_DATE"
    assert call(checked, "reset_choices", group="areas") == {"FINISHED"}
    assert settings.areas.margin_band_mm == 1.0
    assert settings.areas.fossa_ball_radius_mm == 1.5
    assert checked.scan.cuspwise.state == "CURRENT"


def test_thresholds_that_do_not_go_together_are_told_by_their_labels(
    crown: SimpleNamespace,
) -> None:
    crown.settings.areas.fossa_gap_mm = 0.9
    crown.settings.areas.fossa_ball_radius_mm = 0.5
    with pytest.raises(RuntimeError, match=r"Fossa Gap \(mm\): 0\.9 is above Fossa Ball") as told:
        call(crown, "check_crown")
    assert "_mm" not in str(told.value)


# Directions -----------------------------------------------------------------------------------


def test_directions_are_the_designs_own_and_go_with_it(crown: SimpleNamespace) -> None:
    """Picked in the world, they are kept in the design's frame, and drawn where it lies."""
    from mathutils import Euler, Vector

    design = crown.design
    design.rotation_euler, design.location = Euler((0.4, -0.2, 1.3)), (5.0, 6.0, 7.0)
    crown.bpy.context.view_layer.update()
    turn = design.matrix_world.to_3x3()
    done = call(
        crown,
        "pick_design_direction",
        kind="mesial_direction",
        first=design.location,
        second=design.location + turn @ Vector((0.0, 2.0, 0.0)),
    )
    assert done == {"FINISHED"}
    assert tuple(design.cuspwise.mesial_direction) == pytest.approx((0.0, 1.0, 0.0), abs=1e-6)
    arrows = crown.part("addon.drawing.direction_arrows")
    for turned in (Euler((0.0, 0.0, 0.0)), Euler((1.0, 0.5, -0.3))):
        design.rotation_euler = turned
        crown.bpy.context.view_layer.update()
        (arrow,) = arrows.arrows_of(crown.bpy.context)
        shaft = arrow.lines[0][1] - arrow.lines[0][0]
        along = design.matrix_world.to_3x3() @ Vector((0.0, 1.0, 0.0))
        assert arrow.name == "Mesial"
        assert shaft.normalized().dot(along) == pytest.approx(1.0, abs=1e-5)
    crown.settings.show_directions = False
    assert arrows.arrows_of(crown.bpy.context) == []
    with pytest.raises(RuntimeError, match="Both places are the same"):
        call(crown, "pick_design_direction", kind="insertion")


@pytest.mark.parametrize(
    ("way", "direction"),
    [("RIGHT", (1, 0, 0)), ("LEFT", (-1, 0, 0)), ("UP", (0, 1, 0)), ("TOWARDS", (0, 0, 1))],
)
def test_a_direction_of_the_view_is_where_the_screen_shows_it(
    crown: SimpleNamespace, way: str, direction: tuple[int, ...]
) -> None:
    """Seen from occlusal with X to the right, then from a view turned by a quarter."""
    from mathutils import Euler, Quaternion, Vector

    operator = crown.part("addon.operators.design_directions")
    cls = operator.DesignDirectionFromView
    for turned in (Quaternion(), Euler((0.0, 0.0, 1.5707963)).to_quaternion()):
        context = SimpleNamespace(
            scene=crown.scene, region_data=SimpleNamespace(view_rotation=turned)
        )
        self = SimpleNamespace(kind="mesial_direction", way=way, report=lambda *_: None)
        self.keep = lambda ctx, found, own=self: cls.keep(own, ctx, found)
        self.keep_world = lambda ctx, world, own=self: cls.keep_world(own, ctx, world)
        assert cls.execute(self, context) == {"FINISHED"}
        found = tuple(crown.design.cuspwise.mesial_direction)
        assert found == pytest.approx(tuple(turned @ Vector(direction)), abs=1e-6)


def test_contacts_come_and_go_with_the_mesial_direction(crown: SimpleNamespace) -> None:
    """Found areas that are found no more leave no vertex group; an edited one stays."""
    groups = crown.design.vertex_groups
    assert call(crown, "find_areas") == {"FINISHED"}
    assert "Area: mesial contact" not in groups
    assert call(crown, "design_direction_from_axis", kind="mesial_direction", axis="NEG_X")
    assert call(crown, "find_areas") == {"FINISHED"}
    assert {"Area: mesial contact", "Area: distal contact"} <= set(groups.keys())
    sides = {}
    for name in ("mesial", "distal"):
        index = groups[f"Area: {name} contact"].index
        inside = [
            v.co.x
            for v in crown.design.data.vertices
            if any(g.group == index and g.weight >= 0.5 for g in v.groups)
        ]
        sides[name] = sum(inside) / len(inside)
    assert sides["mesial"] < -3.0 < 3.0 < sides["distal"]
    groups["Area: distal contact"].add([1, 2, 3], 1.0, "REPLACE")
    assert call(crown, "design_direction_from_axis", kind="mesial_direction", axis="NONE")
    assert call(crown, "find_areas") == {"FINISHED"}
    assert "Area: mesial contact" not in groups
    assert "Area: distal contact" in groups

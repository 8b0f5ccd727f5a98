"""Every option of ``cuspwise check`` has its place in Blender, or a reason why it has none."""

from __future__ import annotations

from cuspwise.addon.check.setting_groups import DIRECTIONS, GROUPS
from cuspwise.standalone_core.cli.check import check
from cuspwise.standalone_core.cli.settings import CHECK_KEYS

ELSEWHERE = {
    "out": "Export Report",
    "areas_file": "Load Areas",
    "start": "Start From",
    "refine": "Check Crown refines, Measure Deviation leaves the scan where it lies",
    "fit_areas": "Fit On, with a list of areas",
    "landmarks": "Pick Landmarks",
    "design_unit": "Unit of the scene",
    "scan_unit": "Unit of the scene, and of a file when it is imported",
    "spacing_mm": "Measuring Points",
    "search_mm": "Measuring Points",
    "max_unmatched_um": "Tolerances",
    "max_unmatched_mm2": "Tolerances",
    "max_missing_mm": "Tolerances",
    "tolerance": "Tolerances, with a list of further areas",
    "scanner_um": "Tolerances, and a list of areas under Verdicts and Patches",
    "support_mark": "Support Marks",
    "way": "Production",
    "build_direction": "Production",
    "enlargement": "Production",
    "enlargement_along_build": "Production",
    "bur_radius_mm": "Production",
    "force": "Advanced",
    "palette": "Palette",
}
"""Where Blender has what an option sets, beside the groups of settings and the directions."""
NOT_IN_BLENDER = {
    "find_causes": "Find Causes looks for them when it is pressed",
    "set": "stands for settings, which the test of all settings goes through one by one",
    "pictures": "Blender is the picture; a report has what its libraries can draw",
    "workers": "one thread, so that Blender's window stays alive",
    "as_json": "for scripts, which read the result from the object",
}


def test_every_option_of_check_is_in_blender_or_has_its_reason() -> None:
    in_groups = {name for group in GROUPS.values() for name in group.names} | set(DIRECTIONS)
    options = {
        param.name
        for param in check.params
        if param.param_type_name == "option" and not getattr(param, "hidden", False)
    }
    assert len(options) >= 35
    placed = [in_groups & options, set(ELSEWHERE), set(NOT_IN_BLENDER)]
    assert set().union(*placed) == options
    assert sum(map(len, placed)) == len(options)  # each stands in one place


def test_groups_hold_what_the_core_declares_and_each_setting_once() -> None:
    names = [name for group in GROUPS.values() for name in group.names]
    assert len(names) == len(set(names))
    for group in GROUPS.values():
        assert list(group.settings) == list(group.names)
        for one in group.settings.values():
            assert one.meaning
            assert len(one.label) <= 32, one.label
    keys = {key.name for key in CHECK_KEYS}
    assert keys & set(names)

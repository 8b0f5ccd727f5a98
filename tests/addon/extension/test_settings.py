"""Settings in Blender: what is not allowed cannot be entered, what is hardly meant is refused."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

SEARCH = "Search Distance (mm)"


@pytest.fixture
def numbers(empty: SimpleNamespace) -> list[SimpleNamespace]:
    """Every number of the scene that is a setting: its owner, its property, its declaration."""
    part, settings = empty.part, empty.scene.cuspwise
    of = part("standalone_core.setting").declared_in
    check = of(part("standalone_core.check_settings").CheckSettings)
    deviation = part("standalone_core.deviation.settings")
    limits = of(part("standalone_core.deviation.tolerances").Tolerances)
    analysis = of(part("standalone_core.study.plan").AnalysisPlan)
    mark = of(part("standalone_core.areas.support_marks").SupportMark)
    fit = part("standalone_core.fit.settings")
    found = [
        (settings, "spacing_mm", check["spacing_mm"]),
        (settings, "search_mm", of(deviation.DeviationSettings)["search_mm"]),
        (settings, "scanner_um", limits["scanner_um"]),
        (settings, "mark_radius_mm", mark["radius_mm"]),
        (settings.study, "equivalence_um", analysis["equivalence_um"]),
    ]
    for name in ("max_unmatched_um", "max_unmatched_mm2", "max_missing_mm"):
        found.append((settings, name, limits[name]))
    for area in ("whole", "occlusal", "margin"):
        found.append((settings, f"tolerance_{area}_um", limits["tolerances_um"]))
    for name, declared in of(deviation.MarkSettings).items():
        found.append((settings.support_marks, name, declared))
    for name in part("addon.fit.fit_settings").NUMBERS:
        found.append((settings.fit, name, of(fit.GapSettings)[name]))
    for core in (fit.WallSettings, fit.ContactSettings):
        for name, declared in of(core).items():
            if hasattr(settings.teeth, name):
                found.append((settings.teeth, name, declared))
    return [SimpleNamespace(owner=o, name=n, declared=d) for o, n, d in found]


def kept(one: SimpleNamespace, value: float) -> float:
    setattr(one.owner, one.name, value)
    return float(f"{getattr(one.owner, one.name):.6g}")


def refuse_unusual(case: SimpleNamespace, name: str) -> None:
    """Ask who uses a number whether it is hardly meant."""
    settings, fit = case.scene.cuspwise, case.part("addon.fit.fit_settings")
    if name in fit.NUMBERS:
        fit.fit_settings(fit.choices_of(settings), force=settings.force)
        return
    if hasattr(settings.teeth, name):
        case.part("addon.fit.walls").wall_settings(settings)
        case.part("addon.fit.contacts").contact_settings(settings)
    choices = case.part("addon.study.study_scene").choices_of(settings)
    case.part("addon.check.scene_choices").refuse_unusual(choices)


NONE_AT_ZERO = (
    "tolerance_",
    "scanner_um",
    "equivalence_um",
    "cement_space_um",
    "margin_space_um",
)


USUAL = {
    "scanner_um": 1.5,
    "equivalence_um": 5.0,
    "cement_space_um": 60.0,
    "margin_space_um": 30.0,
}
"""Of numbers whose default is that none is given."""


def test_every_number_of_the_scene_stays_within_its_declared_limits(
    numbers: list[SimpleNamespace],
) -> None:
    for one in numbers:
        limits = one.declared.number
        for value in (-1.0, 0.0, limits.low, limits.high * 1.001 + 1, 9999.0 * limits.high):
            held = kept(one, min(value, 3e38))
            off = held == 0 and one.name.startswith(NONE_AT_ZERO)
            assert limits.holds(held) or off, (one.name, value, held)
        assert limits.holds(kept(one, 1.0))


def test_what_is_no_finite_number_is_cut_or_refused_when_it_is_used(
    empty: SimpleNamespace, numbers: list[SimpleNamespace]
) -> None:
    """Blender keeps what a script sets to nan, as a panel cannot."""
    errors = empty.part("standalone_core.errors")
    for one in numbers:
        for value in (math.inf, -math.inf):
            held = kept(one, value)
            off = held == 0 and one.name.startswith(NONE_AT_ZERO)
            assert one.declared.number.holds(held) or off, (one.name, value, held)
        usual = one.owner.bl_rna.properties[one.name].default
        setattr(one.owner, one.name, math.nan)
        if one.name != "mark_radius_mm":  # used when a mark is made
            with pytest.raises(errors.SettingError, match="nan is not allowed"):
                refuse_unusual(empty, one.name)
        setattr(one.owner, one.name, usual)


@pytest.mark.parametrize("wrong", ["wide", None, [1.0]])
def test_what_is_no_number_is_refused(numbers: list[SimpleNamespace], wrong: Any) -> None:
    for one in numbers:
        with pytest.raises(TypeError):
            setattr(one.owner, one.name, wrong)


def test_properties_are_what_the_core_declares(numbers: list[SimpleNamespace]) -> None:
    """Default, limits, unit and meaning: none of them is written a second time."""
    for one in numbers:
        shown = one.owner.bl_rna.properties[one.name]
        declared = one.declared
        assert f"({declared.unit})" in shown.name or not declared.unit
        if one.name != "mark_radius_mm":
            assert shown.description.startswith(declared.meaning.rstrip("."))
            if isinstance(declared.default, (int, float)):
                assert shown.default == pytest.approx(declared.default, rel=1e-6)
            if declared.plausible is not None and declared.number.high > 1e30:
                assert shown.soft_max == pytest.approx(declared.plausible[1], rel=1e-6)
                assert shown.hard_max > 1e30
        if math.isfinite(declared.number.high):
            assert shown.hard_max == pytest.approx(declared.number.high, rel=1e-5)


def test_words_of_the_scene_are_those_of_the_core(empty: SimpleNamespace) -> None:
    part, settings = empty.part, empty.scene.cuspwise
    of = part("standalone_core.setting").declared_in
    fit = of(part("standalone_core.superimpose.settings").SuperimposeSettings)
    plan = of(part("standalone_core.study.plan").AnalysisPlan)
    words = {item.identifier for item in settings.bl_rna.properties["start"].enum_items}
    assert words == set(fit["start"].allowed.words)
    study = settings.study
    offered = {item.identifier for item in study.bl_rna.properties["primary_measure"].enum_items}
    assert offered <= set(plan["primary_measure"].allowed.words)
    for owner, name in ((settings, "start"), (settings, "fit_area"), (settings, "unit")):
        with pytest.raises(TypeError):
            setattr(owner, name, "furlong")
    for name in ("primary_area", "primary_measure"):
        with pytest.raises(TypeError):
            setattr(study, name, "furlong")


def test_the_default_choices_are_the_cores(empty: SimpleNamespace) -> None:
    choices = empty.part("addon.check.scene_choices")
    core = empty.part("standalone_core.check_settings")
    assert choices.check_settings(choices.choices_of(empty.scene.cuspwise)) == core.CheckSettings()
    fit = empty.part("addon.fit.fit_settings")
    expected = empty.part("standalone_core.fit.settings").FitSettings()
    assert fit.fit_settings(fit.choices_of(empty.scene.cuspwise)) == expected


def test_a_slip_of_a_thousand_is_refused_and_taken_with_the_box_ticked(
    empty: SimpleNamespace, numbers: list[SimpleNamespace]
) -> None:
    settings = empty.scene.cuspwise
    errors = empty.part("standalone_core.errors")
    doubted = 0
    for one in numbers:
        usual = USUAL.get(one.name) or getattr(one.owner, one.name)
        usual = float(f"{usual:.6g}")
        limits, plausible = one.declared.number, one.declared.plausible
        for slip in (usual * 1000, usual / 1000):
            value = float(f"{slip:.6g}")
            if plausible is None or one.name == "mark_radius_mm" or not limits.holds(value):
                continue
            if plausible[0] <= value <= plausible[1]:
                continue
            setattr(one.owner, one.name, value)
            doubted += 1
            with pytest.raises(errors.SettingError) as caught:
                refuse_unusual(empty, one.name)
            assert f"Did you mean {usual:g}" in caught.value.remedy
            assert "Take Unusual Numbers" in caught.value.remedy
            assert one.declared.label.split(" (")[0] in caught.value.subject
            settings.force = True
            refuse_unusual(empty, one.name)
            settings.force = False
        setattr(one.owner, one.name, usual if usual else 0.0)
    assert doubted >= 20


def test_check_crown_refuses_what_is_hardly_meant(crown: SimpleNamespace) -> None:
    crown.settings.search_mm = 1000.0
    with pytest.raises(RuntimeError, match="Did you mean 1, which is 1000 µm"):
        crown.bpy.ops.cuspwise.check_crown()
    assert crown.scan.cuspwise.result == ""
    crown.settings.force = True
    assert crown.bpy.ops.cuspwise.check_crown() == {"FINISHED"}


def test_limits_that_are_hardly_meant_judge_nothing_anew(checked: SimpleNamespace) -> None:
    store = checked.part("addon.check.store")
    before = repr(store.verdicts_of(store.result_of(checked.scan)))  # NaN does not equal itself
    checked.settings.tolerance_margin_um = 0.015
    assert repr(store.verdicts_of(store.result_of(checked.scan))) == before
    checked.settings.force = True
    after = {v.area: v for v in store.verdicts_of(store.result_of(checked.scan))}
    assert after["margin"].tolerance_um == pytest.approx(0.015)
    assert after["margin"].verdict == "outside"


def test_the_limits_of_support_marks_decide_what_a_stub_is(checked: SimpleNamespace) -> None:
    """The same spot is a stub by a low limit and none by a high one; the numbers stay."""
    store = checked.part("addon.check.store")
    at = checked.design.data.vertices[100].co
    found = []
    for limit_um in (0.5, 2000.0):
        checked.settings.support_marks.limit_um = limit_um
        checked.settings.support_marks.least_band_um = 0.2
        checked.settings.support_marks.band_factor = 0.0
        checked.settings.support_marks.min_coverage = 0.0
        if not found:
            location = checked.design.matrix_world @ at
            checked.bpy.ops.cuspwise.mark_support(location=location, radius_mm=1.0, name="a")
        else:
            assert checked.scan.cuspwise.marks_out_of_date
            assert checked.bpy.ops.cuspwise.measure_marks() == {"FINISHED"}
        result = store.result_of(checked.scan)
        (row,) = result["check"]["marks"]
        found.append(row)
        assert result["choices"]["support_marks"]["limit_um"] == limit_um
        assert result["check"]["settings"]["mark"]["limit_um"] == limit_um
    low, high = found
    assert low["height_um"] == high["height_um"]
    assert low["verdict"] in ("stub", "gouge")
    assert high["verdict"] == "clean"

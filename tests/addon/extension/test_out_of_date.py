"""Every choice of a scene makes results out of date, has them judged anew, or changes none."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

from calls import call

HARMLESS = {
    *("scan_index", "palette", "shown", "limit_is_automatic", "limit_um"),
    *("mark_kind", "mark_radius_mm"),
    *(f"show_{what}" for what in ("areas", "directions", "marks", "margin")),
    *(f"teeth.section.{what}" for what in ("shown", "follows_view", "through", "offset_mm")),
    "teeth.section.normal",
    *(f"study.{what}" for what in ("folder", "keep_crowns", "area", "measure")),
    *(f"study.map_{what}" for what in ("kind", "group", "pair")),
    *(f"crowns.{what}" for what in ("sort_by", "area", "group", "status")),
    *("causes.show_build_direction", "fit.show_spots", "fit.show_polar"),
    *(f"patches.{what}" for what in ("sort", "sign", "area", "least_mm2")),
}
"""What only shows, lists or names things, and what is used when something is made later."""
PLACES = "unit"
"""What changes where things lie, which is looked at with the places of objects."""
REFUSES = "force"
"""What only says whether unusual numbers are refused."""
ALWAYS = {"refine", "force"}
"""What a study is measured with and no scene chooses, or what changes no result."""


def leaves(owner: Any, path: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Every choice of a group and of those in it: its path, its owner, its property."""
    for prop in owner.bl_rna.properties:
        value, where = getattr(owner, prop.identifier), f"{path}{prop.identifier}"
        if prop.identifier in ("rna_type", "name") or prop.type == "COLLECTION":
            continue
        if prop.type == "POINTER":  # to a group, or to an object, which is compared as such
            yield from leaves(value, f"{where}.") if isinstance(value, bpy_group()) else ()
        elif not (prop.is_hidden or prop.is_readonly):
            yield where, owner, prop


def bpy_group() -> type:
    import bpy

    group: type = bpy.types.PropertyGroup
    return group


def other(owner: Any, prop: Any) -> Any:
    """Another value than the present one; the present one where there is none."""
    now = getattr(owner, prop.identifier)
    if prop.type == "BOOLEAN":
        return not now
    if prop.type in ("INT", "FLOAT"):
        return [0.0, 1.0, 0.0] if prop.array_length else other_number(now, prop)
    if prop.type == "ENUM":
        return other_item(now, prop)
    return f"{now}x"


def other_number(now: float, prop: Any) -> float:
    step = 1 if prop.type == "INT" else 0.25 * min(abs(now), prop.hard_max - now) or 1.0
    return now + step if now + step <= prop.hard_max else now - abs(step)


def other_item(now: Any, prop: Any) -> Any:
    if prop.identifier == PLACES:
        return "inch"  # the others may be as long as what is found automatically
    names = [item.identifier for item in prop.enum_items]
    if prop.is_enum_flag:
        return set(names) - now or {names[0]}
    return next((name for name in names if name != now), now)


def chosen(case: SimpleNamespace) -> dict[str, Any]:
    """What each kind of result is made with, by kind."""
    part, settings = case.part, case.settings
    made = {
        "check": part("addon.check.scene_choices").choices_of(settings),
        "study": part("addon.study.study_scene").choices_of(settings),
        "fit": part("addon.fit.fit_settings").choices_of(settings),
        "walls": part("addon.fit.walls").choices_of(settings),
        "contacts": part("addon.fit.contacts").choices_of(settings),
        "causes": part("addon.causes.production").choices_of(case.scene, case.scan),
    }
    return {kind: json.loads(json.dumps(choices)) for kind, choices in made.items()}


@contextmanager
def changed(case: SimpleNamespace, owner: Any, name: str, value: Any) -> Iterator[set[str]]:
    """Choose something else; yield the kinds of results that are made otherwise then."""
    now, before = getattr(owner, name), chosen(case)
    held = set(now) if isinstance(now, set) else now[:] if hasattr(now, "__len__") else now
    setattr(owner, name, value)
    after = chosen(case)
    yield {kind for kind in before if before[kind] != after[kind]}
    setattr(owner, name, held)
    assert chosen(case) == before, name


def kept(case: SimpleNamespace) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(case.scan.cuspwise.result)["choices"]
    return found


def test_every_choice_marks_or_judges_anew_or_is_harmless(checked: SimpleNamespace) -> None:
    """And none of those that are listed as harmless has any part in a result."""
    checked.settings.causes.scanner_is_known = True  # else its numbers have no part
    data, judging = checked.scan.cuspwise, checked.part("addon.check.scene_choices").JUDGING
    found, harmless, before = list(leaves(checked.settings)), set(), chosen(checked)["check"]
    for path, owner, prop in found:
        with changed(checked, owner, prop.identifier, other(owner, prop)) as kinds:
            now = chosen(checked)["check"]
            if path == PLACES:
                assert data.state == "OUT_OF_DATE", path
            elif not kinds:
                harmless.add(path)
            elif "check" not in kinds or path == REFUSES:
                assert data.state == "CURRENT", path
            elif path.startswith("support_marks."):
                assert data.marks_out_of_date, path
            elif {name for name in judging if now[name] != before[name]}:
                assert data.state == "CURRENT", path
                assert all(kept(checked)[name] == now[name] for name in judging), path
            else:
                assert data.state == "OUT_OF_DATE", path
        assert data.state == "CURRENT", path
        data.marks_out_of_date = False
    assert harmless == HARMLESS
    assert len(found) > 100


def test_every_choice_of_a_study_is_compared(checked: SimpleNamespace) -> None:
    words = checked.part("addon.study.study_store").SETTINGS_WORDS
    assert set(chosen(checked)["study"]) - set(words) == ALWAYS


def test_lists_of_areas_count_too(checked: SimpleNamespace) -> None:
    """A row that is added marks or judges anew, and its removal takes that back."""
    data, settings = checked.scan.cuspwise, checked.settings
    for rows in ("tolerances", "scanners"):
        call(checked, "add_area_row", rows=rows, area="axial")
        assert kept(checked) == {**kept(checked), **chosen(checked)["check"]}
        call(checked, "remove_area_row", rows=rows, number=0)
        assert data.state == "CURRENT"
        assert kept(checked) == {**kept(checked), **chosen(checked)["check"]}
    settings.fit_area = "LISTED"
    assert "areas that the scan is laid on" in data.state_reason
    call(checked, "add_area_row", rows="fit_areas", area="axial")
    call(checked, "check_crown")
    assert data.state == "CURRENT"
    call(checked, "add_area_row", rows="fit_areas", area="occlusal")
    assert data.state == "OUT_OF_DATE"
    call(checked, "remove_area_row", rows="fit_areas", number=1)
    assert data.state == "CURRENT"


def test_what_was_measured_where_it_lay_was_laid_by_nothing(checked: SimpleNamespace) -> None:
    call(checked, "measure_deviation")
    checked.settings.superimpose.fit_weighting = "robust"
    checked.settings.start = "in_place"
    assert checked.scan.cuspwise.state == "CURRENT"
    checked.settings.spacing_mm *= 1.5
    assert checked.scan.cuspwise.state == "OUT_OF_DATE"

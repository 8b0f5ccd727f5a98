"""The list of patches: sorted and filtered as asked for, the chosen one kept; values read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from calls import call
from test_window_parts import Layout, sidebar

Listing = Callable[[], list[Any]]


@pytest.fixture
def listing(spoilt: SimpleNamespace) -> Listing:
    """The patches that the list shows, from top to bottom."""
    cls = spoilt.part("addon.panels.patches").PatchList

    def listed() -> list[Any]:
        data = spoilt.scan.cuspwise
        shown = 1 << 30
        stand_in = SimpleNamespace(bitflag_filter_item=shown)
        flags, places = cls.filter_items(stand_in, spoilt.bpy.context, data, "patches")
        assert sorted(places) == list(range(len(data.patches)))
        rows = sorted(zip(places, flags, data.patches, strict=True), key=lambda row: row[0])
        return [patch for _place, flag, patch in rows if flag == shown]

    return listed


def said(case: SimpleNamespace) -> str:
    """What the panel says."""
    notes: list[str] = []
    panel = case.part("addon.panels.patches").PatchesPanel
    panel.draw(SimpleNamespace(layout=Layout(notes, case.bpy)), sidebar(case))
    return " ".join(notes)


def test_the_worst_comes_first(spoilt: SimpleNamespace, listing: Listing) -> None:
    peaks = [abs(patch.peak_um) for patch in listing()]
    assert len(peaks) > 100
    assert peaks == sorted(peaks, reverse=True)
    count = len(spoilt.part("addon.check.store").result_of(spoilt.scan)["check"]["patches"])
    assert len(peaks) == count
    assert f"{count} patches beyond ±25 µm" in said(spoilt)


@pytest.mark.parametrize(
    ("sort", "number"),
    [
        ("PEAK", lambda patch: -patch.peak_um),
        ("SIZE", lambda patch: -patch.area_mm2),
        ("WORST", lambda patch: -abs(patch.peak_um)),
    ],
)
def test_other_orders(
    spoilt: SimpleNamespace, listing: Listing, sort: str, number: Callable[[Any], float]
) -> None:
    spoilt.settings.patches.sort = sort
    numbers = [number(patch) for patch in listing()]
    assert numbers == sorted(numbers)


def test_by_area_the_worst_of_each_first(spoilt: SimpleNamespace, listing: Listing) -> None:
    row = spoilt.part("addon.panels.patches")._listed_patch
    spoilt.settings.patches.sort = "AREA"
    found = [(row(patch).place, -abs(patch.peak_um)) for patch in listing()]
    assert found == sorted(found)
    assert len({place for place, _peak in found}) > 3


def test_filters_leave_out_and_the_count_says_so(spoilt: SimpleNamespace, listing: Listing) -> None:
    chosen = spoilt.settings.patches
    everything = listing()
    spoilt.scan.cuspwise.patch_index = 3
    chosen.sign = "MISSING"
    missing = listing()
    assert 0 < len(missing) < len(everything)
    assert all(patch.peak_um < 0.0 for patch in missing)
    assert f"{len(missing)} of {len(everything)} patches" in said(spoilt)
    chosen.sign = "EXCESS"
    assert len(listing()) == len(everything) - len(missing)
    chosen.area = "margin"
    margin = listing()
    assert 0 < len(margin) < len(everything)
    assert all("margin" in patch.where.split(",") for patch in margin)
    least = sorted(patch.area_mm2 for patch in margin)[len(margin) // 2]
    chosen.least_mm2 = least
    large = listing()
    assert 0 < len(large) < len(margin)
    assert min(patch.area_mm2 for patch in large) == pytest.approx(least, rel=1e-6)
    chosen.sort = "SIZE"
    assert spoilt.scan.cuspwise.patch_index == 3  # chosen still, though not listed
    chosen.least_mm2 = 1e6
    assert listing() == []
    assert f"0 of {len(everything)} patches" in said(spoilt)


def test_the_area_is_kept_by_its_name(spoilt: SimpleNamespace) -> None:
    """Another scan lists other areas, and may have none."""
    chosen = spoilt.settings.patches
    assert chosen.area == "everywhere"
    chosen.area = "occlusal"
    other = spoilt.scan.copy()
    other.cuspwise.patches.clear()
    spoilt.scene.collection.objects.link(other)
    spoilt.settings.scans.add().scan = other
    spoilt.settings.scan_index = 1
    assert chosen.area == "everywhere"
    spoilt.settings.scan_index = 0
    assert chosen.area == "occlusal"


# Values ----------------------------------------------------------------------------------------


@pytest.fixture
def read(checked: SimpleNamespace) -> SimpleNamespace:
    """A crown with two values read, on scan and design."""
    for on, obj in (("SCAN", checked.scan), ("DESIGN", checked.design)):
        location = obj.matrix_world @ obj.data.vertices[40].co
        assert call(checked, "read_value", on=on, location=location) == {"FINISHED"}
    return checked


def captions(case: SimpleNamespace) -> list[str]:
    """The words in the view."""
    shown = case.part("addon.drawing.captions").captions_of(case.bpy.context)
    return [words for _place, words in shown]


def values_panel(case: SimpleNamespace) -> str:
    notes: list[str] = []
    panel = case.part("addon.panels.values").ValuesPanel
    panel.draw(SimpleNamespace(layout=Layout(notes, case.bpy)), sidebar(case))
    return " ".join(notes)


def test_a_value_says_that_it_is_out_of_date(read: SimpleNamespace, tmp_path: Path) -> None:
    read.settings.shown = "BOTH"
    read.bpy.context.view_layer.update()
    assert len(captions(read)) == 2
    assert not any("Out of date" in words for words in captions(read))
    assert "Out of date" not in values_panel(read)
    place = read.scan.location.copy()
    read.scan.location.x += 1.0
    read.bpy.context.view_layer.update()
    assert all(words.startswith("Out of date: ") for words in captions(read))
    assert "Scan or design was moved." in values_panel(read)
    read.scan.location = place
    read.bpy.context.view_layer.update()
    assert not any("Out of date" in words for words in captions(read))
    # Measured again it is right for now, and the values are of before.
    assert call(read, "measure_deviation") == {"FINISHED"}
    read.bpy.context.view_layer.update()
    assert all(words.startswith("Out of date: ") for words in captions(read))
    assert "The scan was measured again." in values_panel(read)
    path = str(tmp_path / "values.blend")
    read.bpy.ops.wm.save_as_mainfile(filepath=path)
    read.bpy.ops.wm.open_mainfile(filepath=path)
    read.bpy.context.view_layer.update()
    assert all(words.startswith("Out of date: ") for words in captions(read))


def test_a_value_of_a_deleted_scan_says_so(read: SimpleNamespace) -> None:
    read.settings.shown = "BOTH"
    read.bpy.data.objects.remove(read.scan)
    read.bpy.context.view_layer.update()
    assert any(words.startswith("Out of date: ") for words in captions(read))


def test_values_are_removed_one_by_one_and_all(read: SimpleNamespace) -> None:
    """Landmarks are none of them."""
    reading = read.part("addon.check.reading")
    location = read.scan.matrix_world @ read.scan.data.vertices[90].co
    assert call(read, "pick_landmarks", on="SCAN", location=location) == {"FINISHED"}
    first, second = reading.labels(read.scene)
    assert call(read, "remove_value", label=first.name) == {"FINISHED"}
    assert reading.labels(read.scene) == [second]
    with pytest.raises(RuntimeError, match="no label 'nothing'"):
        call(read, "remove_value", label="nothing")
    assert call(read, "read_value", on="SCAN", location=location) == {"FINISHED"}
    assert read.part("addon.panels.values").ValuesPanel.poll(read.bpy.context)
    assert call(read, "remove_values") == {"FINISHED"}
    assert reading.labels(read.scene) == []
    assert not read.part("addon.panels.values").ValuesPanel.poll(read.bpy.context)
    assert [o.cuspwise.landmark for o in read.scan.children] == [1]
    with pytest.raises(RuntimeError, match="left no label"):
        call(read, "remove_values")

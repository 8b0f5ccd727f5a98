"""Check All: every scan as Check Crown does one; what fails or is current stops nothing."""

from __future__ import annotations

import time
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call, our_modules
from test_jobs import Forbidden
from trays import BROKEN, add_broken, result


def same(kept: Any) -> Any:
    """A result without what differs from run to run."""
    return {**kept, "check": {**kept["check"], "seconds": None}}


def ids(case: SimpleNamespace) -> list[str]:
    return [scan.cuspwise.result_id for scan in case.scans]


def test_each_is_checked_as_check_crown_does_one(tray: SimpleNamespace) -> None:
    """Documents, points, deviations and poses are those of Check Crown, to the last bit."""
    store, bpy = tray.part("addon.check.store"), tray.bpy
    broken = add_broken(tray, 1)
    assert call(tray, "check_all") == {"FINISHED"}
    found = [same(result(tray, scan)) for scan in tray.scans]
    points = [np.array(store.points_of(scan)) for scan in tray.scans]
    poses = [np.array(scan.matrix_world) for scan in tray.scans]
    assert [scan.cuspwise.state for scan in tray.scans] == ["CURRENT"] * 4
    assert all(scan.cuspwise.problem == "" for scan in tray.scans)
    assert (broken.cuspwise.state, result(tray, broken)) == ("NONE", None)
    assert broken.cuspwise.problem == "It has no faces. Choose another object."
    for number in (3, 0):
        scan = tray.scans[number]
        tray.settings.scan_index = [item.scan for item in tray.settings.scans].index(scan)
        call(tray, "restore_position")
        assert call(tray, "check_crown") == {"FINISHED"}
        assert same(result(tray, scan)) == found[number]
        assert np.array_equal(np.array(store.points_of(scan)), points[number], equal_nan=True)
        assert np.array_equal(np.array(scan.matrix_world), poses[number])
    assert BROKEN in bpy.data.objects


def checked_again(case: SimpleNamespace, **options: Any) -> list[bool]:
    """Check all once more; return which scans were measured."""
    before = ids(case)
    assert call(case, "check_all", **options) == {"FINISHED"}
    return [now != then for now, then in zip(ids(case), before, strict=True)]


def test_what_is_current_is_not_measured_again(checked_tray: SimpleNamespace) -> None:
    tray = checked_tray
    assert checked_again(tray) == [False] * 4
    tray.settings.tolerance_whole_um = 80.0  # judged anew, which needs no measuring
    assert result(tray, tray.scans[0])["choices"]["tolerances_um"]["whole"] == 80.0
    tray.scans[1].location.x += 1.0
    tray.bpy.context.view_layer.update()
    assert checked_again(tray) == [False, True, False, False]
    tray.settings.scan_index = 3
    call(tray, "measure_deviation")  # as it lies, not laid on the design
    assert checked_again(tray) == [False, False, False, True]
    assert checked_again(tray, anew=True) == [True] * 4


def edit_settings(case: SimpleNamespace) -> None:
    case.settings.search_mm = 0.4


def edit_area(case: SimpleNamespace) -> None:
    inside = case.part("addon.areas.area_groups").read_groups(case.design)["occlusal"]
    case.design.vertex_groups["Area: occlusal"].remove(inside[:20].tolist())


def edit_marks(case: SimpleNamespace) -> None:
    vertices = case.design.data.vertices
    near = [v.index for v in vertices if (v.co - vertices[0].co).length < 1.2]
    case.design.vertex_groups.new(name="Area: support: foot").add(near, 1.0, "REPLACE")


@pytest.mark.parametrize("edit", [edit_settings, edit_area, edit_marks])
def test_what_is_not_current_is(checked_tray: SimpleNamespace, edit: Any) -> None:
    edit(checked_tray)
    assert checked_again(checked_tray) == [True] * 4
    marks = result(checked_tray, checked_tray.scans[0])["check"]["marks"]
    assert len(marks) == (edit is edit_marks)


def test_a_problem_goes_with_its_reason(checked_tray: SimpleNamespace) -> None:
    """What was measured before stays; the next time it is tried again."""
    scan = checked_tray.scans[2]
    modifier = scan.modifiers.new("Thicken", "SOLIDIFY")
    assert checked_again(checked_tray, anew=True) == [True, True, False, True]
    assert "Thicken" in scan.cuspwise.problem
    assert result(checked_tray, scan) is not None
    scan.modifiers.remove(modifier)
    scan.data.vertices[0].co.x += 0.01
    scan.data.update()
    checked_tray.bpy.context.view_layer.update()
    assert checked_again(checked_tray) == [False, False, True, False]
    assert scan.cuspwise.problem == ""


def test_the_question_before(tray: SimpleNamespace) -> None:
    tray.settings.scans.clear()
    with pytest.raises(RuntimeError, match="Import or add scans first"):
        call(tray, "check_all")
    tray.settings.scans.add().scan = tray.design
    with pytest.raises(RuntimeError, match="Import or add scans first"):
        call(tray, "check_all")


def test_settings_that_are_hardly_meant_stop_it_before(tray: SimpleNamespace) -> None:
    tray.settings.tolerance_whole_um = 9000.0
    with pytest.raises(RuntimeError, match="under Advanced"):
        call(tray, "check_all")
    assert [scan.cuspwise.problem for scan in tray.scans] == [""] * 4


# In a window ----------------------------------------------------------------------------------


class Manager:
    """A window manager that takes what a job asks of it."""

    def __init__(self) -> None:
        state = {"running": False, "label": "", "fraction": 0.0, "after_esc": ""}
        self.cuspwise_job = SimpleNamespace(**state)
        self.windows: list[Any] = []

    def event_timer_add(self, _seconds: float, *, window: Any) -> object:
        return window

    def nothing(self, *_given: Any) -> None:
        pass

    event_timer_remove = progress_begin = progress_update = progress_end = nothing
    modal_handler_add = nothing


@pytest.fixture
def windowed(tray: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> Iterator[SimpleNamespace]:
    """Check All of the tray's four scans, driven by a stand-in for a window's timer."""
    job, rounds = tray.part("addon.blender.job"), tray.part("addon.blender.rounds")
    own = vars(tray.part("addon.operators.check_all").CheckAll)
    parts = {name: value for name, value in own.items() if not name.startswith("__")}
    said: list[str] = []
    operator = type("CheckAll", (rounds.RoundsOperator,), parts)()
    operator.anew, operator.report = False, lambda _kind, text: said.append(text)
    here = tray.bpy.context
    context = SimpleNamespace(
        window_manager=Manager(),
        window=None,
        workspace=None,
        scene=tray.scene,
        view_layer=here.view_layer,
        evaluated_depsgraph_get=here.evaluated_depsgraph_get,
    )
    app = SimpleNamespace(background=False)
    monkeypatch.setattr(job, "bpy", SimpleNamespace(app=app))
    monkeypatch.setattr(job, "MOMENT_S", 0.0)  # a step a tick, so that each can be seen
    yield SimpleNamespace(**vars(tray), operator=operator, context=context, said=said, job=job)
    job.stop_all(context)


GOES_ON = {"PASS_THROUGH"}
"""What a tick that is not the last one answers."""


def event(kind: str) -> SimpleNamespace:
    return SimpleNamespace(type=kind, value="PRESS")


def tick_until(case: SimpleNamespace, words: str) -> Any:
    """Tick until the bar says this, or the job has ended; return what it answered last."""
    answer: Any = GOES_ON
    state = case.context.window_manager.cuspwise_job
    while answer == GOES_ON and words not in state.label:
        time.sleep(0.002)
        answer = case.operator.modal(case.context, event("TIMER"))
    return answer


def test_the_bar_names_the_crowns_and_esc_keeps_what_is_done(windowed: SimpleNamespace) -> None:
    """Four scans, Esc at the third: two are kept as Check Crown keeps them, two untouched."""
    case, state = windowed, windowed.context.window_manager.cuspwise_job
    assert case.operator.invoke(case.context, None) == {"RUNNING_MODAL"}
    places = [np.array(scan.matrix_world) for scan in case.scans]
    seen = []
    for number, scan in enumerate(case.scans[:3], 1):
        assert tick_until(case, f"{scan.name}, {number} of 4: ") == GOES_ON
        seen.append(state.fraction)
    assert seen == sorted(seen)
    assert "what is checked by then stays" in state.after_esc
    assert case.operator.modal(case.context, event("ESC")) == {"FINISHED"}  # a step for Undo
    assert case.said == ["2 of 4 crowns are checked; the others are as before."]
    assert not state.running
    assert [s.cuspwise.state for s in case.scans] == ["CURRENT", "CURRENT", "NONE", "NONE"]
    for scan, place in zip(case.scans[2:], places[2:], strict=True):
        assert np.array_equal(np.array(scan.matrix_world), place)


def test_esc_while_one_is_written_ends_after_it(windowed: SimpleNamespace) -> None:
    case = windowed
    case.operator.invoke(case.context, None)
    tick_until(case, f"{case.scans[0].name}, 1 of 4: Keeping")
    assert case.operator.modal(case.context, event("ESC")) == {"RUNNING_MODAL"}
    assert tick_until(case, "never") == {"FINISHED"}
    assert case.said == ["1 of 4 crowns are checked; the others are as before."]
    assert [s.cuspwise.state for s in case.scans] == ["CURRENT", "NONE", "NONE", "NONE"]


def test_esc_before_the_first_changes_nothing(windowed: SimpleNamespace) -> None:
    case = windowed
    case.operator.invoke(case.context, None)
    tick_until(case, f"{case.scans[0].name}, 1 of 4: ")
    assert case.operator.modal(case.context, event("ESC")) == {"CANCELLED"}
    assert case.said == ["Check All cancelled; nothing was changed."]
    assert not case.design.vertex_groups


def test_the_end_of_the_window_finishes_what_is_being_written(windowed: SimpleNamespace) -> None:
    case = windowed
    case.operator.invoke(case.context, None)
    tick_until(case, f"{case.scans[0].name}, 1 of 4: Keeping")
    case.job.stop_all(case.context)
    assert [s.cuspwise.state for s in case.scans] == ["CURRENT", "NONE", "NONE", "NONE"]


def test_the_steps_of_a_round_need_no_blender(
    tray: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They run to their end in a thread, though the file that was read is closed by then."""
    run, bpy = tray.part("standalone_core.progress").run, tray.bpy
    all_scans, inputs = tray.part("addon.check.all_scans"), tray.part("addon.check.inputs")
    edit_marks(tray)
    kind, scan = tray.part("addon.operators.check_all").CheckAll, tray.scans[0]
    operator = SimpleNamespace(_design=run(inputs.read_design_steps(bpy.context)))
    run(kind.read_round(operator, bpy.context, all_scans.Listed(scan, scan.name)))
    operator._ready = run(inputs.ready_input_steps(operator._design, operator._choices))
    steps = kind.start_round(operator, bpy.context, None)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with monkeypatch.context() as patch:
        for module in our_modules("addon"):
            if hasattr(module, "bpy"):
                patch.setattr(module, "bpy", Forbidden())
        worker = tray.part("addon.blender.worker").Worker(steps)
        worker.wait(120.0)
    assert len(worker.result().marks) == 1

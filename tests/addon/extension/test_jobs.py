"""Jobs in a window, driven by a stand-in for its timer; their steps without Blender's data."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from calls import our_modules

JOBS = (
    "own_areas.RestoreArea",
    "results.WriteReport",
    "causes.FindCauses",
    "deviation.CheckCrown",
    "deviation.MeasureDeviation",
    "check_all.CheckAll",
    "superimposition.Superimpose",
    "areas.FindAreas",
    "areas.ReadAreasFile",
    "areas.WriteAreasFile",
    "support_marks.MeasureMarks",
    "walls.CheckWalls",
    "contacts.CheckContacts",
)
IMPORTS = ("ReadFiles", "ImportDesign", "ImportScans", "ImportFolder", "DropDesign", "DropScans")


class Manager:
    """A window manager that notes timers and bars."""

    def __init__(self) -> None:
        self.cuspwise_job = SimpleNamespace(running=False, label="", fraction=0.0, after_esc="")
        self.windows: list[Any] = []
        self.timers = 0
        self.bar = False

    def event_timer_add(self, _seconds: float, *, window: Any) -> object:
        del window
        self.timers += 1
        return object()

    def event_timer_remove(self, _timer: object) -> None:
        self.timers -= 1

    def progress_begin(self, _low: int, _high: int) -> None:
        self.bar = True

    def progress_update(self, value: int) -> None:
        assert 0 <= value <= 100

    def progress_end(self) -> None:
        self.bar = False

    def modal_handler_add(self, _operator: Any) -> None:
        pass


@pytest.fixture
def job(extension: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """A job of 400 small steps, in what it takes for a window."""
    module = extension.part("addon.blender.job")
    progress = extension.part("standalone_core.progress").Progress
    errors = extension.part("standalone_core.errors")
    log: list[str] = []

    class Sleepy(module.JobOperator):
        bl_label = "Sleepy"
        fail = False
        hold: threading.Event | None = None
        held: threading.Event

        def start(self, _context: Any) -> Iterator[Any]:
            return self.steps()

        def steps(self) -> Iterator[Any]:
            try:
                for k in range(400):
                    if self.fail and k == 40:
                        raise errors.MeshError("It is bad.", subject="scan", remedy="Mend it.")
                    time.sleep(0.002)
                    yield progress("Sleeping", k / 400)
                if self.hold:
                    self.held.set()
                    self.hold.wait(20.0)
            finally:
                log.append("closed")
            return 42

        def finish(self, _context: Any, result: int) -> Iterator[Any]:
            for k in range(3):
                yield progress("Writing", k / 3)
                time.sleep(0.05)
                log.append(f"wrote {k} of {result}")
            return "Done."

        def report(self, kind: set[str], text: str) -> None:
            log.append(f"{next(iter(kind))} {text}")

    texts: list[str | None] = []
    context = SimpleNamespace(
        window_manager=Manager(),
        window=None,
        workspace=SimpleNamespace(status_text_set=texts.append),
    )
    app = SimpleNamespace(background=False)
    monkeypatch.setattr(module, "bpy", SimpleNamespace(app=app))
    made = {"operator": Sleepy(), "context": context, "log": log, "texts": texts}
    return SimpleNamespace(**made, module=module, progress=progress)


def event(kind: str, value: str = "PRESS") -> SimpleNamespace:
    return SimpleNamespace(type=kind, value=value)


GOES_ON = {"PASS_THROUGH"}  # what a tick answers that is not the last: others have timers too


def tick(job: SimpleNamespace) -> set[str]:
    """One tick of the timer."""
    time.sleep(0.005)
    return job.operator.modal(job.context, event("TIMER"))


def tick_to_the_end(job: SimpleNamespace) -> set[str]:
    """Ticks until the job ends."""
    answer = GOES_ON
    for _ in range(1000):
        if answer != GOES_ON:
            break
        answer = tick(job)
    return answer


def tick_until(job: SimpleNamespace, label: str) -> None:
    """Ticks until the bar says this."""
    while job.context.window_manager.cuspwise_job.label != label:
        assert tick(job) == GOES_ON


def hold(operator: Any) -> None:
    """Have the last step wait until it may go on."""
    operator.hold, operator.held = threading.Event(), threading.Event()


def tick_until_held(job: SimpleNamespace, operator: Any) -> None:
    """Ticks until the last step waits."""
    while not operator.held.is_set():
        assert tick(job) == GOES_ON


def is_over(job: SimpleNamespace) -> bool:
    """Whether nothing of the job is left in the window."""
    manager = job.context.window_manager
    left = (manager.timers, manager.bar, manager.cuspwise_job.running)
    return left == (0, False, False) and job.texts[-1] is None


def test_a_job_ends_by_itself(job: SimpleNamespace) -> None:
    manager = job.context.window_manager
    assert job.operator.invoke(job.context, None) == {"RUNNING_MODAL"}
    assert (manager.timers, manager.bar, manager.cuspwise_job.running) == (1, True, True)
    seen, answer = [], GOES_ON
    while answer == GOES_ON:
        answer = tick(job)
        seen.append(manager.cuspwise_job.fraction)
    assert answer == {"FINISHED"}
    assert len(set(seen)) > 10
    assert seen == sorted(seen)
    wrote = [f"wrote {k} of 42" for k in range(3)]
    assert job.log == ["closed", *wrote, "INFO Done."]
    assert is_over(job)


def test_the_window_waits_for_no_step(job: SimpleNamespace) -> None:
    """A step of half a second and more: no tick takes part in it."""
    hold(job.operator)
    job.operator.invoke(job.context, None)
    tick_until_held(job, job.operator)
    begin = time.perf_counter()
    for _ in range(20):
        assert job.operator.modal(job.context, event("TIMER")) == GOES_ON
    assert time.perf_counter() - begin < 0.1
    job.operator.hold.set()
    assert tick_to_the_end(job) == {"FINISHED"}


def test_esc_cancels_a_job_at_once(job: SimpleNamespace) -> None:
    """The step under way goes to its end; no other one is taken, and nothing is written."""
    hold(job.operator)
    job.operator.invoke(job.context, None)
    tick_until(job, "Sleeping")
    assert job.operator.modal(job.context, event("ESC", "RELEASE")) == {"RUNNING_MODAL"}
    assert job.operator.modal(job.context, event("ESC")) == {"CANCELLED"}
    assert job.log[-1] == "INFO Sleepy cancelled; nothing was changed."
    assert is_over(job)
    worker = job.operator._worker
    worker.wait(5.0)
    assert worker.ended
    assert sorted(job.log) == ["INFO Sleepy cancelled; nothing was changed.", "closed"]


def test_the_next_job_waits_for_a_step_given_up(job: SimpleNamespace) -> None:
    first, second = job.operator, type(job.operator)()
    hold(first)
    first.invoke(job.context, None)
    tick_until_held(job, first)
    first.modal(job.context, event("ESC"))
    job.operator = second
    second.invoke(job.context, None)
    tick_until(job, "Waiting for the work before")
    first.hold.set()
    assert tick_to_the_end(job) == {"FINISHED"}
    assert job.log[-1] == "INFO Done."


def test_esc_waits_where_files_are_written(job: SimpleNamespace) -> None:
    """The step under way may put its files in place: only then is it known what to say."""
    job.operator.writes_files = True
    hold(job.operator)
    job.operator.invoke(job.context, None)
    tick_until_held(job, job.operator)
    assert job.operator.modal(job.context, event("ESC")) == {"RUNNING_MODAL"}
    job.operator.hold.set()
    assert tick_to_the_end(job) == {"FINISHED"}
    assert job.log[-1] == "INFO Done."


def test_esc_between_steps_that_write_files(job: SimpleNamespace) -> None:
    job.operator.writes_files = True
    job.operator.invoke(job.context, None)
    tick_until(job, "Sleeping")
    assert job.operator.modal(job.context, event("ESC")) == {"RUNNING_MODAL"}
    assert tick_to_the_end(job) == {"CANCELLED"}
    assert job.log == ["closed", "INFO Sleepy cancelled; nothing was changed."]
    assert is_over(job)


def test_writing_is_not_cut_short(job: SimpleNamespace) -> None:
    """Neither by Esc nor by the end of the window: half a result would be worse than none."""
    job.operator.invoke(job.context, None)
    tick_until(job, "Writing")
    assert "Esc" not in job.texts[-1]
    assert job.operator.modal(job.context, event("ESC")) == {"RUNNING_MODAL"}
    job.operator.cancel(job.context)
    assert job.log == ["closed", *(f"wrote {k} of 42" for k in range(3))]
    assert is_over(job)


def test_disabling_ends_a_job(job: SimpleNamespace) -> None:
    job.operator.invoke(job.context, None)
    tick_until(job, "Sleeping")
    job.module.stop_all(job.context)
    assert is_over(job)
    assert job.operator.modal(job.context, event("TIMER")) == {"CANCELLED"}
    job.operator._worker.wait(5.0)
    assert job.log == ["closed"]
    job.module.stop_all(job.context)  # nothing left to end


def test_only_looking_goes_on_meanwhile(job: SimpleNamespace) -> None:
    job.operator.invoke(job.context, None)
    for kind in ("MOUSEMOVE", "MIDDLEMOUSE", "WHEELUPMOUSE"):
        assert job.operator.modal(job.context, event(kind)) == {"PASS_THROUGH"}
    for kind in ("LEFTMOUSE", "Z", "X", "TAB"):
        assert job.operator.modal(job.context, event(kind)) == {"RUNNING_MODAL"}
    job.operator.modal(job.context, event("ESC"))


def test_a_job_that_fails_says_why_and_cleans_up(job: SimpleNamespace) -> None:
    job.operator.fail = True
    job.operator.invoke(job.context, None)
    assert tick_to_the_end(job) == {"CANCELLED"}
    assert job.log == ["closed", "ERROR scan: It is bad. Mend it."]
    assert is_over(job)


@pytest.mark.parametrize(
    ("error", "said"), [(MemoryError, "memory"), (ReferenceError, "deleted meanwhile")]
)
def test_what_blender_cannot_mend_is_said_in_words(
    job: SimpleNamespace, error: type[Exception], said: str
) -> None:
    def finish(_context: Any, _result: int) -> str:
        raise error

    job.operator.finish = finish
    job.operator.invoke(job.context, None)
    assert tick_to_the_end(job) == {"CANCELLED"}
    assert said in job.log[-1]
    assert is_over(job)


def test_an_error_of_ours_is_shown_as_one(job: SimpleNamespace) -> None:
    """What no message was written for is raised, not swallowed."""

    def start(_context: Any) -> Iterator[Any]:
        yield job.progress("Dividing", 0.0)
        raise ZeroDivisionError

    job.operator.start = start
    job.operator.invoke(job.context, None)
    with pytest.raises(ZeroDivisionError):
        tick_to_the_end(job)
    assert is_over(job)


def test_without_a_window_no_thread_is_started(job: SimpleNamespace) -> None:
    threads = []

    def start(_context: Any) -> Iterator[Any]:
        yield job.progress("Looking", 0.0)
        threads.append(threading.current_thread())
        return 42

    job.operator.start = start
    job.module.bpy.app.background = True
    assert job.operator.invoke(job.context, None) == {"FINISHED"}
    assert threads == [threading.main_thread()]


# No thread touches Blender's data -------------------------------------------------------------


class Forbidden:
    """Stands for Blender's module while steps are taken that have no business with it."""

    def __getattr__(self, name: str) -> Any:
        raise AssertionError(f"The steps of a job asked Blender for {name}.")


def steps_of(case: SimpleNamespace, kind: str, tmp_path: Path) -> Iterator[Any]:
    """What a job hands over to the thread, read from the scene as it would be."""
    run = case.part("standalone_core.progress").run
    module, name = kind.split(".")
    operator_class = getattr(case.part(f"addon.operators.{module}"), name)
    job = case.part("addon.blender.job").JobOperator
    parts = {
        k: v
        for c in reversed(operator_class.__mro__)
        if issubclass(c, job)
        for k, v in vars(c).items()
        if not k.startswith("__")
    }
    given = {"filepath": str(tmp_path / "areas.json"), "directory": str(tmp_path / "report")}
    operator = type(name, (), {**parts, **given, "anew": True})()
    run(operator.read(case.bpy.context))
    return operator.start(case.bpy.context)


def test_the_steps_of_every_job_need_no_blender(
    checked: SimpleNamespace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They run to their end in a thread, though the file that was read is closed by then.

    Everything of a closed file raises ReferenceError when it is touched, and Blender's module is
    forbidden in every module of the extension.
    """
    bpy = checked.bpy
    assert bpy.ops.cuspwise.save_areas(filepath=str(tmp_path / "areas.json")) == {"FINISHED"}
    spot = checked.design.matrix_world @ checked.design.data.vertices[0].co
    bpy.ops.cuspwise.mark_support(location=spot)
    steps = {}
    for kind in JOBS:
        if kind == "deviation.CheckCrown":
            edit_an_area(checked)  # the report before it wants one that is not out of date
        steps[kind] = steps_of(checked, kind, tmp_path)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with pytest.raises(ReferenceError):
        checked.design.name  # noqa: B018
    worker = checked.part("addon.blender.worker").Worker
    with monkeypatch.context() as patch:
        for module in our_modules("addon"):
            if hasattr(module, "bpy"):
                patch.setattr(module, "bpy", Forbidden())
        workers = {kind: worker(part) for kind, part in steps.items()}
        for at_work in workers.values():
            at_work.wait(120.0)
    for kind, at_work in workers.items():
        assert at_work.result() is not None, kind


def edit_an_area(case: SimpleNamespace) -> None:
    """Have one of somebody's own to carry."""
    area_groups = case.part("addon.areas.area_groups")
    inside = area_groups.read_groups(case.design)["occlusal"]
    case.design.vertex_groups["Area: occlusal"].remove(inside[:20].tolist())
    assert "occlusal" in area_groups.user_areas(case.design).vertices


def test_the_list_of_jobs_is_whole(extension: SimpleNamespace) -> None:
    job = extension.part("addon.blender.job").JobOperator
    found = [c for c in extension.part("addon.operators").CLASSES if issubclass(c, job)]
    jobs = {f"{c.__module__.rpartition('.')[2]}.{c.__name__}" for c in found}
    elsewhere = ("study.RunStudy", "fit.SeatCrown", "finish_line.CarryOverMarginLine")
    assert jobs == {*JOBS, *elsewhere, *(f"imports.{name}" for name in IMPORTS)}

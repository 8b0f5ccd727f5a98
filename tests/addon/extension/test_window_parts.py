"""Panels and jobs, driven without a window by stand-ins for its layout and timer."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest


class Layout:
    """Takes whatever a panel draws and notes it; refuses what Blender would refuse."""

    def __init__(self, notes: list[str], bpy: Any) -> None:
        self.notes, self.bpy = notes, bpy

    def _part(self, **_options: Any) -> Layout:
        return Layout(self.notes, self.bpy)

    row = column = box = grid_flow = _part

    def label(self, *, text: str = "", icon: str = "NONE") -> None:
        icons = self.bpy.types.UILayout.bl_rna.functions["label"].parameters["icon"].enum_items
        assert icon in icons
        self.notes.append(text)

    def prop(self, data: Any, name: str, **_options: Any) -> None:
        assert name in data.bl_rna.properties
        self.notes.append(name)

    def operator(self, name: str, *, text: str | None = None, icon: str = "NONE") -> Any:
        module, _, function = name.partition(".")
        getattr(getattr(self.bpy.ops, module), function).get_rna_type()
        self.notes.append(name if text is None else text)
        return SimpleNamespace()

    def template_list(
        self, kind: str, _name: str, data: Any, items: str, active: Any, index: str, **_options: Any
    ) -> None:
        cls = getattr(self.bpy.types, kind)
        for number, item in enumerate(getattr(data, items)):
            cls.draw_item(None, None, self, data, item, 0, active, index, number)

    def progress(self, *, factor: float, text: str) -> None:
        self.notes.append(f"{text} {factor:.0%}")


def drawn(case: SimpleNamespace) -> list[str]:
    """Everything that the sidebar says."""
    notes: list[str] = []
    context = SimpleNamespace(
        scene=case.scene,
        region=SimpleNamespace(width=280),
        preferences=SimpleNamespace(system=SimpleNamespace(ui_scale=1.0)),
        window_manager=case.bpy.context.window_manager,
    )
    for cls in case.part("addon.panels").CLASSES:
        if issubclass(cls, case.bpy.types.Panel):
            cls.draw(SimpleNamespace(layout=Layout(notes, case.bpy)), context)
    return notes


def test_sidebar_says_what_is_next(empty: SimpleNamespace) -> None:
    said = " ".join(drawn(empty))
    assert "Choose the design, the crown that was modelled." in said
    assert "Nothing measured yet." in said


def test_sidebar_of_an_unchecked_crown(crown: SimpleNamespace) -> None:
    said = " ".join(drawn(crown))
    assert "Press Check Crown to do everything with the defaults." in said
    assert "1 unit = 1 mm" in said
    assert "longest side" in said


def test_sidebar_of_a_checked_crown(checked: SimpleNamespace) -> None:
    store = checked.part("addon.store")
    micrometres = checked.part("standalone_core.report.words").micrometres
    notes = drawn(checked)
    said = " ".join(notes)
    assert "Measured. Read the results below." in said
    kept = store.result_of(checked.scan)
    for row in store.rows_of(kept):
        assert f"RMS {micrometres(row['rms_um'])} µm" in said
    assert "Whole crown: within tolerance" in notes
    assert "Intaglio" in notes  # no tolerance, no verdict
    worst = kept["check"]["exceedances"][0]
    assert f"{micrometres(worst['peak_um'], signed=True, digits=0)} µm" in said
    assert f"{worst['area_mm2']:.2f} mm²" in said
    assert "The scan lies on its design." in said
    checked.scan.location.x += 1.0
    checked.bpy.context.view_layer.update()
    assert "Stale: Scan or design was moved." in " ".join(drawn(checked))


def test_sidebar_of_an_implausible_size(crown: SimpleNamespace) -> None:
    crown.design.scale = (90.0, 90.0, 90.0)
    crown.bpy.context.view_layer.update()
    assert "Choose the length of a unit" in " ".join(drawn(crown))


# Jobs -----------------------------------------------------------------------------------------


class Manager:
    """A window manager that notes timers and bars."""

    def __init__(self) -> None:
        self.cuspwise_job = SimpleNamespace(running=False, label="", fraction=0.0)
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
    module = extension.part("addon.job")
    progress = extension.part("standalone_core.progress").Progress
    errors = extension.part("standalone_core.errors")
    log: list[str] = []

    class Sleepy(module.JobOperator):
        bl_label = "Sleepy"
        fail = False

        def start(self, _context: Any) -> Iterator[Any]:
            return self.steps()

        def steps(self) -> Iterator[Any]:
            import time

            try:
                for k in range(400):
                    if self.fail and k == 40:
                        raise errors.MeshError("It is bad.", subject="scan", remedy="Mend it.")
                    time.sleep(0.002)
                    yield progress("Sleeping", k / 400)
            finally:
                log.append("closed")
            return 42

        def finish(self, _context: Any, result: int) -> str:
            log.append(f"wrote {result}")
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
    return SimpleNamespace(operator=Sleepy(), context=context, log=log, texts=texts)


def event(kind: str, value: str = "PRESS") -> SimpleNamespace:
    return SimpleNamespace(type=kind, value=value)


def test_a_job_ends_by_itself(job: SimpleNamespace) -> None:
    manager = job.context.window_manager
    assert job.operator.invoke(job.context, None) == {"RUNNING_MODAL"}
    assert (manager.timers, manager.bar, manager.cuspwise_job.running) == (1, True, True)
    seen = []
    for _ in range(400):
        answer = job.operator.modal(job.context, event("TIMER"))
        seen.append(manager.cuspwise_job.fraction)
        if answer != {"RUNNING_MODAL"}:
            break
    assert answer == {"FINISHED"}
    assert len(seen) > 3  # in several ticks
    assert seen == sorted(seen)
    assert job.log == ["closed", "wrote 42", "INFO Done."]
    assert (manager.timers, manager.bar, manager.cuspwise_job.running) == (0, False, False)
    assert job.texts[-1] is None


def test_esc_cancels_a_job(job: SimpleNamespace) -> None:
    manager = job.context.window_manager
    job.operator.invoke(job.context, None)
    job.operator.modal(job.context, event("TIMER"))
    assert job.operator.modal(job.context, event("ESC", "RELEASE")) == {"RUNNING_MODAL"}
    assert job.operator.modal(job.context, event("ESC")) == {"CANCELLED"}
    assert job.log == ["closed", "INFO Sleepy cancelled; nothing was changed."]
    assert (manager.timers, manager.bar, manager.cuspwise_job.running) == (0, False, False)


def test_only_looking_goes_on_meanwhile(job: SimpleNamespace) -> None:
    job.operator.invoke(job.context, None)
    for kind in ("MOUSEMOVE", "MIDDLEMOUSE", "WHEELUPMOUSE"):
        assert job.operator.modal(job.context, event(kind)) == {"PASS_THROUGH"}
    for kind in ("LEFTMOUSE", "Z", "X", "TAB"):
        assert job.operator.modal(job.context, event(kind)) == {"RUNNING_MODAL"}
    job.operator.modal(job.context, event("ESC"))


def test_a_job_that_fails_says_why_and_cleans_up(job: SimpleNamespace) -> None:
    manager = job.context.window_manager
    job.operator.fail = True
    job.operator.invoke(job.context, None)
    for _ in range(100):
        answer = job.operator.modal(job.context, event("TIMER"))
        if answer != {"RUNNING_MODAL"}:
            break
    assert answer == {"CANCELLED"}
    assert job.log == ["closed", "ERROR scan: It is bad. Mend it."]
    assert (manager.timers, manager.bar, manager.cuspwise_job.running) == (0, False, False)

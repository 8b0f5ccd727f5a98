"""A whole tray at once: every listed scan against the design, in one job."""

from collections.abc import Sequence
from contextlib import suppress
from typing import Any

import bpy

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.progress import Progress, Steps, scaled
from ...standalone_core.words.text import count_words
from .. import identifiers
from ..areas import area_groups
from ..blender import frames
from ..blender.rounds import RoundsOperator
from ..blender.session import layer_of, scene_of, settings_of
from ..check import all_scans, inputs, store
from ..check.all_scans import Listed
from ..check.inputs import DesignInput
from ..check.scene_choices import choices_of
from ..drawing import colour_map
from . import ready
from .superimposition import move_scan


class CheckAll(RoundsOperator, bpy.types.Operator):
    """Superimpose, measure and judge every listed scan whose result is not current."""

    bl_idname = identifiers.CHECK_ALL
    bl_label = "Check All"
    bl_description = (
        "Do with every listed scan what Check Crown does with one. Scans whose result is current "
        "are not measured again; one that cannot be checked is said in the table and does not "
        "stop the others. Esc keeps those that are checked by then"
    )
    bl_options = {"UNDO"}  # noqa: RUF012
    after_esc = "Esc ends it; what is checked by then stays."

    anew: bpy.props.BoolProperty(
        name="Measure All Anew",
        description="Measure scans whose result is current too",
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design and a list of scans."""
        if not ready.has_design(cls, context):
            return False
        if next(all_scans.crowns_listed(scene_of(context)), None) is None:
            cls.poll_message_set("Import or add scans first")
            return False
        return True

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read the design, and see which scans have to be checked."""
        scene, self._chosen = scene_of(context), choices_of(settings_of(context))
        self._design = yield from scaled(inputs.read_design_steps(context), 0.0, 0.7)
        self._todo: list[Listed] = []
        self._listed = 0
        self._areas_written = False
        for scan in all_scans.crowns_listed(scene):
            yield Progress("Looking what is current", 0.7)
            self._listed += 1
            current = all_scans.is_up_to_date(scan, self._design, self._chosen, scene)
            if self.anew or not current:
                self._todo.append(Listed(scan, scan.name))

    def start(self, _context: bpy.types.Context) -> Steps[Any]:
        """Make the design ready for all of them."""
        return _ready_steps(self._design, self._chosen, needed=bool(self._todo))

    def finish(self, _context: bpy.types.Context, result: Any) -> str:
        """Hold on to the design made ready."""
        self._ready = result
        return ""

    def rounds(self, _context: bpy.types.Context) -> Steps[Sequence[Listed]]:
        """Return the scans to be checked."""
        yield from ()
        return self._todo

    def read_round(self, context: bpy.types.Context, one: Listed) -> Steps[None]:
        """Read one scan, and its landmarks where they are the start."""
        frames.refuse_held(one.scan, layer_of(context))
        self._scan = yield from inputs.read_scan_steps(context, one.scan, self._design.frame)
        self._choices = inputs.check_choices(context, self._design, self._scan)

    def start_round(self, _context: bpy.types.Context, _one: Listed) -> Steps[Any]:
        """Check it."""
        return inputs.check_scan_steps(self._ready, self._design, self._scan, self._choices)

    def finish_round(self, context: bpy.types.Context, _one: Listed, result: Any) -> Steps[None]:
        """Move it, and keep its result; the areas, which all share, with the first."""
        design, scan = self._design, self._scan
        move_scan(context, design, scan, result.superimposition)
        if not self._areas_written:
            self._areas_written = True
            writing = area_groups.write_areas_steps(
                design.design, result.area_set, design.mesh, design.local_to_mm, design.areas
            )
            yield from scaled(writing, 0.0, 0.5)
        keeping = store.keep_steps(design, scan, result, self._choices, scene_of(context))
        yield from scaled(keeping, 0.5, 1.0)

    def fail_round(self, _context: bpy.types.Context, one: Listed, error: CuspwiseError) -> None:
        """Note why it could not be checked, unless it was deleted meanwhile."""
        with suppress(ReferenceError):
            all_scans.note_problem(one.scan, error)

    def told(self, context: bpy.types.Context, _said: str) -> str:
        """Show one scan, the others would flicker through it, and say how many were checked."""
        if self.done:
            all_scans.choose_one_with_numbers(scene_of(context))
            colour_map.show(context)
        if not self._todo:
            crowns = count_words(self._listed, "crown")
            return f"{crowns} up to date; nothing was measured."
        return _told(self._listed, len(self._todo), self.done, self.failed)


def _ready_steps(design: DesignInput, choices: dict[str, Any], *, needed: bool) -> Steps[Any]:
    """Make a design ready, if there is a scan to be checked against it."""
    return (yield from inputs.ready_input_steps(design, choices)) if needed else None


def _told(listed: int, todo: int, done: int, failed: int) -> str:
    """Say how far all crowns are."""
    before = listed - todo
    words = f"{done + before} of {count_words(listed, 'crown')} are checked"
    words += f", {before} of them before" if before else ""
    words += f"; {failed} could not be: see All Crowns" if failed else ""
    words += "; the others are as before" if done + failed < todo else ""
    return f"{words}."


CLASSES = (CheckAll,)

"""What is read of a scene before a crown is seated, and the seating itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.errors import SettingError, SuperimpositionError
from ...standalone_core.progress import Progress, Steps, scaled
from ..blender import frames
from ..blender.in_blender import in_blender
from ..blender.session import scene_of, settings_of
from . import finish_line
from .fit_settings import choices_of, fit_settings
from .surfaces import Surface, read_surface_steps

if TYPE_CHECKING:
    from ...standalone_core.fit.result import FitResult
    from ...standalone_core.fit.settings import FitSettings


@dataclass(frozen=True, eq=False)
class ToSeat:
    """A crown and its die as they were read.

    Attributes
    ----------
    crown, die : Surface
    design : Surface or None
        Where it lies on the die as designed; the crown itself if that is the design.
    seated : Surface or None
        A scan of the seated crown.
    line : (k, 3) float or None
        The die's finish line in its own coordinates.
    line_print : str
        Its fingerprint.
    choices : mapping of str
    settings : FitSettings
    """

    crown: Surface
    die: Surface
    design: Surface | None
    seated: Surface | None
    line: np.ndarray | None
    line_print: str
    choices: Mapping[str, Any]
    settings: FitSettings


def frame_of(
    scene: bpy.types.Scene,
    design: bpy.types.Object,
    die: bpy.types.Object,
    *,
    lies_on_die: bool,
) -> frames.Frame:
    """Return the frame of a fit: the design's if that lies on its die as designed, else the die's.

    A unit is as long as the design says either way.
    """
    if lies_on_die:
        frames.scene_scale_mm(die, scene)  # refuses one that is no die by its size
        return frames.frame_of(design, scene)
    scale_mm = frames.scene_scale_mm(design, scene)
    return replace(frames.frame_of(die, scene), scale_mm=scale_mm)


def read_steps(context: bpy.types.Context, crown: bpy.types.Object) -> Steps[ToSeat]:
    """Read all that is needed to seat a crown, step by step.

    Raises
    ------
    CuspwiseError
        An object that cannot be used, or a number that is hardly meant.
    """
    scene, chosen = scene_of(context), settings_of(context).fit
    choices = choices_of(settings_of(context))
    settings = fit_settings(choices, force=bool(settings_of(context).force))
    design, on_die = settings_of(context).design, chosen.lies_on_die
    _refuse_twice(crown, chosen.die, design, chosen.seated)
    frame = frame_of(scene, design, chosen.die, lies_on_die=on_die)
    line = finish_line.read(chosen.die)
    known = design if on_die else None
    wanted = {"crown": crown, "die": chosen.die, "design": known, "seated": chosen.seated}
    read: dict[str, Surface | None] = {}
    for number, (name, obj) in enumerate(wanted.items()):
        if obj is None or (name == "design" and obj == crown):
            read[name] = None if obj is None else read["crown"]
            continue
        reading = read_surface_steps(context, obj, frame)
        read[name] = yield from scaled(reading, number / 4.0, (number + 1) / 4.0)
    assert read["crown"] is not None
    assert read["die"] is not None
    return ToSeat(
        read["crown"],
        read["die"],
        read["design"],
        read["seated"],
        line,
        finish_line.fingerprint(chosen.die),
        choices,
        settings,
    )


def seat_steps(read: ToSeat) -> Steps[FitResult]:
    """Seat a crown and judge how it fits; touches nothing of Blender's.

    Raises
    ------
    SuperimpositionError
        It could not be seated.
    """
    from ...standalone_core.fit.check_fit import check_fit_of_steps
    from ...standalone_core.fit.inputs import inputs_of

    yield Progress("Looking for faults", 0.0)
    inputs = inputs_of(
        read.crown.mesh,
        read.die.mesh,
        design=None if read.design is None else read.design.mesh,
        seated=None if read.seated is None else read.seated.mesh,
        finish_line=finish_line.line_mm(read.die, read.line),
    )
    result = yield from scaled(check_fit_of_steps(inputs, read.settings), 0.05, 1.0)
    if result.T_die_crown is None:
        subject, _, why = result.missing["seat"].partition(": ")
        raise SuperimpositionError(
            in_blender(why), subject=subject, remedy="What was kept before stays."
        )
    return result


def _refuse_twice(*objects: bpy.types.Object | None) -> None:
    """Crown, die, design and seated scan are different objects, but for a design that is seated."""
    crown, die, design, seated = objects
    assert die is not None
    for one, words in ((crown, "crown"), (design, "design"), (seated, "seated scan")):
        if one == die:
            raise SettingError(
                f"It is both the {words} and the die.",
                subject=die.name,
                remedy="Choose another object under Die.",
            )
    if seated is not None and seated in (crown, design):
        raise SettingError(
            "It is both the crown and the scan of the seated crown.",
            subject=seated.name,
            remedy="Choose another object under Seated Scan, or empty it.",
        )

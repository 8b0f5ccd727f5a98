"""What the core says, in the words of somebody who has objects, panels and fields. No Blender.

The core speaks to whoever reads files and gives options too. Its sentences are put into Blender's
words here, in one place; an error's remedy that asks for an argument becomes the field to change.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from ...standalone_core.check_settings import CheckSettings
from ...standalone_core.deviation.settings import DeviationSettings, MarkSettings
from ...standalone_core.deviation.tolerances import Tolerances
from ...standalone_core.errors import CuspwiseError, SettingError
from ...standalone_core.fit.result import NO_FINISH_LINE
from ...standalone_core.setting import declared_in
from ...standalone_core.superimpose.settings import SuperimposeSettings

IN_BLENDER: Mapping[str, str] = MappingProxyType(
    {
        NO_FINISH_LINE: "It was not measured: draw the finish line, or carry the design's margin "
        "line over; for that the design must lie on the die as designed.",
        "the units of both files": "the scale of both objects",
        "Check that both files show": "Check that both objects show",
        "or start from landmark pairs": "or choose Landmarks under Start From",
        "three pairs of points": "three pairs of landmarks",
        "from the position in the files": "from where the scan lay",
        ", or add it in an areas file": ", or add it under Areas",
        "Export it in that frame and measure again.": "Move it there and measure again.",
        "the part, or the file, is mirrored": "the part, or the object, is mirrored",
        "Export it again as a surface mesh.": "Choose another object.",
        "Export the mesh again and retry.": "Choose another object.",
        "Choose another file.": "Choose another object.",
        "Give a place on the design, in mm in the design's own coordinates.": "Click on the "
        "surface of the design.",
        "Correct its places (mm, in the design's own coordinates), or delete it": "Move its points "
        "on to the surface, or delete the curve",
        "Export it the right way round": "Turn its faces (Mesh ▸ Normals ▸ Recalculate Outside)",
        "The die's file holds": "The die's object holds",
        "Give the unit that each file is in, or export both in millimetres.": "Scale one of the "
        "two objects.",
        "Give the die's finish line.": "Draw the die's finish line.",
        "Give its design in the die's frame, or move the crown near its place.": "Bring the design "
        "to where it lies on this die, and tick that it lies there as designed.",
        "Give the design as it lies on this die.": "Bring the design to where it lies on this die.",
        "Give its own design.": "Choose its own design.",
        "Give the die alone if that is wrong.": "Choose an object that is the die alone if that "
        "is wrong.",
        "Give the finish line in the die's own frame and in mm.": "Move its points on to the die.",
        "Give the points in order around the tooth": "Draw the points in order around the tooth",
        "Give the points in order, once around": "Draw the points in order, once around",
        "Give at least 8; one every half millimetre follows it well.": "Draw at least 8; one every "
        "half millimetre follows it well.",
        ", or give the seat to start from": "",
        "Give a crown with its inner surface, or its path of insertion and areas.": "Choose a "
        "crown with its inner surface.",
        "Give a crown with both its surfaces.": "Choose a crown with both its surfaces.",
    }
)
"""What the core says, and what is said here instead."""

REMEDIES: Mapping[str, str] = MappingProxyType(
    {
        "start": "Choose Any Position under Start From.",
        "spacing_mm": "Check the object's scale and the Unit under Design and Scans, or choose a "
        "wider Spacing under Measuring Points.",
        "fit_areas": "Choose another area under Fit On.",
    }
)
"""What to do in Blender about an error whose remedy asks for an argument, by the argument."""

_DECLARED = (CheckSettings, SuperimposeSettings, DeviationSettings, MarkSettings, Tolerances)
_LABELS = {name: one.label for kind in _DECLARED for name, one in declared_in(kind).items()}


def in_blender(text: str) -> str:
    """Return a sentence of the core in Blender's words."""
    for core, own in IN_BLENDER.items():
        text = text.replace(core, own)
    return text


def message(error: CuspwiseError, remedies: Mapping[str, str] | None = None) -> str:
    """Return an error as a user of Blender reads it: what, why, and what to do.

    Parameters
    ----------
    error : CuspwiseError
    remedies : mapping of str to str, optional
        What to do where the running operator knows better than ``REMEDIES``, by argument.
    """
    known = {**REMEDIES, **(remedies or {})}
    asked = [known[name] for name in error.arguments if name in known]
    subject = error.subject
    if isinstance(error, SettingError):
        subject = _LABELS.get(subject, subject)
    remedy = " ".join(asked) if asked else in_blender(error.remedy)
    return f"{subject}: {in_blender(error.reason)} {remedy}".rstrip()

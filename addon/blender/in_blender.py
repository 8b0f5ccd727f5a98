"""What the core says, in the words of somebody who has objects, panels and fields. No Blender.

The core speaks to whoever reads files and gives options too. Its sentences are put into Blender's
words here, in one place; an error's remedy that asks for an argument becomes the field to change.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from ...standalone_core.areas.settings import AreaSettings
from ...standalone_core.causes.settings import CausesSettings, ProductionFacts
from ...standalone_core.check_settings import CheckSettings
from ...standalone_core.deviation.settings import DeviationSettings, MarkSettings, PatchSettings
from ...standalone_core.deviation.tolerances import Tolerances
from ...standalone_core.errors import CuspwiseError, SettingError
from ...standalone_core.fit.result import NO_FINISH_LINE
from ...standalone_core.fit.settings import (
    ContactSettings,
    FitSettings,
    GapSettings,
    SeatSettings,
    WallSettings,
)
from ...standalone_core.setting import declared_in, taken_with
from ...standalone_core.study.file.mistakes import Mistake, StudyFileError
from ...standalone_core.study.plan import AnalysisPlan
from ...standalone_core.superimpose.settings import SuperimposeSettings
from ...standalone_core.words.names import AREA_WORDS, MEASURE_WORDS, area_words
from ..check.scene_choices import SWITCH

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
        "Check that the file shows a crown": "Check that the object shows a crown",
        "look at it with 'check'": "press Check Crown",
        "Check that the file is there and may be read.": "Run the study again.",
        "Give mesial_direction below [areas].": "Set Mesial under Areas, Directions.",
        " is not among measures.": " is not ticked under Measures.",
        " to measures.": " to those ticked under Analysis.",
        taken_with("force = true above the first table"): taken_with(SWITCH),
        "Give the path of a file, from this file's folder.": "Choose the study.json in it.",
        "Give the study.json that 'cuspwise study' wrote": "Choose the study.json that a study "
        "wrote",
        "Give both study files the same settings": "Choose the same settings for both studies",
        "run the earlier study anew with this file": "run the earlier study anew with this design",
        "Save the areas once with 'cuspwise areas', name that file in both study files ([areas] "
        "file)": "Save the areas once with Save Areas, load them for both studies,",
        "in both study files": "in both studies",
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

_DECLARED = (
    *(ContactSettings, WallSettings, GapSettings, SeatSettings, FitSettings),
    *(CausesSettings, ProductionFacts, AnalysisPlan, AreaSettings, PatchSettings),
    *(CheckSettings, SuperimposeSettings, DeviationSettings, MarkSettings, Tolerances),
)
_FIELDS = {
    "start": "Start From",
    "fit_areas": "Fit On",
    "secondary": "Further Comparisons",
    "measures": "Measures",
    "question": "Question",
    "earlier": "Earlier Study",
    "title": "Group",
    "scans": "Scans",
}
"""What panels call it where that is not the label that the core declares."""
_LABELS = {name: one.label for kind in _DECLARED for name, one in declared_in(kind).items()}
_LABELS |= _FIELDS
_NAMES = {**_LABELS, **AREA_WORDS, **MEASURE_WORDS}
_NAMES = {name: words for name, words in _NAMES.items() if "_" in name}
_NAMED = re.compile(rf"\b({'|'.join(sorted(_NAMES, key=len, reverse=True))})\b")


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
    if isinstance(error, StudyFileError):
        return " ".join(map(_mistake, error.mistakes))
    known = {**REMEDIES, **(remedies or {})}
    asked = [known[name] for name in error.arguments if name in known]
    subject = error.subject
    if isinstance(error, SettingError):
        subject = _LABELS.get(subject, subject)
    remedy = " ".join(asked) if asked else error.remedy
    said = in_blender(f"{error.reason} {remedy}".rstrip())
    return f"{subject}: {_by_label(said) if isinstance(error, SettingError) else said}"


def _mistake(found: Mistake) -> str:
    """Return what is wrong in a study's file, which the panels made, by what they call it."""
    table, _, name = found.key.rpartition(".")
    # Below a table with a number per area, the name is the area's.
    field = f"{_LABELS[table]}, {area_words(name)}" if table in _LABELS else _LABELS.get(name, "")
    said = in_blender(f"{found.reason} {found.remedy}".rstrip())
    return f"{field or found.file.name}: {_by_label(said)}"


def _by_label(text: str) -> str:
    """Put what panels call settings, areas and measures in the place of their names."""
    return _NAMED.sub(lambda name: _NAMES[name[0]], text)

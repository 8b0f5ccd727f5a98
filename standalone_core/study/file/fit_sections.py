"""The tables of a study file that say how crowns are seated on their dies and how fit is judged."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from ...fit.settings import (
    ContactSettings,
    FitSettings,
    GapSettings,
    SeatSettings,
    TripleScanSettings,
    WallSettings,
)
from ..fit_plan import FitPlan
from .keys import Key, Section, free_key, keys_of
from .value_types import File, MeshFile, Patterns

FIT_PARTS: Mapping[str, tuple[str, type]] = MappingProxyType(
    {
        "seat": ("How a crown is seated on its die.", SeatSettings),
        "gap": ("How the gap is measured and judged.", GapSettings),
        "walls": ("How walls are measured and judged.", WallSettings),
        "contacts": (
            "How contacts with neighbours and antagonist are measured and classed.",
            ContactSettings,
        ),
        "triple_scan": (
            "How crown and die are laid on a scan of the seated crown.",
            TripleScanSettings,
        ),
    }
)
"""The parts of a fit that have settings: what they are about, and what declares them."""

FORCE_FIT = "fit.settings.force"
"""Where a plan takes numbers of its fit as they are; the file's own switch sets it."""

TEETH = Patterns('a list of paths, in which * stands for any part of a name: ["tooth_*.stl"]')

FIT = Section(
    "fit",
    "How the crowns fit: each is laid on its die and moved down to its seat. Crowns are seated if\n"
    "a die is named, here or below a group, and then take seconds each; areas, spacing and the\n"
    "unit of the scans are those of the study.",
    (
        Key("die", MeshFile(), "fit.die", "The die of all crowns whose group names no dies."),
        *keys_of(FitPlan, "fit", "in_design_frame"),
        Key(
            "finish_line",
            File(),
            "fit.finish_line",
            "The finish line of that die: a CSV file of points, or an areas file; without it the "
            "margin line of the design is carried over to each die.",
        ),
        Key("neighbours", TEETH, "", "The teeth beside the crown, in the frame of the dies."),
        Key(
            "antagonist",
            MeshFile(),
            "fit.antagonist",
            "The tooth against it, in the frame of the dies.",
        ),
        *keys_of(FitSettings, "fit.settings", "die_unit"),
        *keys_of(FitPlan, "fit", "crowns", "measures"),
    ),
)

FIT_EQUIVALENCE = Section(
    "fit_equivalence_um",
    "Largest difference in fit between groups that does not matter in the mouth, per measure of\n"
    "fit, µm. Equivalence in a measure is tested only where it stands here. No source gives such\n"
    "a number for all uses: choose yours before the crowns are measured.",
    free=free_key(FitPlan, "equivalence_um", "fit"),
)

FIT_SECTIONS: tuple[Section, ...] = (
    FIT,
    FIT_EQUIVALENCE,
    *(
        Section(f"fit_{name}", words, keys_of(kind, f"fit.settings.{name}"))
        for name, (words, kind) in FIT_PARTS.items()
    ),
)
"""All of them, in the order in which a new file lists them."""

DIES = Key(
    "dies",
    Patterns('a list of paths, in which * stands for any part of a name: ["dies/*.stl"]'),
    "",
    "Each crown's own die, in the order of the scans; a single one is that of all its crowns. Left "
    "out, its crowns sit on the die of [fit].",
)
SEATED = Key(
    "seated",
    Patterns('a list of paths, in which * stands for any part of a name: ["seated/*.stl"]'),
    "",
    "A scan of each crown as it sits on its die, in the order of the scans; gap and margin are "
    "then measured as they lie in it.",
)

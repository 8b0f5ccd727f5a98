"""The tables of a study file that say how each crown is measured and judged."""

from __future__ import annotations

from ...areas.settings import AreaSettings
from ...areas.support_marks import SupportMark
from ...causes.settings import CausesSettings, ProductionFacts
from ...check_settings import CheckSettings
from ...deviation.settings import DeviationSettings, MarkSettings, PatchSettings
from ...deviation.tolerances import Tolerances
from ...superimpose.settings import SuperimposeSettings
from .keys import Key, Section, free_key, keys_of
from .value_types import File, Limit

SUPPORT_MARKS = "support_marks"

(FORCE,) = keys_of(CheckSettings, "check", "force")

MEASURING = Section(
    "measuring",
    "How each crown is measured.",
    (
        *keys_of(CheckSettings, "check", "design_unit", "scan_unit", "spacing_mm"),
        *keys_of(CheckSettings, "check", "ignore_loose_pieces", "weighted", "direction"),
        *keys_of(DeviationSettings, "check.deviation"),
    ),
)

_FIT = "check.superimpose"
_LANDMARKS = Key(
    "landmarks", File(), "", 'CSV of paired points for start = "landmarks"; for all scans.'
)
SUPERIMPOSITION = Section(
    "superimposition",
    "How each scan is laid on the design.",
    (
        *keys_of(SuperimposeSettings, _FIT, "start"),
        _LANDMARKS,
        *keys_of(SuperimposeSettings, _FIT, "refine"),
        *keys_of(CheckSettings, "check", "fit_areas"),
        *keys_of(
            SuperimposeSettings,
            _FIT,
            but=("start", "refine", "landmarks_scan_mm", "landmarks_design_mm"),
        ),
    ),
)

AREAS = Section(
    "areas",
    "The areas of the design: from a file made with 'cuspwise areas', or automatic.",
    (
        Key("file", File(), "check.areas_file", "Areas file; then leave out all other keys here."),
        *keys_of(AreaSettings, "check.areas"),
    ),
)

TOLERANCES = Section(
    "tolerances_um",
    "Largest acceptable mean absolute deviation per area, µm, and half the band of\n"
    '"within tolerance". "none" takes the tolerance of an area away.',
    free=free_key(Tolerances, "tolerances_um", "check.tolerances", Limit()),
)

SCANNER = Section(
    "scanner_um",
    "Standard uncertainty of an area's mean absolute deviation that comes from the scanner,\n"
    "µm; default stands for all areas not named. Within and outside then hold with 95 %\n"
    "confidence. Left out, it is taken from [repeats], if crowns were scanned often enough.",
    free=free_key(Tolerances, "scanner_um", "check.tolerances"),
)

VERDICTS = Section(
    "verdicts",
    "When a crown is judged, and which patches beyond the tolerance are listed.",
    (
        *keys_of(Tolerances, "check.tolerances", but=("tolerances_um", "scanner_um")),
        *keys_of(PatchSettings, "check.patches"),
    ),
)

MARKS = Section(
    SUPPORT_MARKS,
    "When a support mark has a stub or a gouge; the defaults are common practice, no source.",
    keys_of(MarkSettings, "check.mark"),
)

CAUSES = Section(
    "causes",
    "How the causes of deviations are looked for.",
    keys_of(CausesSettings, "check.causes"),
)

PRODUCTION = keys_of(ProductionFacts, "check.production")
"""What is known of how crowns were produced: of a group, not of all crowns of a study."""

MARK = Section(
    f"{SUPPORT_MARKS}.NAME",
    "One table per spot where a printing support, a sprue or a holding bar touched the crown,\n"
    "beside those of the areas file. What is left of each is listed crown by crown, and described\n"
    "per group.",
    keys_of(SupportMark, None),
)

"""``measures.csv``, ``patches.csv``, ``causes.csv``, ``marks.csv``, ``margin_profile.csv``."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import starmap

from ...causes.document import CAUSE_COLUMNS, cause_record
from ...causes.result import Cause
from ...deviation.margin_profile import MarginProfile
from ...deviation.measures import MEASURE_COLUMNS, AreaMeasures
from ...deviation.patches import Patch
from ...deviation.support_marks import MarkResult
from ..tables.cause_row import cause_row
from ..tables.table import table

PATCH_COLUMNS = (
    "rank",
    "patch_kind",
    "areas",
    "area_mm2",
    "peak_um",
    "mean_um",
    "volume_mm3",
    "centre_x_mm",
    "centre_y_mm",
    "centre_z_mm",
    "peak_x_mm",
    "peak_y_mm",
    "peak_z_mm",
    "n_points",
    "seen_from",
    "margin_mm",
    "unmatched",
)

MARK_COLUMNS = (
    "mark",
    "mark_kind",
    "verdict",
    "height_um",
    "peak_um",
    "surroundings_um",
    "band_um",
    "area_mm2",
    "volume_mm3",
    "coverage_share",
    "spot_mm2",
    "peak_x_mm",
    "peak_y_mm",
    "peak_z_mm",
    "n_points",
    "verdict_reason",
)

MARGIN_COLUMNS = (
    "place_mm",
    "angle_deg",
    "x_mm",
    "y_mm",
    "z_mm",
    "deviation_um",
    "vertical_um",
    "horizontal_um",
    "flash_um",
    "counted",
)

_NAMES = {
    "n": "n_points",
    "coverage": "coverage_share",
    "within_tolerance": "within_tolerance_share",
}
"""What results call otherwise than columns do."""


def measures_csv(measures: Iterable[AreaMeasures]) -> str:
    """Write the measures, one row per area and direction."""
    columns = [_NAMES.get(name, name) for name in MEASURE_COLUMNS]
    return table(
        columns, ([getattr(row, name) for name in MEASURE_COLUMNS] for row in measures)
    ).text


def patches_csv(patches: Iterable[Patch]) -> str:
    """Write the patches, worst first; columns :data:`PATCH_COLUMNS`."""
    return table(PATCH_COLUMNS, starmap(_patch_row, enumerate(patches, start=1))).text


def causes_csv(causes: Iterable[Cause]) -> str:
    """Write the causes, stated ones first."""
    columns = tuple(cause_row(dict.fromkeys(CAUSE_COLUMNS)))
    return table(columns, (cause_row(cause_record(cause)).values() for cause in causes)).text


def marks_csv(marks: Iterable[MarkResult]) -> str:
    """Write the support marks, one row each; columns :data:`MARK_COLUMNS`."""
    return table(MARK_COLUMNS, map(_mark_row, marks)).text


def margin_profile_csv(profile: MarginProfile) -> str:
    """Write a margin profile, one row per place along the line; columns :data:`MARGIN_COLUMNS`."""
    columns: list[list[object]] = [
        profile.place_mm.tolist(),
        profile.angle_deg.tolist(),
        *profile.points_mm.T.tolist(),
        profile.deviation_um.tolist(),
        profile.vertical_um.tolist(),
        profile.horizontal_um.tolist(),
        profile.flash_um.tolist(),
        profile.counted.tolist(),
    ]
    return table(MARGIN_COLUMNS, zip(*columns, strict=True)).text


def _mark_row(mark: MarkResult) -> tuple[object, ...]:
    return (
        *(mark.name, mark.kind, mark.verdict, mark.height_um, mark.peak_um),
        *(mark.surroundings_um, mark.band_um, mark.area_mm2, mark.volume_mm3, mark.coverage),
        *(mark.spot_mm2, *mark.peak_mm, mark.n, mark.reason),
    )


def _patch_row(rank: int, patch: Patch) -> tuple[object, ...]:
    return (
        *(rank, patch.kind, "; ".join(patch.areas), patch.area_mm2, patch.peak_um, patch.mean_um),
        *(patch.volume_mm3, *patch.centre_mm, *patch.peak_mm, patch.n, patch.seen_from),
        *(patch.margin_mm, patch.unmatched),
    )

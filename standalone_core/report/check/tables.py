"""``measures.csv``, ``patches.csv``, ``causes.csv``, ``marks.csv``, ``margin_profile.csv``."""

from __future__ import annotations

from collections.abc import Iterable

from ...causes.document import CAUSE_COLUMNS
from ...causes.result import Cause
from ...csv_text import cell_text, csv_text
from ...deviation.margin_profile import MarginProfile
from ...deviation.measures import MEASURE_COLUMNS, AreaMeasures
from ...deviation.patches import Patch
from ...deviation.support_marks import MarkResult

PATCH_COLUMNS = (
    "rank",
    "kind",
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
    "n",
    "seen_from",
    "margin_mm",
    "unmatched",
)

MARK_COLUMNS = (
    "name",
    "kind",
    "verdict",
    "height_um",
    "peak_um",
    "surroundings_um",
    "band_um",
    "area_mm2",
    "volume_mm3",
    "coverage",
    "spot_mm2",
    "peak_x_mm",
    "peak_y_mm",
    "peak_z_mm",
    "n",
    "reason",
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

# One digit below what the numbers can hold: 0.001 µm, 0.0001 mm², a hundred-thousandth of an area.
_DIGITS_BY_UNIT = {"_um": 3, "_mm": 4, "_mm2": 4, "_mm3": 6}
_SHARE_DIGITS = 5


def measures_csv(measures: Iterable[AreaMeasures]) -> str:
    """Write the measures, one row per area and direction; columns :data:`MEASURE_COLUMNS`.

    Lengths in µm, shares from 0 to 1; a number that does not exist is an empty field.
    """
    rows = ([_text(name, getattr(row, name)) for name in MEASURE_COLUMNS] for row in measures)
    return csv_text((MEASURE_COLUMNS, *rows))


def patches_csv(patches: Iterable[Patch]) -> str:
    """Write the patches, worst first; columns :data:`PATCH_COLUMNS`."""
    rows = (_patch_row(rank, patch) for rank, patch in enumerate(patches, start=1))
    return csv_text((PATCH_COLUMNS, *rows))


def causes_csv(causes: Iterable[Cause]) -> str:
    """Write the causes, stated ones first; columns ``CAUSE_COLUMNS``."""
    return csv_text((CAUSE_COLUMNS, *(_cause_row(cause) for cause in causes)))


def marks_csv(marks: Iterable[MarkResult]) -> str:
    """Write the support marks, one row each; columns :data:`MARK_COLUMNS`."""
    return csv_text((MARK_COLUMNS, *(_mark_row(mark) for mark in marks)))


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
    rows = zip(*columns, strict=True)
    return csv_text(
        [
            MARGIN_COLUMNS,
            *([_text(*cell) for cell in zip(MARGIN_COLUMNS, row, strict=True)] for row in rows),
        ]
    )


def _cause_row(cause: Cause) -> list[str]:
    values = {name: getattr(cause, name) for name in CAUSE_COLUMNS}
    if cause.direction is not None:
        # In brackets, as in JSON: a cell that begins with a minus sign could be a formula.
        values["direction"] = f"[{', '.join(f'{part:.4f}' for part in cause.direction)}]"
    return [_text(name, value) for name, value in values.items()]


def _mark_row(mark: MarkResult) -> list[str]:
    peak = dict(zip(("peak_x_mm", "peak_y_mm", "peak_z_mm"), mark.peak_mm, strict=True))
    return [
        _text(name, peak[name] if name in peak else getattr(mark, name)) for name in MARK_COLUMNS
    ]


def _patch_row(rank: int, patch: Patch) -> list[str]:
    values: dict[str, object] = {
        "rank": rank,
        "kind": patch.kind,
        "areas": "; ".join(patch.areas),
        "area_mm2": patch.area_mm2,
        "peak_um": patch.peak_um,
        "mean_um": patch.mean_um,
        "volume_mm3": patch.volume_mm3,
        "n": patch.n,
        "seen_from": patch.seen_from,
        "margin_mm": patch.margin_mm,
        "unmatched": patch.unmatched,
    }
    for axis, centre, peak in zip("xyz", patch.centre_mm, patch.peak_mm, strict=True):
        values[f"centre_{axis}_mm"] = centre
        values[f"peak_{axis}_mm"] = peak
    return [_text(name, values[name]) for name in PATCH_COLUMNS]


def _text(column: str, value: object) -> str:
    digits = next(
        (d for unit, d in _DIGITS_BY_UNIT.items() if column.endswith(unit)), _SHARE_DIGITS
    )
    text = cell_text(value, digits)
    zero = isinstance(value, float) and text.startswith("-") and float(text) == 0.0
    return text.removeprefix("-") if zero else text

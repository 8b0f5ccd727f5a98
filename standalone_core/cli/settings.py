"""Settings of the core from the options of the command line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any, cast

from ..errors import SettingError

if TYPE_CHECKING:
    from ..areas.settings import AreaSettings
    from ..areas.support_marks import MarkKind, SupportMark
    from ..check import CheckSettings
    from ..superimpose.settings import Loss, Start, SuperimposeSettings

STARTS: dict[str, Start] = {"auto": "auto", "landmarks": "landmarks", "in-place": "in_place"}
LOSSES: dict[str, Loss] = {
    "least-squares": "least_squares",
    "trimmed": "trimmed",
    "robust": "robust",
}
PALETTES = ("standard", "strong", "grey")
"""Those of ``report.colour``, which would load numpy before any help is shown."""


AREA_OPTIONS = {
    "margin_band_mm": "--margin-band",
    "mesial_direction": "--mesial",
    "buccal_direction": "--buccal",
    "insertion": "--insertion",
    "area_settings": "--area-setting",
}
OPTION_OF = {
    **AREA_OPTIONS,
    "spacing_mm": "--spacing",
    "search_mm": "--search",
    "max_unmatched_um": "--unmatched-height",
    "max_unmatched_mm2": "--unmatched-area",
    "max_missing_mm": "--missing-margin",
}
"""Options by the name of the setting that they set."""


def check_settings(given: dict[str, Any]) -> CheckSettings:
    """Check settings from the command line's options."""
    from ..check import CheckSettings
    from ..deviation.field import DeviationSettings
    from ..deviation.tolerances import Tolerances

    if given["areas_file"] is not None:
        for name, option in AREA_OPTIONS.items():
            if given[name]:
                raise SettingError(
                    "Areas from a file are used as they are.",
                    subject=option,
                    remedy="Leave it out, or give it to 'cuspwise areas' when making the file.",
                )
    return CheckSettings(
        design_unit=given["design_unit"],
        scan_unit=given["scan_unit"],
        spacing_mm=given["spacing_mm"],
        drop_debris=given["drop_debris"],
        areas=area_settings(given),
        areas_file=given["areas_file"],
        superimpose=_superimpose_settings(given),
        fit_areas=given["fit_on"],
        deviation=DeviationSettings(search_mm=given["search_mm"]),
        tolerances=Tolerances(
            max_unmatched_um=given["max_unmatched_um"],
            max_unmatched_mm2=given["max_unmatched_mm2"],
            max_missing_mm=given["max_missing_mm"],
            scanner_um=read_uncertainties(given["scanner_um"]),
        ).changed(read_tolerances(given["tolerances"])),
        weighted=not given["unweighted"],
        marks=tuple(read_mark(text) for text in given["marks"]),
    )


def _superimpose_settings(given: dict[str, Any]) -> SuperimposeSettings:
    from ..superimpose.landmarks import read_landmarks
    from ..superimpose.settings import SuperimposeSettings

    if (given["align"] == "landmarks") != (given["landmarks"] is not None):
        raise SettingError(
            "Landmarks need both '--align landmarks' and a file.",
            subject="--landmarks",
            remedy="Give '--align landmarks --landmarks FILE', or neither.",
        )
    settings = SuperimposeSettings(loss=LOSSES[given["loss"]], refine=not given["no_fit"])
    if given["landmarks"] is None:
        return replace(settings, start=STARTS[given["align"]])
    pairs = read_landmarks(given["landmarks"])
    return replace(
        settings,
        start="landmarks",
        landmarks_design_mm=pairs.design_mm.tolist(),
        landmarks_scan_mm=pairs.scan_mm.tolist(),
    )


def area_settings(given: dict[str, Any]) -> AreaSettings:
    """Area settings from the options that the commands ``check`` and ``areas`` share."""
    from ..areas.settings import AreaSettings

    changes: dict[str, Any] = {}
    for text in given["area_settings"]:
        name, _, value = text.partition("=")
        changes[name.strip()] = _area_value(name.strip(), value.strip())
    for name in ("margin_band_mm", "mesial_direction", "buccal_direction", "insertion"):
        if given[name] is not None:
            changes[name] = _area_value(name, str(given[name]))
    return AreaSettings(**changes)


def _area_value(name: str, text: str) -> float | tuple[float, ...]:
    from ..areas.settings import AreaSettings

    known = [field.name for field in fields(AreaSettings)]
    if name not in known:
        raise SettingError(
            f"There is no area setting called {name!r}.",
            subject="--area-setting",
            remedy=f"Choose from {', '.join(known)}.",
        )
    if name in {"insertion", "mesial_direction", "buccal_direction"}:
        return read_direction(text, name)
    try:
        return float(text)
    except ValueError:
        raise SettingError(
            f"{text!r} is not a number.",
            subject=f"--area-setting {name}",
            remedy=f"Give a number, such as '--area-setting {name}=1.0'.",
        ) from None


def read_direction(text: str, name: str) -> tuple[float, ...]:
    """Read ``X,Y,Z``."""
    try:
        values = tuple(float(part) for part in text.split(","))
    except ValueError:
        values = ()
    if len(values) != 3 or not any(values):
        raise SettingError(
            f"{text!r} is not a direction.",
            subject=name,
            remedy="Give three numbers, with commas between, such as 1,0,0.",
        )
    return values


def read_tolerances(texts: Iterable[str]) -> dict[str, float | None]:
    """Read ``AREA=UM`` options."""
    found: dict[str, float | None] = {}
    for text in texts:
        area, _, limit = text.partition("=")
        try:
            found[area.strip()] = None if limit.strip() == "none" else float(limit)
        except ValueError:
            raise SettingError(
                f"{text!r} is not a tolerance.",
                subject="--tolerance",
                remedy="Give an area and micrometres, such as '--tolerance margin=15'.",
            ) from None
    return found


def read_uncertainties(texts: Iterable[str]) -> dict[str, float]:
    """Read ``UM`` and ``AREA=UM`` options."""
    from ..deviation.tolerances import ANY_AREA

    found: dict[str, float] = {}
    for text in texts:
        area, _, value = text.rpartition("=")
        try:
            found[area.strip() or ANY_AREA] = float(value)
        except ValueError:
            raise SettingError(
                f"{text!r} is not an uncertainty.",
                subject="--scanner-uncertainty",
                remedy="Give micrometres, such as '1.5', or an area with them, 'margin=1.5'.",
            ) from None
    return found


def read_mark(text: str) -> SupportMark:
    """Read ``NAME=X,Y,Z,RADIUS`` or ``NAME=X,Y,Z,RADIUS,KIND``."""
    from ..areas.support_marks import SupportMark

    name, _, rest = text.partition("=")
    parts = [part.strip() for part in rest.split(",")]
    try:
        x, y, z, radius = (float(part) for part in parts[:4])
    except ValueError:
        parts = []
    if len(parts) not in (4, 5):
        raise SettingError(
            f"{text!r} is not a support mark.",
            subject="--mark",
            remedy="Give a name, three coordinates and a radius in mm, and perhaps a kind, such "
            "as '--mark lingual=1.2,-4.5,3,0.5' or '--mark 2=0,5,3,0.6,sprue'.",
        )
    kind = cast("MarkKind", parts[4]) if len(parts) == 5 else "support"
    return SupportMark(name.strip(), (x, y, z), radius, kind)

"""What a scene chooses, as plain data to be kept and as the core's settings. Needs no Blender."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from ...standalone_core.causes.settings import CausesSettings, ProductionFacts
from ...standalone_core.check_settings import CheckSettings
from ...standalone_core.deviation.settings import DeviationSettings, MarkSettings
from ...standalone_core.deviation.tolerances import ANY_AREA, Tolerances
from ...standalone_core.errors import SettingError
from ...standalone_core.setting import declared_in, refuse_implausible
from ...standalone_core.study.plan import EVERY_AREA, AnalysisPlan
from ...standalone_core.superimpose.settings import SuperimposeSettings

TOLERANCE_AREAS = ("whole", "occlusal", "margin")
JUDGING_NUMBERS = ("scanner_um", "max_unmatched_um", "max_unmatched_mm2", "max_missing_mm")
JUDGING = ("tolerances_um", *JUDGING_NUMBERS)
MARK_LIMITS = tuple(declared_in(MarkSettings))
SWITCH = f"“{declared_in(CheckSettings)['force'].label}” under Advanced"
"""What takes numbers that are hardly meant, as its panel calls it."""


def choices_of(settings: Any) -> dict[str, Any]:
    """Return the scene's choices as plain data, to be kept with a result."""
    return {
        "start": settings.start,
        "refine": True,
        "fit_area": settings.fit_area,
        "spacing_mm": _rounded(settings.spacing_mm),
        "search_mm": _rounded(settings.search_mm),
        "support_marks": mark_limits(settings),
        **judging_choices(settings),
    }


def mark_limits(settings: Any) -> dict[str, float]:
    """Return the scene's limits of support marks, as plain data."""
    return {name: _rounded(getattr(settings.support_marks, name)) for name in MARK_LIMITS}


def judging_choices(settings: Any) -> dict[str, Any]:
    """Return the scene's choices that a result is judged by, as plain data.

    ``scanner_um`` is one number for all areas; 0 where it was not given.
    """
    numbers = {name: _rounded(getattr(settings, name)) for name in JUDGING_NUMBERS}
    return {
        "tolerances_um": tolerances_um(settings),
        "force": bool(settings.force),
        **numbers,
    }


def tolerances_of(choices: Mapping[str, Any]) -> Tolerances:
    """Return the core's tolerances."""
    scanner_um = choices["scanner_um"]
    return Tolerances(
        choices["tolerances_um"],
        max_unmatched_um=choices["max_unmatched_um"],
        max_unmatched_mm2=choices["max_unmatched_mm2"],
        max_missing_mm=choices["max_missing_mm"],
        scanner_um={ANY_AREA: scanner_um} if scanner_um else {},
    )


def tolerances_um(settings: Any) -> dict[str, float]:
    """Return the scene's tolerances, µm; areas without one are left out."""
    chosen = {area: _rounded(getattr(settings, f"tolerance_{area}_um")) for area in TOLERANCE_AREAS}
    return {area: limit for area, limit in chosen.items() if limit}


def superimpose_settings(choices: Mapping[str, Any]) -> SuperimposeSettings:
    """Return the core's settings for a superimposition."""
    return SuperimposeSettings(
        start=choices["start"],
        landmarks_scan_mm=choices.get("landmarks_scan_mm"),
        landmarks_design_mm=choices.get("landmarks_design_mm"),
        refine=choices["refine"],
        look_for_rivals=choices["refine"],
    )


def fit_areas(choices: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the areas that the superimposition runs on; none for the whole crown."""
    return () if choices["fit_area"] == "whole" else (choices["fit_area"],)


def check_settings(choices: Mapping[str, Any]) -> CheckSettings:
    """Return the core's settings for a check.

    Raises
    ------
    SettingError
        A number is hardly meant, and the scene does not take such.
    """
    force = bool(choices.get("force"))
    settings = CheckSettings(
        spacing_mm=choices["spacing_mm"],
        superimpose=superimpose_settings(choices),
        fit_areas=fit_areas(choices),
        deviation=DeviationSettings(search_mm=choices["search_mm"]),
        tolerances=tolerances_of(choices),
        mark=mark_settings(choices),
        causes=CausesSettings(**choices.get("causes", {})),
        production=production_facts(choices),
        force=True,
    )
    if not force:
        refuse_implausible(settings, SWITCH, by_label=True)
    return replace(settings, force=force)


def production_facts(choices: Mapping[str, Any]) -> ProductionFacts:
    """Return what is known of the production; nothing where nothing was said."""
    facts = dict(choices.get("production", {}))
    direction = facts.get("build_direction")
    return ProductionFacts(
        **{**facts, "build_direction": None if direction is None else tuple(direction)}
    )


def mark_settings(choices: Mapping[str, Any]) -> MarkSettings:
    """Return the core's limits of support marks; the usual ones where none were chosen."""
    return MarkSettings(**choices.get("support_marks", {}))


def refuse_unusual(choices: Mapping[str, Any]) -> None:
    """Refuse numbers that are hardly meant, of a check and of a study.

    Raises
    ------
    SettingError
        With what was probably meant, and the box to tick if it was not.
    """
    check_settings({**choices, "start": "auto"})  # landmarks are read with each scan
    if not choices.get("force") and choices.get("equivalence_um"):
        plan = AnalysisPlan(equivalence_um={EVERY_AREA: choices["equivalence_um"]})
        refuse_implausible(plan, SWITCH, by_label=True)


def why_unusual(choices: Mapping[str, Any]) -> str:
    """Say which limit that results are judged by is hardly meant; empty if none is."""
    if choices.get("force"):
        return ""
    try:
        refuse_implausible(tolerances_of(choices), SWITCH, by_label=True)
    except SettingError as error:
        return str(error)
    return ""


def _rounded(number: float) -> float:
    """Return a number of Blender's without its noise: 0.1 comes back as 0.10000000149."""
    return float(f"{number:.6g}")

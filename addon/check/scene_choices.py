"""What a scene chooses, as plain data to be kept and as the core's settings. Needs no Blender."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any, TypeVar

from ...standalone_core.areas.area_set import AREA_NAMES
from ...standalone_core.areas.settings import AreaSettings
from ...standalone_core.causes.settings import CausesSettings, ProductionFacts
from ...standalone_core.check_settings import CheckSettings
from ...standalone_core.deviation.settings import DeviationSettings, MarkSettings, PatchSettings
from ...standalone_core.deviation.tolerances import ANY_AREA, Tolerances
from ...standalone_core.errors import AreaError, SettingError
from ...standalone_core.setting import declared_in, refuse_implausible
from ...standalone_core.study.plan import EVERY_AREA, AnalysisPlan, area_and_measure
from ...standalone_core.superimpose.settings import SuperimposeSettings
from ..identifiers import OBJECT_PROPERTIES
from .setting_groups import DIRECTIONS, GROUPS, rounded

Made = TypeVar("Made")

TOLERANCE_AREAS = ("whole", "occlusal", "margin")
JUDGING_NUMBERS = ("scanner_um", "max_unmatched_um", "max_unmatched_mm2", "max_missing_mm")
JUDGING = ("tolerances_um", *JUDGING_NUMBERS, "scanners_um", "verdicts")
MEASURED_BY = {
    "areas": "thresholds or directions of the areas",
    "spacing_mm": "spacing",
    "search_mm": "search distance",
    "points": "which points count",
}
"""What a result was measured with, beside how its scan was superimposed; in words."""
LAID_BY = {
    "start": "start of the superimposition",
    "fit_areas": "areas that the scan is laid on",
    "superimpose": "best fit",
}
"""How its scan was superimposed, if it was; in words."""
CHOSEN_START = "chosen_start"
"""What the scene's choice was, where a result is kept as one of another start."""
MARK_LIMITS = tuple(declared_in(MarkSettings))
SWITCH = f"“{declared_in(CheckSettings)['force'].label}” under Advanced"
"""What takes numbers that are hardly meant, as its panel calls it."""


def choices_of(settings: Any, design: Any = None) -> dict[str, Any]:
    """Return the scene's choices as plain data, to be kept with a result.

    Parameters
    ----------
    settings : SceneSettings
    design : bpy.types.Object, optional
        Whose directions count; the scene's.
    """
    return {
        "refine": True,
        **laying_choices(settings),
        "support_marks": mark_limits(settings),
        **measuring_choices(settings, design or settings.design),
        **judging_choices(settings),
    }


def laying_choices(settings: Any) -> dict[str, Any]:
    """Return how scans are laid on the design, as plain data."""
    fit = [GROUPS[key].changed(getattr(settings, key)) for key in ("superimpose", "doubt")]
    return {
        "start": settings.start,
        "fit_areas": _chosen_fit_areas(settings),
        "superimpose": {**fit[0], **fit[1]},
    }


def measuring_choices(settings: Any, design: Any) -> dict[str, Any]:
    """Return what makes other numbers of the same place of a scan, as plain data."""
    return {
        "spacing_mm": rounded(settings.spacing_mm),
        "search_mm": rounded(settings.search_mm),
        "points": GROUPS["points"].changed(settings.points),
        "areas": {**directions_of(design), **GROUPS["areas"].changed(settings.areas)},
    }


def other_choices(kept: Mapping[str, Any], settings: Any, design: Any) -> list[str]:
    """Return, in words, what a result was measured with and is chosen otherwise now.

    Parameters
    ----------
    kept : mapping
        The choices that it was measured with.
    settings : SceneSettings
    design : bpy.types.Object
        The result's.
    """
    now = measuring_choices(settings, design)
    changed = [words for key, words in MEASURED_BY.items() if kept.get(key, {}) != now[key]]
    if not kept["refine"]:
        return changed  # it was measured where it lay
    now, then = laying_choices(settings), _laid_by(kept)
    return [*(words for key, words in LAID_BY.items() if then[key] != now[key]), *changed]


def _laid_by(kept: Mapping[str, Any]) -> dict[str, Any]:
    """Return how a kept result's scan was laid on its design, as scenes choose it."""
    return {
        "start": kept.get(CHOSEN_START, kept["start"]),
        "fit_areas": list(fit_areas(kept)),
        "superimpose": kept.get("superimpose", {}),
    }


def directions_of(design: Any) -> dict[str, list[float]]:
    """Return the directions that were given of a design, in its frame."""
    data = getattr(design, OBJECT_PROPERTIES, None)
    if data is None:
        return {}
    found = {name: [rounded(part) for part in getattr(data, name)] for name in DIRECTIONS}
    return {name: direction for name, direction in found.items() if any(direction)}


def _chosen_fit_areas(settings: Any) -> list[str] | None:
    """Return the areas to fit on; none for the whole crown, None where the list has none yet."""
    if settings.fit_area == "LISTED":
        return list(dict.fromkeys(row.area for row in settings.fit_areas)) or None
    return [] if settings.fit_area == "whole" else [settings.fit_area]


def mark_limits(settings: Any) -> dict[str, float]:
    """Return the scene's limits of support marks, as plain data."""
    return {name: rounded(getattr(settings.support_marks, name)) for name in MARK_LIMITS}


def judging_choices(settings: Any) -> dict[str, Any]:
    """Return the scene's choices that a result is judged by, as plain data.

    ``scanner_um`` is one number for all areas; 0 where it was not given. ``scanners_um`` are
    those of single areas.
    """
    numbers = {name: rounded(getattr(settings, name)) for name in JUDGING_NUMBERS}
    return {
        "tolerances_um": tolerances_um(settings),
        "scanners_um": {row.area: rounded(row.um) for row in settings.scanners},
        "verdicts": GROUPS["verdicts"].changed(settings.verdicts),
        "force": bool(settings.force),
        **numbers,
    }


def tolerances_of(choices: Mapping[str, Any]) -> Tolerances:
    """Return the core's tolerances."""
    scanner_um = choices["scanner_um"]
    every = {ANY_AREA: scanner_um} if scanner_um else {}
    return Tolerances(
        choices["tolerances_um"],
        max_unmatched_um=choices["max_unmatched_um"],
        max_unmatched_mm2=choices["max_unmatched_mm2"],
        max_missing_mm=choices["max_missing_mm"],
        scanner_um={**every, **choices.get("scanners_um", {})},
        **_declared(Tolerances, choices.get("verdicts", {})),
    )


def tolerances_um(settings: Any) -> dict[str, float]:
    """Return the scene's tolerances, µm; areas without one are left out."""
    chosen = {area: rounded(getattr(settings, f"tolerance_{area}_um")) for area in TOLERANCE_AREAS}
    usual = {area: limit for area, limit in chosen.items() if limit}
    others = {row.area: rounded(row.um) for row in settings.tolerances if row.area not in chosen}
    return {**usual, **others}


def judging_settings(choices: Mapping[str, Any]) -> CheckSettings:
    """Return the core's settings that a result is judged by; the others are the usual ones."""
    verdicts = choices.get("verdicts", {})
    return CheckSettings(
        tolerances=tolerances_of(choices),
        patches=PatchSettings(**_declared(PatchSettings, verdicts)),
        force=True,
        **_declared(CheckSettings, verdicts),
    )


def deviation_settings(choices: Mapping[str, Any]) -> DeviationSettings:
    """Return the core's settings of which points count."""
    others = _declared(DeviationSettings, choices.get("points", {}))
    return DeviationSettings(search_mm=choices["search_mm"], **others)


def _declared(kind: type, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the changes that are of a dataclass's own settings."""
    return {name: value for name, value in changes.items() if name in declared_in(kind)}


def superimpose_settings(choices: Mapping[str, Any]) -> SuperimposeSettings:
    """Return the core's settings for a superimposition."""
    own = {
        "start": choices["start"],
        "landmarks_scan_mm": choices.get("landmarks_scan_mm"),
        "landmarks_design_mm": choices.get("landmarks_design_mm"),
        "refine": choices["refine"],
        "look_for_rivals": choices["refine"],
    }
    return made_of(SuperimposeSettings, {**own, **choices.get("superimpose", {})})


def made_of(kind: type[Made], values: Mapping[str, Any]) -> Made:
    """Return settings of a kind; what does not go together is told by labels.

    Raises
    ------
    SettingError
        As the panel calls the numbers.
    """
    try:
        return kind(**values)
    except SettingError as error:
        labels = {name: one.label for name, one in declared_in(kind).items()}
        subject, reason, remedy = (
            _by_label(text, labels) for text in (str(error.subject), error.reason, error.remedy)
        )
        raise SettingError(reason, subject=subject, remedy=remedy) from None


def _by_label(text: str, labels: Mapping[str, str]) -> str:
    """Put labels in the place of names, the longest first: one may be a part of another."""
    for name in sorted(labels, key=len, reverse=True):
        text = text.replace(name, labels[name])
    return text


def fit_areas(choices: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the areas that the superimposition runs on; none for the whole crown.

    Raises
    ------
    SettingError
        They are to be those of the list, and no area is listed.
    """
    if "fit_areas" in choices:
        if choices["fit_areas"] is None:
            raise SettingError(
                "No area is listed.",
                subject="Fit On",
                remedy="Add an area below it, or choose Whole Crown.",
            )
        return tuple(choices["fit_areas"])
    return () if choices["fit_area"] == "whole" else (choices["fit_area"],)  # kept long ago


def check_settings(choices: Mapping[str, Any]) -> CheckSettings:
    """Return the core's settings for a check.

    Raises
    ------
    SettingError
        A number is hardly meant, and the scene does not take such.
    """
    force = bool(choices.get("force"))
    settings = replace(
        judging_settings(choices),
        spacing_mm=choices["spacing_mm"],
        areas=made_of(AreaSettings, choices.get("areas", {})),
        superimpose=superimpose_settings(choices),
        fit_areas=fit_areas(choices),
        deviation=deviation_settings(choices),
        mark=mark_settings(choices),
        causes=CausesSettings(**choices.get("causes", {})),
        production=production_facts(choices),
        **_declared(CheckSettings, choices.get("points", {})),
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


def refuse_missing_areas(choices: Mapping[str, Any], there: Collection[str]) -> None:
    """Refuse an area of a list that was deleted or renamed since.

    Parameters
    ----------
    choices : mapping
    there : collection of str
        The areas that somebody made.

    Raises
    ------
    AreaError
        With the lists that name it.
    """
    named = {
        "Tolerances": choices["tolerances_um"],
        "Verdicts and Patches": choices.get("scanners_um", {}),
        "Fit On": choices.get("fit_areas") or (),
        "Study Question": choices.get("equivalences_um", {}),
        "Further Comparisons": [area_and_measure(row)[0] for row in choices.get("secondary") or ()],
    }
    known = {*AREA_NAMES, *there}
    for panel, names in named.items():
        for name in names:
            if name not in known:
                raise AreaError(
                    "The design has no such area any more.",
                    subject=name,
                    remedy=f"Take it out of the list under {panel}, or make it again under Areas.",
                )


def refuse_unusual(choices: Mapping[str, Any]) -> None:
    """Refuse numbers that are hardly meant, of a check and of a study.

    Raises
    ------
    SettingError
        With what was probably meant, and the box to tick if it was not.
    """
    check_settings({**choices, "start": "auto"})  # landmarks are read with each scan
    every = choices.get("equivalence_um")
    limits = {**({EVERY_AREA: every} if every else {}), **choices.get("equivalences_um", {})}
    if not choices.get("force"):
        refuse_implausible(AnalysisPlan(equivalence_um=limits), SWITCH, by_label=True)


def why_unusual(choices: Mapping[str, Any]) -> str:
    """Say which limit that results are judged by is hardly meant; empty if none is."""
    if choices.get("force"):
        return ""
    try:
        refuse_implausible(judging_settings(choices), SWITCH, by_label=True)
    except SettingError as error:
        return str(error)
    return ""

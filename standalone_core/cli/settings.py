"""Settings of the core from the options of the command line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from ..allowed import NotAllowed, Spot
from ..areas.settings import AreaSettings
from ..areas.support_marks import SupportMark
from ..check_settings import CheckSettings
from ..deviation.tolerances import ANY_AREA
from ..errors import SettingError
from ..setting import Setting, changed, declared_in
from ..study.file.check_sections import (
    AREAS,
    CAUSES,
    FORCE,
    MARKS,
    MEASURING,
    PRODUCTION,
    SCANNER,
    SUPERIMPOSITION,
    TOLERANCES,
    VERDICTS,
)
from ..study.file.keys import Key, Section
from .setting_options import option_name, read_option, read_options, read_set, refuse_old_options

PALETTES = ("standard", "strong", "grey")
"""Those of ``report.drawing``, which would load numpy before any help is shown."""

_AREA_NAMES = ("margin_band_mm", "mesial_direction", "buccal_direction", "insertion")


def _keys(section: Section, *names: str) -> tuple[Key, ...]:
    return tuple(key for key in section.keys if key.name in names)


FIT_KEYS = _keys(SUPERIMPOSITION, "start", "refine", "fit_weighting", "fit_areas")
UNIT_KEYS = _keys(MEASURING, "design_unit", "scan_unit")
AREA_KEYS = (*_keys(MEASURING, "spacing_mm"), *_keys(AREAS, *_AREA_NAMES))
SEARCH_KEYS = _keys(MEASURING, "search_mm")
VERDICT_KEYS = _keys(VERDICTS, "max_unmatched_um", "max_unmatched_mm2", "max_missing_mm")
PIECE_KEYS = _keys(MEASURING, "ignore_loose_pieces")
WEIGHT_KEYS = _keys(MEASURING, "weighted")
DIRECTION_KEYS = _keys(MEASURING, "direction")
CAUSES_KEYS = _keys(CAUSES, "find_causes")
CHECK_KEYS = (
    *FIT_KEYS,
    *UNIT_KEYS,
    *AREA_KEYS,
    *SEARCH_KEYS,
    *VERDICT_KEYS,
    *PIECE_KEYS,
    *WEIGHT_KEYS,
    *DIRECTION_KEYS,
    *CAUSES_KEYS,
    *PRODUCTION,
)
DESIGN_KEYS = (*UNIT_KEYS[:1], *AREA_KEYS, *PIECE_KEYS)
"""The settings with options of their own, of ``check`` and of ``areas``."""

CHECK_TABLES = (MEASURING, SUPERIMPOSITION, AREAS, VERDICTS, MARKS, CAUSES)
DESIGN_TABLES = (AREAS, MEASURING)
"""The tables whose settings ``--set`` can set."""


def check_settings(given: Mapping[str, Any]) -> CheckSettings:
    """Check settings from the options of ``check``.

    Raises
    ------
    SettingError
        A value that is not allowed, or hardly meant without ``--force``.
    """
    refuse_old_options(given)
    force = bool(given["force"])
    changes = read_set(given["set"], CHECK_TABLES, force=force)
    changes |= read_options(CHECK_KEYS, given, force=force)
    areas_file = given["areas_file"]
    if areas_file is not None:
        _refuse_area_settings(given, changes)
    changes |= _landmarks(given, changes)
    tolerances = CheckSettings().tolerances.changed(read_tolerances(given["tolerance"], force))
    changes["check.tolerances.tolerances_um"] = tolerances.tolerances_um
    changes["check.tolerances.scanner_um"] = read_uncertainties(given["scanner_um"], force)
    changes["check.marks"] = tuple(read_mark(text, force) for text in given["support_mark"])
    changes["check.areas_file"] = areas_file
    return _changed(changes, force)


def design_settings(given: Mapping[str, Any]) -> CheckSettings:
    """Check settings from the options of ``areas``, which looks at a design alone."""
    refuse_old_options(given)
    force = bool(given["force"])
    changes = read_set(given["set"], DESIGN_TABLES, force=force)
    return _changed(changes | read_options(DESIGN_KEYS, given, force=force), force)


def _changed(changes: Mapping[str, Any], force: bool) -> CheckSettings:
    own = {target.removeprefix("check."): value for target, value in changes.items()}
    settings: CheckSettings = changed(CheckSettings(), {**own, FORCE.name: force})
    return settings


def _refuse_area_settings(given: Mapping[str, Any], changes: Mapping[str, Any]) -> None:
    for name, setting in declared_in(AreaSettings).items():
        if f"check.areas.{name}" in changes:
            own = name in _AREA_NAMES and given[name] is not None
            raise SettingError(
                "Areas from a file are used as they are.",
                subject=option_name(setting) if own else f"--set {name}",
                remedy="Leave it out, or give it to 'cuspwise areas' when making the file.",
            )


def _landmarks(given: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    from ..superimpose.landmarks import read_landmarks

    start = changes.get("check.superimpose.start") == "landmarks"
    if start != (given["landmarks"] is not None):
        raise SettingError(
            "Landmarks need both '--start landmarks' and a file.",
            subject="--landmarks",
            remedy="Give '--start landmarks --landmarks FILE', or neither.",
        )
    if not start:
        return {}
    pairs = read_landmarks(given["landmarks"])
    return {
        "check.superimpose.landmarks_design_mm": pairs.design_mm.tolist(),
        "check.superimpose.landmarks_scan_mm": pairs.scan_mm.tolist(),
    }


def read_tolerances(texts: Iterable[str], force: bool = False) -> dict[str, float | None]:
    """Read ``AREA=UM`` options; ``AREA=none`` takes a tolerance away."""
    found: dict[str, float | None] = {}
    for text in texts:
        area, equals, limit = (part.strip() for part in text.partition("="))
        if not equals or not area:
            raise SettingError(
                f"{text!r} is not a tolerance.",
                subject="--tolerance",
                remedy="Give an area and micrometres, such as '--tolerance margin=15'.",
            )
        option = f"--tolerance {area}"
        none = limit == "none"
        found[area] = None if none else _number(_free(TOLERANCES), limit, option, force)
    return found


def read_uncertainties(texts: Iterable[str], force: bool = False) -> dict[str, float]:
    """Read ``UM`` and ``AREA=UM`` options."""
    found: dict[str, float] = {}
    setting = _free(SCANNER)
    for text in texts:
        area, _, value = (part.strip() for part in text.rpartition("="))
        option = f"{option_name(setting)} {area}".strip()
        found[area or ANY_AREA] = _number(setting, value, option, force)
    return found


def read_mark(text: str, force: bool = False) -> SupportMark:
    """Read ``NAME=X,Y,Z,RADIUS`` or ``NAME=X,Y,Z,RADIUS,KIND``."""
    name, _, rest = text.partition("=")
    parts = [part.strip() for part in rest.split(",")]
    if len(parts) not in (4, 5):
        raise _no_mark(text)
    declared = declared_in(SupportMark)
    option = f"--support-mark {name.strip()}"
    try:
        centre = Spot().of_text(",".join(parts[:3]))
    except NotAllowed:
        raise _no_mark(text) from None
    radius = _number(declared["radius_mm"], parts[3], option, force)
    kind = read_option(
        declared["kind"], parts[4] if len(parts) == 5 else "support", force=force, option=option
    )
    return SupportMark(name.strip(), centre, radius, kind)  # type: ignore[arg-type]


def _no_mark(text: str) -> SettingError:
    return SettingError(
        f"{text!r} is not a support mark.",
        subject="--support-mark",
        remedy="Give a name, three coordinates and a radius in mm, and perhaps a kind, such as "
        "'--support-mark lingual=1.2,-4.5,3,0.5' or '--support-mark 2=0,5,3,0.6,sprue'.",
    )


def _free(section: Section) -> Setting:
    """Return the setting that the keys of a table with one number per area stand for."""
    assert section.free is not None
    assert section.free.setting is not None
    return section.free.setting


def _number(setting: Setting, text: str, option: str, force: bool) -> float:
    number: float = read_option(setting, text, force=force, option=option)
    return number

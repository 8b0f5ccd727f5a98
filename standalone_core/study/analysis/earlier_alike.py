"""Whether an earlier study was measured as this one was: design, settings, areas."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from ...records import plain
from ...words.names import the_area
from ...words.text import capital, micrometres
from ..file.check_sections import MEASURING, SUPERIMPOSITION
from ..file.earlier_study import EarlierStudy, flat
from ..file.keys import Key
from ..file.new_text import toml_text
from ..measuring.measured_on import measured_on
from ..measuring.results import StudyRun

JUDGES_ONLY = frozenset(
    {
        *("design_unit", "scan_unit", "rival_ratio", "rival_floor_mm", "weak_share"),
        *("mirror_check_share", "mirror_ratio", "doubt_mm", "wrong_part_mm", "close_mm"),
        *("least_close", "size_tolerance", "other_size", "least_overlap"),
        "direction",  # both stand in every study's file, and this study's is compared
    }
)
"""Settings of measuring that change which scans are taken or doubted, and no number of those that
are: a scan in a wrong unit would have another size than the design, and be left out."""

_LANDMARKS = ("superimpose.landmarks_scan_mm", "superimpose.landmarks_design_mm")
_ABSENT = object()

OTHER_DESIGN = (
    "Only crowns of one design can be compared, point by point of its surface. If it is the same "
    "design, exported anew, run the earlier study anew with this file."
)
OTHER_SETTINGS = "Give both study files the same settings, and run the one that was changed anew."
OTHER_AREAS = (
    "Save the areas once with 'cuspwise areas', name that file in both study files ([areas] file) "
    "and run both anew."
)


@dataclass(frozen=True)
class Alike:
    """How far two studies were measured alike.

    Attributes
    ----------
    why_not : tuple of str
        Why nothing of them can be compared; empty if something can.
    remedies : tuple of str
        What can be done about it.
    areas : tuple of str
        Those that are the same in both.
    notes : tuple of str
        What else is not the same.
    """

    why_not: tuple[str, ...]
    remedies: tuple[str, ...]
    areas: tuple[str, ...]
    notes: tuple[str, ...]


def how_alike(run: StudyRun, earlier: EarlierStudy, areas: tuple[str, ...]) -> Alike:
    """Tell what of a study can be compared with an earlier one, and why the rest cannot.

    Parameters
    ----------
    run : StudyRun
    earlier : EarlierStudy
    areas : tuple of str
        Those of the run that are to be compared.
    """
    now = measured_on(run.area_set)
    reasons: dict[str, str] = {}
    if now["design_checksum"] != earlier.design_checksum:
        reasons[_design_words(run, earlier)] = OTHER_DESIGN
    counting, judging = _settings(plain(run.plan.check), earlier.check)
    if counting:
        told = " ".join(counting)
        reasons[f"Settings that change the numbers are not the same. {told}"] = OTHER_SETTINGS
    notes = [f"Not the same, though it changes no number: {text}" for text in judging]
    same = _same(now["areas"], earlier.areas)
    if not reasons:
        fitted = [name for name in run.plan.check.fit_areas if name not in same]
        for name in fitted:
            reasons[f"The best fit ran on another area. {_area_words(name, run, earlier)}"] = (
                OTHER_AREAS
            )
        notes += [_area_words(name, run, earlier) for name in areas if name not in same]
        if not any(name in same for name in areas):
            reasons[" ".join(["No area is the same.", *notes])] = OTHER_AREAS
    return Alike(
        why_not=tuple(reasons),
        remedies=tuple(dict.fromkeys(reasons.values())),
        areas=tuple(name for name in areas if name in same),
        notes=tuple(notes),
    )


def _design_words(run: StudyRun, earlier: EarlierStudy) -> str:
    mesh = run.design.mesh
    return (
        f"The design is another one, by the checksum of its surface: {earlier.design} "
        f"({earlier.design_triangles:,} triangles) earlier, {mesh.name} ({len(mesh):,} "
        f"triangles) now."
    )


def _same(now: Mapping[str, str], earlier: Mapping[str, str]) -> frozenset[str]:
    return frozenset(name for name, checksum in now.items() if earlier.get(name) == checksum)


def _area_words(name: str, run: StudyRun, earlier: EarlierStudy) -> str:
    if name not in run.area_set.areas or name not in earlier.areas:
        when = "earlier" if name not in earlier.areas else "now"
        return f"Not compared: {the_area(name)}, which is not there {when}."
    sizes = earlier.areas_mm2.get(name, float("nan")), run.area_set.area_mm2(name)
    before, now = (micrometres(size, digits=2) for size in sizes)
    return (
        f"Not compared: {the_area(name)}, which is not made of the same measuring points "
        f"({before} mm² earlier, {now} mm² now)."
    )


def _settings(
    check: Mapping[str, Any], earlier: Mapping[str, Any]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Name the settings of measuring that are not the same: those that change numbers first."""
    now = {dotted: v for name, value in check.items() for dotted, v in flat(value, name)}
    counting: list[str] = []
    judging: list[str] = []
    for key in (*MEASURING.keys, *SUPERIMPOSITION.keys):
        dotted = key.target.removeprefix("check.")
        if dotted and now[dotted] != earlier.get(dotted, _ABSENT):
            text = _setting_words(key, earlier.get(dotted, _ABSENT), now[dotted])
            (judging if key.name in JUDGES_ONLY else counting).append(text)
    counting += _landmark_words(now, earlier)
    return tuple(counting), tuple(judging)


def _setting_words(key: Key, earlier: Any, now: Any) -> str:
    meaning = key.help.split(". ")[0].removesuffix(".")
    before = "not noted" if earlier is _ABSENT else _value_words(earlier)
    return f"{capital(meaning)} ({key.name}): {before} earlier, {_value_words(now)} now."


def _value_words(value: Any) -> str:
    if value is None or value == []:
        return "none"
    return toml_text(value).replace('"', "") if not isinstance(value, Mapping) else "unreadable"


def _landmark_words(now: Mapping[str, Any], earlier: Mapping[str, Any]) -> Iterator[str]:
    """Name other landmarks, where they decide how a scan lies; a best fit leads away from them."""
    if now["superimpose.refine"] or now["superimpose.start"] != "landmarks":
        return
    if any(now[name] != earlier.get(name, _ABSENT) for name in _LANDMARKS):
        yield "Paired points that scans were laid on (landmarks): other ones earlier."

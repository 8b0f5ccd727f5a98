"""What the keys of a study file must keep to together, and the areas that they may name."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from ...allowed import no_such
from ...areas.area_set import AREA_NAMES
from ...areas.files import FORMAT
from ...areas.support_marks import SUPPORTS, is_support, new_area_name
from ...deviation.tolerances import ANY_AREA
from ...errors import CuspwiseError, SettingError
from ...setting import changed
from ...superimpose.landmarks import LandmarkPairs, read_landmarks
from ...words.text import listed
from ..fit_plan import FIT_MEASURES
from ..plan import EVERY_AREA, MEASURES, GroupPlan, area_and_measure
from .check_sections import FORCE
from .fit_files import pairing_notes
from .fit_sections import FORCE_FIT
from .keys import NOT_SET
from .place import Place
from .study_sections import SETTINGS
from .value_types import note

Values = Mapping[str, Mapping[str, Any]]

NEED_MESIAL = ("contact_mesial", "contact_distal")
_FEWEST_FOR_SPREAD = 3


def check_together(values: Values, place: Place, marks: Sequence[str] = ()) -> None:
    """Note what does not go together, though each value is allowed by itself.

    Parameters
    ----------
    values : mapping of table name to its values
    place : Place
        Of the whole file.
    marks : sequence of str
        The areas of the file's own support marks.
    """
    _check_areas_file_alone(values["areas"], place / "areas")
    _check_area_names(values, place, marks)
    _check_primary(values["analysis"], place / "analysis")
    _check_secondary(values["analysis"], place / "analysis" / "secondary")
    _check_rules(values, place)


def plan_notes(groups: tuple[GroupPlan, ...]) -> tuple[str, ...]:
    """Say what the groups at hand cannot show."""
    found: list[str] = []
    if len(groups) == 1:
        found.append("There is one group: trueness and precision, but nothing to compare it with.")
    for group in groups:
        if len(group.scans) == 1:
            found.append(f"Group {group.name} has one crown, which shows no spread.")
        elif len(group.scans) < _FEWEST_FOR_SPREAD:
            found.append(f"Group {group.name} has only two crowns.")
    return (*found, *pairing_notes(groups))


def landmark_pairs(values: Values, place: Place) -> LandmarkPairs | None:
    """Read the landmarks of a study, if it starts from them; note mistakes."""
    given = values["superimposition"]
    starts = given.get("start") == "landmarks"
    file = given.get("landmarks")
    if starts and file is None and (*place.path, "landmarks") not in place.lines:
        (place / "start").wrong(
            "Landmarks need a file.", 'Give landmarks = "FILE.csv", or start = "auto".'
        )
    if file is None:
        return None
    if not starts:
        (place / "landmarks").wrong(
            "Landmarks are not used.", 'Give start = "landmarks" too, or leave them out.'
        )
        return None
    try:
        return read_landmarks(file)
    except CuspwiseError as error:
        (place / "landmarks").wrong(f"{file.name}: {error.reason}", error.remedy)
        return None


def areas_in_file(file: Path, place: Place) -> tuple[str, ...]:
    """Return the names of the areas that an areas file holds; note if it is none."""
    try:
        document = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        document = None
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        place.wrong(f"{file.name} is not an areas file.", "Make one with 'cuspwise areas'.")
        return ()
    areas = document.get("areas")
    names = tuple(map(new_area_name, areas)) if isinstance(areas, dict) else ()
    return (*names, SUPPORTS) if any(map(is_support, names)) else names


def _check_areas_file_alone(given: Mapping[str, Any], place: Place) -> None:
    if "file" not in given:
        return
    for name in given:
        if name != "file":
            (place / name).wrong(
                "Areas from a file are used as they are.",
                "Leave it out, or give it to 'cuspwise areas' when making the file.",
            )


def _check_area_names(values: Values, place: Place, marks: Sequence[str]) -> None:
    """Note areas that cannot exist, wherever a study file names one."""
    areas = values["areas"]
    known: Iterable[str] = (*AREA_NAMES, *marks, *([SUPPORTS] if marks else []))
    if "file" in areas:
        known = (*known, *areas_in_file(areas["file"], place / "areas" / "file"))
    names = tuple(dict.fromkeys(known))
    for here, name, wanted in _named_areas(values, place):
        if name not in names:
            note(no_such("area", name, names), here)
        elif wanted:
            refuse_without_mesial(name, areas, here)


def refuse_without_mesial(area: str, areas: Mapping[str, Any], place: Place) -> None:
    """Note an area that needs directions, if the table of areas gives none."""
    if area in NEED_MESIAL and not {"file", "mesial_direction"} & set(areas):
        place.wrong(
            "Contact areas are found only if the mesial direction is known.",
            "Give mesial_direction below [areas].",
        )


def _named_areas(values: Values, place: Place) -> list[tuple[Place, str, bool]]:
    """Every place that names an area, the name, and whether the area must be there to be used."""
    analysis, fit = place / "analysis", place / "superimposition" / "fit_areas"
    found = [
        (analysis / "areas" / i, name, True)
        for i, name in enumerate(values["analysis"].get("areas", ()))
    ]
    found += [
        (fit / i, name, True)
        for i, name in enumerate(values["superimposition"].get("fit_areas", ()))
    ]
    of_fit = values["analysis"].get("primary_measure") in FIT_MEASURES  # has areas of its own
    if "primary_area" in values["analysis"] and not of_fit:
        found.append((analysis / "primary_area", values["analysis"]["primary_area"], True))
    found += [
        (analysis / "secondary" / i, area, True)
        for i, area, measure in secondary_places(values["analysis"])
        if measure not in FIT_MEASURES
    ]
    for table in ("tolerances_um", "equivalence_um", "scanner_um"):
        found += [(place / table / name, name, False) for name in values[table]]
    every = [("equivalence_um", EVERY_AREA), ("scanner_um", ANY_AREA)]
    return [entry for entry in found if entry[0].path[-2:] not in every]


def _check_primary(given: Mapping[str, Any], place: Place) -> None:
    """The primary comparison must be among those that are made; that of fit is checked there."""
    if given.get("primary_measure") in FIT_MEASURES:
        return
    wrong = {mistake.key for mistake in place.mistakes}
    for key, names in (("primary_area", "areas"), ("primary_measure", "measures")):
        if {(place / key).key, (place / names).key} & wrong:
            continue
        chosen = given.get(names, getattr(NOT_SET, names))
        primary = given.get(key, getattr(NOT_SET.analysis, key))
        if chosen and primary not in chosen:
            usual = "" if key in given else ", which it is if left out,"
            (place / key).wrong(
                f"{primary}{usual} is not among {names}.",
                f"Give {listed(chosen, 'or')}, or add {primary} to {names}.",
            )


def secondary_places(given: Mapping[str, Any]) -> list[tuple[int, str, str]]:
    """Return place in the list, area and measure of each secondary comparison that a file names.

    Without those that are wrong by themselves; the usual ones, if it names none, need not be there.
    """
    split = [area_and_measure(name) for name in given.get("secondary", ()) if name.strip()]
    known = (*MEASURES, *FIT_MEASURES)
    return [(i, *one) for i, one in enumerate(split) if one[0] and one[1] in known]


def _check_secondary(given: Mapping[str, Any], place: Place) -> None:
    """Those that a file names must be among what is compared; those of fit are checked there."""
    for i, area, measure in secondary_places(given):
        if measure in FIT_MEASURES:
            continue
        for name, names in ((area, "areas"), (measure, "measures")):
            chosen = given.get(names, getattr(NOT_SET, names))
            if chosen and name not in chosen:
                (place / i).wrong(
                    f"{name} is not among {names}.",
                    f"Give {listed(chosen, 'or')}, or add {name} to {names}.",
                )


def _check_rules(values: Values, place: Place) -> None:
    """Note settings that are allowed one by one and break a rule together."""
    for section in SETTINGS:
        changes = {
            key.target: values[section.name][key.name]
            for key in section.keys
            if key.target and key.name in values[section.name]
        }
        # Whether there are landmarks to start from is seen where their file is read.
        changes.pop("check.superimpose.start", None)
        try:
            changed(NOT_SET, {**changes, FORCE.target: True, FORCE_FIT: True})
        except SettingError as problem:
            here = place / section.name / problem.subject
            if here.key not in {mistake.key for mistake in place.mistakes}:
                here.wrong(problem.reason, problem.remedy)

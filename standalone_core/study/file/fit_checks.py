"""What a study file says of fit, as a whole: what it sets, and what contradicts itself."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from ...allowed import no_such
from ...suggestion import suggestion
from ...words.text import listed
from ..crown_names import crown_names
from ..fit_plan import FIT_MEASURES, FitPlan
from ..plan import GroupPlan
from .cross_checks import NEED_MESIAL, refuse_without_mesial, secondary_places
from .fit_files import refuse_shared
from .fit_sections import DIES, FIT, FIT_EQUIVALENCE, FIT_SECTIONS, SEATED
from .groups import find_meshes
from .keys import NOT_SET
from .place import Place
from .value_types import note

Values = Mapping[str, Mapping[str, Any]]

_NAME_A_DIE = f'Give die = "FILE" below [{FIT.name}], or {DIES.name} = ["FILES"] to every group.'
_LIST_A_DIE = f'Give die = "FILE" below [{FIT.name}], or a column die to the list of crowns.'
_MOST_NAMES = 8


def read_fit(
    values: Values, groups: Sequence[GroupPlan], place: Place, *, whole: bool = True
) -> dict[str, Any]:
    """Check what a study file says of fit; note every mistake.

    Parameters
    ----------
    values : mapping of table name to its values
    groups : sequence of GroupPlan
        As far as they could be read.
    place : Place
        Of the whole file.
    whole : bool
        Whether the groups hold the names of all crowns.

    Returns
    -------
    dict
        What a plan gets beside the values of the tables: the neighbours; or that there is no
        fit, if no die is named and nothing else is said of fit.
    """
    given, fit = values[FIT.name], place / FIT.name
    noted = len(place.mistakes)
    for measure in values[FIT_EQUIVALENCE.name]:
        if measure not in FIT_MEASURES:
            problem = no_such("fit measure", measure, tuple(FIT_MEASURES))
            note(problem, place / FIT_EQUIVALENCE.name / measure)
    if not _wanted(values, groups, place):
        _check_order(values, place, wanted=False)
        return {"fit": None}
    neighbours = find_meshes("tooth", given.get("neighbours", ()), fit / "neighbours")
    refuse_shared(values, groups, neighbours, place)
    if whole:
        _check_crowns(given, groups, place)
    _check_finish_line(groups, place)
    _check_order(values, place, wanted=True)
    in_tables = tuple(section.name for section in FIT_SECTIONS)
    if len(place.mistakes) == noted and not any(
        mistake.key.startswith(in_tables) for mistake in place.mistakes
    ):
        _refuse_no_die(given, groups, place)
    return {"fit.neighbours": neighbours}


def _there(place: Place) -> bool:
    """Whether a key is in the file, be its value right or wrong."""
    return place.path in place.lines


def _group_has(group: GroupPlan, key: str, place: Place) -> bool:
    """Whether dies or seated scans are named of a group, in its table or in a list of crowns."""
    return bool(getattr(group, key)) or _there(place / "groups" / group.name / key)


def _wanted(values: Values, groups: Sequence[GroupPlan], place: Place) -> bool:
    """Whether anything is said of fit, be it right or wrong."""
    return (
        any(values[section.name] for section in FIT_SECTIONS)
        or _there(place / FIT.name / "die")
        or any(_group_has(g, key.name, place) for g in groups for key in (DIES, SEATED))
    )


def _refuse_no_die(given: Mapping[str, Any], groups: Sequence[GroupPlan], place: Place) -> None:
    """Note groups whose crowns are to be seated and have no die."""
    remedy = _LIST_A_DIE if any(group.crowns for group in groups) else _NAME_A_DIE
    if "die" in given:
        return
    if not any(_group_has(group, DIES.name, place) for group in groups):
        (place / FIT.name).wrong("There is no die for any crown.", remedy)
        return
    names, chosen = crown_names(groups), given.get("crowns", ())
    for group in groups:
        seated = [scan for scan in group.scans if not chosen or names[scan] in chosen]
        if seated and not _group_has(group, DIES.name, place):
            (place / "groups" / group.name).wrong(
                f"It has no {DIES.name}, and there is no die of all crowns.",
                f"{remedy} Or list the crowns that are to be seated below [{FIT.name}].",
            )


def _check_crowns(given: Mapping[str, Any], groups: Sequence[GroupPlan], place: Place) -> None:
    """Note crowns that are not in the study."""
    names = tuple(crown_names(groups).values())
    for at, crown in enumerate(given.get("crowns", ())):
        if crown not in names:
            reason = no_such("crown", crown, names).reason
            (place / FIT.name / "crowns" / at).wrong(reason, _crowns_meant(crown, names))


def _crowns_meant(crown: str, names: Sequence[str]) -> str:
    """Ask for the crowns that a name was probably meant for, or list some."""
    in_groups = [name for name in names if name.endswith(f"/{crown}")]
    if in_groups:
        return f"Did you mean {listed(in_groups, 'or')}?"
    some = f"{', '.join(names[:_MOST_NAMES])}{' …' if len(names) > _MOST_NAMES else ''}"
    return suggestion(crown, names) or f"Choose from {some}."


def _check_finish_line(groups: Sequence[GroupPlan], place: Place) -> None:
    """The one finish line belongs to the one die."""
    line = place / FIT.name / "finish_line"
    own = bool(groups) and all(_group_has(group, DIES.name, place) for group in groups)
    if _there(line) and (own or not _there(place / FIT.name / "die")):
        line.wrong(
            "It is the finish line of the one die of all crowns, which no crown sits on.",
            "Leave it out: the design's margin line is carried over to each die.",
        )


def _check_order(values: Values, place: Place, *, wanted: bool) -> None:
    """Comparisons of fit in the study's order must be ones that are made."""
    given, analysis = values["analysis"], place / "analysis"
    primary = given.get("primary_area", NOT_SET.analysis.primary_area)
    named = "primary_area" in given
    at = _At(analysis / "primary_measure", analysis / "primary_area", "primary_measure", named)
    _check_compared(values, primary, given.get("primary_measure", ""), at, wanted=wanted)
    for i, area, measure in secondary_places(given):
        here = analysis / "secondary" / i
        _check_compared(values, area, measure, _At(here, here, "comparison"), wanted=wanted)


class _At(NamedTuple):
    """Where a comparison's measure and area are named, as what, and whether its area is named."""

    measure: Place
    area: Place
    thing: str
    area_named: bool = True


def _check_compared(values: Values, area: str, measure: str, at: _At, *, wanted: bool) -> None:
    if measure not in FIT_MEASURES:
        return
    if not wanted:
        at.measure.wrong(f"{measure} is a measure of fit, and no crown is seated.", _NAME_A_DIE)
        return
    if area in FIT_MEASURES[measure]:
        refuse_without_mesial(area, values["areas"], at.area)
    else:
        usual = "" if at.area_named else ", the usual area"
        where = listed([f'"{name}"' for name in FIT_MEASURES[measure]], "or")
        at.area.wrong(f"{measure} is not taken of {area}{usual}.", f"Give {where}.")
    for reason, remedy in _why_never_measured(measure, area, values[FIT.name]):
        at.measure.wrong(reason, f"Give {remedy} below [{FIT.name}], or another {at.thing}.")


def _why_never_measured(
    measure: str, area: str, fit: Mapping[str, Any]
) -> Iterator[tuple[str, str]]:
    """Yield why a measure of fit has no value in any crown, and what would give it one."""
    measures = fit.get("measures", FitPlan().measures)
    if measure not in measures:
        yield f"It is not among the measures of [{FIT.name}].", f'"{measure}" among measures'
    elsewhere = fit.get("in_design_frame") is False
    if elsewhere and (measure == "above_intended_um" or area in NEED_MESIAL):
        what = "The intended seat is" if measure == "above_intended_um" else "Mesial and distal are"
        yield f"{what} known only of dies in the design's frame.", "in_design_frame = true"
    if measure == "contact_gap_um" and not {"neighbours", "antagonist"} & set(fit):
        yield "There is no tooth beside or against the crown.", "neighbours or antagonist"

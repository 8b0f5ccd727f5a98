"""Areas that somebody made, completed with those that can be found automatically."""

from __future__ import annotations

from dataclasses import replace

from ..progress import Steps, scaled
from .area_set import AREA_NAMES, AreaSet, MarginLine
from .find import areas_of_layout_steps
from .layout import find_layout_steps, with_margin_line
from .off_surface import refuse_line_off_surface


def completed_steps(held: AreaSet) -> Steps[AreaSet]:
    """Find what a set of areas does not hold, neither as an area nor as missing.

    A margin line of somebody's own makes all areas anew but those of somebody's own; a path of
    insertion that is held counts for what is found.

    Parameters
    ----------
    held : AreaSet
        Nothing is found where it holds everything already.

    Returns
    -------
    AreaSet

    Raises
    ------
    AreaError
        The margin line lies off the surface or does not part it.
    """
    line = held.margin_line
    if line is not None and line.origin != "automatic":
        refuse_line_off_surface(line, held.evaluation)
        anew = yield from _found_steps(held, line)
        return anew.replaced(area for area in held.areas.values() if area.origin != "automatic")
    if _is_whole(held):
        return held
    found = yield from _found_steps(held, None)
    areas = {name: area for name, area in found.areas.items() if name not in held.missing}
    areas |= held.areas
    missing = {**found.missing, **held.missing}
    return replace(
        found,
        areas=areas,
        margin_line=held.margin_line or found.margin_line,
        missing={name: why for name, why in missing.items() if name not in areas},
    )


def _is_whole(held: AreaSet) -> bool:
    """Return whether nothing is left to be found."""
    return (
        {*held.areas, *held.missing}.issuperset(AREA_NAMES)
        and (held.margin_line is not None or "margin" in held.missing)
        and (held.insertion is not None or "occlusal" in held.missing)
    )


def _found_steps(held: AreaSet, line: MarginLine | None) -> Steps[AreaSet]:
    """Find all areas, along a margin line and a path of insertion if these are given."""
    evaluation, settings = held.evaluation, held.settings
    layout = yield from scaled(find_layout_steps(evaluation, settings), 0.0, 0.5)
    if held.insertion is not None and settings.insertion is None:
        layout = replace(layout, insertion=held.insertion)
    if line is not None:
        layout = with_margin_line(evaluation, layout, line)
    return (yield from scaled(areas_of_layout_steps(evaluation, layout, settings), 0.5, 1.0))

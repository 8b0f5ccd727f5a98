"""Why a crown deviates, for the terminal."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...causes.words import CAUTION
from ...words.names import area_words
from ...words.text import micrometres
from .causes_words import (
    PREDICTED,
    change_lines,
    correction_lines,
    place_lines,
    probability_words,
    rms_words,
    size_words,
    title,
    told,
    without_words,
)

if TYPE_CHECKING:
    from ...causes.result import CausesResult


PLACES_SHOWN = 3


def why_view(causes: CausesResult) -> RenderableType:
    """Return the section "Why" of a check: sentences, what to change, the cautions."""
    parts: list[RenderableType] = [Text("\nWhy", style="bold"), _lines(told(causes))]
    if causes.stated:
        lines = (*change_lines(causes), *place_lines(causes, PLACES_SHOWN), CAUTION)
        parts.append(_lines(lines))
    elif causes.marks:
        parts.append(_lines(place_lines(causes, PLACES_SHOWN)))
    if causes.notes:
        parts.append(_lines(causes.notes, style="dim"))
    return Group(*parts)


def causes_view(causes: CausesResult) -> RenderableType:
    """Return everything about a crown's causes: sentences first, then sizes and predictions."""
    parts: list[RenderableType] = [Text("Why it deviates", style="bold"), _lines(told(causes))]
    if causes.causes:
        parts += [Text(), causes_table(causes)]
    places = place_lines(causes)
    if places:
        parts += [Text("\nPlaces", style="bold"), _lines(places)]
    if causes.notes:
        parts += [Text("\nWhat could not be looked for", style="bold"), _lines(causes.notes)]
    changes = (*change_lines(causes), *correction_lines(causes))
    if changes:
        parts += [Text("\nWhat to change", style="bold"), _lines(changes)]
    if causes.predicted:
        parts += [Text(), predicted_table(causes)]
    if causes.stated:
        parts.append(Text(f"\n{CAUTION}", style="dim"))
    return Group(*parts)


def causes_table(causes: CausesResult) -> Table:
    """Return the causes, stated ones first, with size, root mean square and probability."""
    table = _table("Causes, each with its 95 % interval")
    table.caption = "In brackets: looked for and not shown by these data."
    table.add_column("Cause", overflow="fold", min_width=14)
    table.add_column("size", justify="right", overflow="fold")
    table.add_column("µm RMS", justify="right", overflow="fold")
    table.add_column("proba-\nbility", justify="right", no_wrap=True)
    for cause in causes.causes:
        name = title(cause)
        table.add_row(
            Text(name if cause.stated else f"({name})"),
            size_words(cause),
            rms_words(cause) if cause.stated else "",
            probability_words(cause.probability),
            style="" if cause.stated else "dim",
        )
    return table


def predicted_table(causes: CausesResult) -> Table:
    """Return what areas would measure without the stated causes."""
    table = _table("What would remain")
    table.caption = PREDICTED
    table.add_column("Without", overflow="fold", min_width=14)
    table.add_column("Area", overflow="fold")
    for column in ("now", "predicted", "tol."):
        table.add_column(column, justify="right", no_wrap=True)
    table.add_column("would be", no_wrap=True)
    last = ""
    for row in causes.predicted:
        table.add_row(
            Text("" if row.without == last else without_words(row.without, causes)),
            Text(area_words(row.area)),
            micrometres(row.mean_abs_um),
            micrometres(row.predicted_um),
            micrometres(row.limit_um, digits=0),
            "within" if row.would_meet else "outside",
        )
        last = row.without
    return table


def _table(name: str) -> Table:
    return Table(
        title=name,
        box=box.SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
        title_justify="left",
        title_style="bold",
        caption_justify="left",
        pad_edge=False,
    )


def _lines(texts: Iterable[str], style: str = "") -> RenderableType:
    return Group(*(Padding(Text(text, style=style), (0, 0, 0, 2)) for text in texts))

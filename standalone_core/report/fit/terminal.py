"""A fit for the terminal, as ``rich`` renderables; readable at 80 columns."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...fit.judged import Judged, fit_headline, judged, judged_walls
from ...fit.sentences import (
    AREA_WORDS,
    FIT_CAUTIONS,
    STRENGTH_WORDS,
    all_warnings,
    answer_lines,
    contact_lines,
    margin_details,
    missing_lines,
    seat_lines,
    walls_headline,
)
from ...shares import share_words
from ...words.headline import Headline
from ...words.names import NOT_DECIDABLE, OUTSIDE, WITHIN
from ...words.text import capital, micrometres
from ..check.sentences import SHORT_VERDICTS

if TYPE_CHECKING:
    from ...fit.contacts.result import Contacts
    from ...fit.gap.result import GapMap
    from ...fit.result import FitResult
    from ...fit.seat.result import Seat
    from ...fit.walls.result import Walls

_STYLES = {WITHIN: "bold cyan", OUTSIDE: "bold magenta", NOT_DECIDABLE: "bold yellow"}
_SIGNS = {WITHIN: "✓", OUTSIDE: "✗", NOT_DECIDABLE: "?"}


def fit_view(result: FitResult) -> RenderableType:
    """Return everything that a fit has to say, the verdict first."""
    parts: list[RenderableType] = [
        _headline(fit_headline(result)),
        _lines(answer_lines(result)),
    ]
    found = judged(result)
    if found:
        parts += [Text(), judged_table(found)]
    if result.seat is not None:
        parts += [_title("Seat"), _lines(seat_lines(result.seat)[1:]), *_seat_tables(result.seat)]
    if result.gap is not None:
        parts += [Text(), gap_table(result.gap)]
    if result.margin is not None:
        parts += [_title("Along the margin"), _lines(margin_details(result.margin))]
    if result.walls is not None:
        parts += _thinnest(result.walls)
    if result.contacts is not None:
        parts += _contacts(result.contacts)
    parts += _missing(missing_lines(result))
    return Group(*parts, *_end(all_warnings(result), FIT_CAUTIONS[:4]))


def walls_view(walls: Walls) -> RenderableType:
    """Return what a crown's walls come to."""
    return Group(
        _headline(walls_headline(walls)),
        Text(),
        judged_table(judged_walls(walls)),
        *_thinnest(walls),
        *_end(walls.warnings, (*FIT_CAUTIONS[:2], FIT_CAUTIONS[3])),
    )


def judged_table(found: Iterable[Judged]) -> Table:
    """Return what is held against a limit, a row each."""
    table = _table("Against the limits")
    table.add_column("")
    table.add_column("value", justify="right", no_wrap=True)
    table.add_column("limit", no_wrap=True)
    table.add_column("Verdict", no_wrap=True)
    table.add_column("", overflow="fold")
    for one in found:
        verdict = Text(
            f"{_SIGNS[one.verdict]} {SHORT_VERDICTS[one.verdict]}", style=_STYLES[one.verdict]
        )
        value = f"{one.value_words} {one.unit}"
        table.add_row(Text(one.title), value, one.limit_words, verdict, Text(one.note))
    return table


def gap_table(gap: GapMap) -> Table:
    """Return the gap inside, one row per part."""
    table = _table("Gap from intaglio to die, in µm (−: overlap)")
    table.add_column("Part", overflow="fold")
    for title in ("mean", "P5", "P50", "P95", "cement\nmm³", "against\nthe space", "cover-\nage"):
        table.add_column(title, justify="right", no_wrap=True)
    for row in gap.areas:
        table.add_row(
            Text(AREA_WORDS.get(row.area, row.area)),
            micrometres(row.mean_um),
            micrometres(row.p5_um),
            micrometres(row.p50_um),
            micrometres(row.p95_um),
            f"{row.volume_mm3:.2f}",
            micrometres(row.against_space_um, signed=True),
            share_words(row.coverage),
        )
    return table


def _seat_tables(seat: Seat) -> list[RenderableType]:
    parts: list[RenderableType] = []
    if seat.spots:
        spots = _table("Contact spots")
        spots.add_column("load", justify="right", no_wrap=True)
        spots.add_column("Part")
        spots.add_column("Where", overflow="fold")
        spots.add_column("x, y, z on the crown, mm", justify="right", no_wrap=True)
        for spot in seat.spots:
            spots.add_row(
                share_words(spot.share),
                AREA_WORDS.get(spot.part, spot.part),
                Text(spot.where),
                _place(spot.crown_place_mm.tolist()),
            )
        parts += [Text(), spots]
    if seat.play:
        play = _table("Play and rocking, in µm")
        play.add_column("Load towards", overflow="fold")
        for title in ("play\nacross", "margin\nrises", "margin\ndrops"):
            play.add_column(title, justify="right", no_wrap=True)
        for one in seat.play:
            values = (one.across_um, one.rise_um, one.drop_um)
            play.add_row(Text(one.towards), *map(micrometres, values))
        parts += [Text(), play]
    return parts


def _thinnest(walls: Walls) -> list[RenderableType]:
    if not walls.thinnest:
        return []
    table = _table("Thinnest places of the walls")
    table.add_column("mm", justify="right", no_wrap=True)
    table.add_column("Part")
    table.add_column("Where", overflow="fold")
    table.add_column("x, y, z on the crown, mm", justify="right", no_wrap=True)
    for place in walls.thinnest:
        table.add_row(
            f"{place.thickness_mm:.3f}",
            AREA_WORDS.get(place.area, place.area),
            Text(place.where),
            _place(place.place_mm.tolist()),
        )
    return [Text(), table]


def _contacts(contacts: Contacts) -> list[RenderableType]:
    if not contacts.rows:
        return [_title("Contacts"), _lines(("No other tooth is near.",))]
    table = _table("Contacts, in µm (+: gap, −: overlap)")
    table.add_column("Tooth", overflow="fold")
    table.add_column("Side", overflow="fold")
    table.add_column("Strength", no_wrap=True)
    for title in ("gap", "designed", "change", "area\nmm²"):
        table.add_column(title, justify="right", no_wrap=True)
    for row in contacts.rows:
        table.add_row(
            Text(row.tooth),
            Text(row.side),
            STRENGTH_WORDS[row.strength],
            *(micrometres(x, signed=True) for x in (row.gap_um, row.designed_gap_um)),
            micrometres(row.change_um, signed=True),
            micrometres(row.area_mm2, digits=2),
        )
    return [Text(), table, _lines(contact_lines(contacts))]


def _missing(lines: Iterable[str]) -> list[RenderableType]:
    found = list(lines)
    return [_title("Not measured"), _lines(found)] if found else []


def _end(warnings: Iterable[str], cautions: Iterable[str]) -> list[RenderableType]:
    parts: list[RenderableType] = []
    told = list(warnings)
    if told:
        parts += [Text("\nRead before trusting the numbers", style="bold yellow"), _lines(told)]
    return [*parts, Text(f"\n{' '.join(cautions)}", style="dim")]


def _headline(said: Headline) -> Text:
    return Text(f"{_SIGNS[said.verdict]} {said.title}", style=_STYLES[said.verdict])


def _title(text: str) -> Text:
    return Text(f"\n{capital(text)}", style="bold")


def _table(title: str) -> Table:
    return Table(
        title=title,
        box=box.SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
        title_justify="left",
        title_style="bold",
        pad_edge=False,
    )


def _place(place: list[float]) -> str:
    return ", ".join(micrometres(x, digits=2) for x in place)


def _lines(texts: Iterable[str]) -> RenderableType:
    return Group(*(Padding(Text(text), (0, 0, 0, 2)) for text in texts))

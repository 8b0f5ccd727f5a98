"""A tray on the terminal: crowns × areas, and why a crown did not pass."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.measure import Measurement
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...shares import share_words
from ...tray.result import NOT_CHECKED, TrayCrown, TrayResult
from ...words.cautions import CAUTIONS
from ...words.names import NO_TOLERANCE, NOT_DECIDABLE, OUTSIDE, WITHIN, area_words
from ...words.text import NO_VALUE, count_words, micrometres
from .words import (
    SHORT_TRAY_WORDS,
    TRAY_SIGNS,
    about_words,
    areas_shown,
    limit_of,
    marks_words,
    reason_lines,
    shared_warnings,
    tray_title,
    why_words,
)

_STYLES = {
    WITHIN: "bold cyan",
    OUTSIDE: "bold magenta",
    NOT_DECIDABLE: "bold yellow",
    NOT_CHECKED: "bold red",
    NO_TOLERANCE: "",
}
_NAME_WIDTH = (10, 24)


def tray_view(result: TrayResult) -> RenderableType:
    """Lay out a tray for the terminal: the table, what did not pass and why, warnings."""
    failed = [crown for crown in result.crowns if not crown.passed]
    parts: list[RenderableType] = [CrownsByAreas(result)]
    for crown in failed:
        parts += [Text(), _crown_line(crown)]
        lines = [*reason_lines(crown)]
        if crown.causes:
            lines.append(f"Why: {why_words(crown)}")
        parts += [Padding(Text(line), (0, 0, 0, 2), expand=False) for line in lines]
    parts += _warnings(result)
    parts.append(Text(f"\n{' '.join(CAUTIONS[:2])}", style="dim"))
    return Group(*parts)


def _crown_line(crown: TrayCrown) -> Text:
    return Text.assemble((crown.name, "bold"), "  ", _verdict(crown.verdict))


def _warnings(result: TrayResult) -> list[RenderableType]:
    """Show the first warning of each kind, and count the crowns that have one like it."""
    kinds: dict[str, list[tuple[str, tuple[str, ...]]]] = {}
    for text, names in shared_warnings(result):
        kinds.setdefault(text.partition(":")[0], []).append((text, names))
    if not kinds:
        return []
    parts: list[RenderableType] = [Text("\nRead before trusting the numbers", style="bold yellow")]
    for alike in kinds.values():
        text, names = alike[0]
        others = {name for _, more in alike[1:] for name in more} - set(names)
        told = f"{about_words(result, names)}: {text}"
        if others:
            told += f" (And {count_words(len(others), 'more crown')}: see the page.)"
        parts.append(Padding(Text(told), (0, 0, 0, 2), expand=False))
    return parts


@dataclass(frozen=True)
class CrownsByAreas:
    """A table crowns × areas, or a paragraph per crown where the terminal is too narrow for it.

    Attributes
    ----------
    result : TrayResult
    """

    result: TrayResult

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        """Choose what fits."""
        table = crowns_table(self.result)
        needed = Measurement.get(console, options.update(width=10_000), table).minimum
        yield Text(tray_title(self.result), style="bold")
        yield table if needed <= options.max_width else crowns_list(self.result)


def crowns_table(result: TrayResult) -> Table:
    """Return a row per crown: its verdict, each area's mean absolute deviation, marks."""
    table = Table(
        caption="Mean absolute deviation, µm, in the judged direction; limits below the areas.",
        box=box.SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
        caption_justify="left",
        pad_edge=False,
    )
    low, high = _NAME_WIDTH
    table.add_column("Crown", overflow="fold", min_width=low, max_width=high)
    table.add_column("Verdict", no_wrap=True)
    shown = areas_shown(result)
    for area in shown:
        limit = limit_of(result, area)
        words = area_words(area).replace(" ", "\n")
        head = words if limit is None else f"{words}\n≤ {limit:g}"
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("cover-\nage", justify="right", no_wrap=True)
    marked = any(crown.marks for crown in result.crowns)
    if marked:
        table.add_column("Marks", overflow="fold", min_width=7)
    for crown in result.crowns:
        cells = [_area_cell(crown, area) for area in shown]
        marks = [marks_words(crown.marks)] if marked else []
        table.add_row(
            Text(crown.name), _verdict(crown.verdict), *cells, _least_coverage(crown), *marks
        )
    return table


def crowns_list(result: TrayResult) -> RenderableType:
    """Return the same as :func:`crowns_table`, a paragraph per crown."""
    parts: list[RenderableType] = []
    for crown in result.crowns:
        parts.append(_crown_line(crown))
        if crown.error is None:
            cells = (_area_words(crown, area) for area in areas_shown(result))
            line = f"{', '.join(cells)}; coverage {_least_coverage(crown)}"
            line += f"; marks: {marks_words(crown.marks)}" if crown.marks else ""
            parts.append(Padding(Text(line), (0, 0, 0, 2), expand=False))
    told = "Mean absolute deviation and limit, µm, in the judged direction."
    return Group(*parts, Text(told, style="dim"))


def _area_cell(crown: TrayCrown, area: str) -> Text:
    found = crown.of_area(area)
    if found is None:
        return Text(NO_VALUE)
    sign = TRAY_SIGNS.get(found.verdict, " ")
    return Text(f"{micrometres(found.mean_abs_um)} {sign}", style=_STYLES.get(found.verdict, ""))


def _area_words(crown: TrayCrown, area: str) -> str:
    found = crown.of_area(area)
    size = NO_VALUE if found is None else micrometres(found.mean_abs_um)
    if found is None or found.verdict == NO_TOLERANCE:
        return f"{area_words(area)} {size}"
    return f"{area_words(area)} {size} of {found.tolerance_um:g} {TRAY_SIGNS[found.verdict]}"


def _least_coverage(crown: TrayCrown) -> str:
    """Return the least share that counted of an area with a limit."""
    shares = [v.coverage for v in crown.verdicts if v.verdict != NO_TOLERANCE]
    return share_words(min(shares)) if shares else NO_VALUE


def _verdict(verdict: str) -> Text:
    words = f"{TRAY_SIGNS[verdict]} {SHORT_TRAY_WORDS[verdict]}"
    return Text(words, style=_STYLES[verdict])

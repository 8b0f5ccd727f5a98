"""Tables for the terminal, as ``rich`` renderables; readable at 80 columns."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np
from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...areas.find import NO_INSERTION, NO_MESIAL
from ...areas.support_marks import mark_of
from ...deviation.support_marks import MARK_WORDS
from ...readable import readable
from ...shares import share_words
from ...words.cautions import CAUTIONS
from ...words.names import (
    DIRECTION_WORDS,
    MARK_KIND_WORDS,
    NO_TOLERANCE,
    NOT_DECIDABLE,
    OUTSIDE,
    WITHIN,
    area_words,
)
from ...words.text import NO_VALUE, micrometres, signed_number
from .causes_view import why_view
from .document import areas_document, health_document
from .margin_words import angle_words, margin_details, margin_line
from .sentences import (
    SHORT_VERDICTS,
    SIGN,
    headline,
    marks_line,
    patch_areas,
    patch_kind,
    patch_limit_um,
    patch_line,
    superimposition_lines,
    surface_words,
    unmatched_lines,
)

if TYPE_CHECKING:
    from ...areas.area_set import AreaSet
    from ...check_result import CheckResult
    from ...checked_mesh import CheckedMesh
    from ...mesh.files import MeshFile
    from ...mesh.health import HealthReport
    from ...mesh.intersections import SelfIntersections
    from ...mesh.repair import Repair

GIVEN_BY = {NO_MESIAL: "--mesial", NO_INSERTION: "--insertion"}
"""The option that helps, by the reason why an area is missing."""

__all__ = [
    "areas_document",
    "areas_table",
    "check_view",
    "details_view",
    "health_document",
    "health_table",
    "marks_table",
    "measures_table",
    "patches_table",
    "verdict_view",
]

PATCHES_SHOWN = 10

# The signs carry the verdict where there is no colour to see.
_STYLES = {WITHIN: "bold cyan", OUTSIDE: "bold magenta", NOT_DECIDABLE: "bold yellow"}
_SIGNS = {WITHIN: "✓", OUTSIDE: "✗", NOT_DECIDABLE: "?", NO_TOLERANCE: " ", "": " "}


def check_view(result: CheckResult) -> RenderableType:
    """Return everything that a check has to say, the verdict first."""
    return Group(verdict_view(result), details_view(result))


def verdict_view(result: CheckResult) -> RenderableType:
    """Return a check's verdict with its reasons."""
    said = headline(result.verdicts)
    return Group(
        Text(
            f"{_SIGNS[said.verdict]} {said.title}".strip(), style=_STYLES.get(said.verdict, "bold")
        ),
        _lines((*said.sentences, patch_line(result), *_margin_lines(result))),
    )


def details_view(result: CheckResult) -> RenderableType:
    """Return all that follows a check's verdict: why, how far, and how far to trust it."""
    parts: list[RenderableType] = [] if result.causes is None else [why_view(result.causes)]
    parts += [Text(), measures_table(result), _lines(unmatched_lines(result))]
    if result.patches:
        parts += [Text(), patches_table(result)]
    if result.marks:
        parts += [Text(), marks_table(result)]
    if result.margin_profile is not None:
        parts += [
            Text("\nAlong the margin line", style="bold"),
            _lines(
                (
                    *margin_details(result.margin_profile.summary),
                    angle_words(result.margin_profile.directions),
                )
            ),
        ]
    parts += [
        Text("\nSuperimposition", style="bold"),
        _lines(superimposition_lines(result.superimposition)),
        Text("\nSurfaces", style="bold"),
        _lines(_surface_line(*part) for part in (("Design", result.design), ("Scan", result.scan))),
    ]
    if result.warnings:
        parts += [
            Text("\nRead before trusting the numbers", style="bold yellow"),
            _lines(result.warnings),
        ]
    parts.append(Text(f"\n{' '.join(CAUTIONS[:2])}", style="dim"))
    return Group(*parts)


def measures_table(result: CheckResult) -> Table:
    """Return the measures in the judged direction, one row per area."""
    way = result.settings.direction
    table = Table(
        title=f"Deviation per area, {DIRECTION_WORDS[way]}, in µm",
        caption=f"{SIGN} Read the three measures of size together.",
        box=box.SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
        title_justify="left",
        title_style="bold",
        caption_justify="left",
        pad_edge=False,
    )
    table.add_column("Area", overflow="fold", min_width=12, max_width=16)
    for title in (
        "mean\n|d|",
        "RMS",
        "(P90−\nP10)/2",
        "mean",
        "within\n±tol.",
        "cover-\nage",
        "tol.",
    ):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("Verdict", no_wrap=True)
    for row in result.measures:
        if row.direction != way or mark_of(row.area):
            continue
        table.add_row(
            Text(area_words(row.area)),
            micrometres(row.mean_abs_um),
            micrometres(row.rms_um),
            micrometres(row.half_p90_p10_um),
            micrometres(row.mean_um, signed=True),
            share_words(row.within_tolerance),
            share_words(row.coverage),
            micrometres(row.tolerance_um, digits=0),
            _verdict(row.verdict),
        )
    return table


def patches_table(result: CheckResult) -> RenderableType:
    """Return the worst patches and how many more there are."""
    found, limit = result.patches, patch_limit_um(result.settings)
    table = Table(
        title=f"Patches beyond ±{limit:g} µm, worst first ({len(found)} in all)",
        box=box.SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
        title_justify="left",
        title_style="bold",
        pad_edge=False,
    )
    table.add_column("", justify="right")
    table.add_column("Kind")
    for title in ("peak\nµm", "mean\nµm", "area\nmm²", "volume\nmm³"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("centre\nx, y, z mm", justify="right", no_wrap=True)
    table.add_column("Areas", overflow="fold")
    for rank, patch in enumerate(found[:PATCHES_SHOWN], start=1):
        table.add_row(
            str(rank),
            patch_kind(patch),
            micrometres(patch.peak_um, signed=True),
            micrometres(patch.mean_um, signed=True),
            f"{patch.area_mm2:.2f}",
            micrometres(patch.volume_mm3, digits=4),
            ", ".join(signed_number(x, ".1f") for x in patch.centre_mm),
            Text(patch_areas(patch)),
        )
    if len(found) > PATCHES_SHOWN:
        return Group(table, Text("All of them are in patches.csv.", style="dim"))
    return table


def marks_table(result: CheckResult) -> Table:
    """Return what is left of each support mark."""
    table = Table(
        title=f"Support marks. {marks_line(result.marks)}",
        caption="Height above (−: depth below) the surface around each mark, which is itself "
        "off the design by the number beside it.",
        box=box.SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
        title_justify="left",
        title_style="bold",
        caption_justify="left",
        pad_edge=False,
    )
    table.add_column("Mark", overflow="fold", min_width=8)
    table.add_column("Kind", overflow="fold")
    for title in ("height\nµm", "around\nµm", "area\nmm²", "volume\nmm³", "cover-\nage"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("Verdict", no_wrap=True)
    for mark in result.marks:
        table.add_row(
            Text(mark.name),
            MARK_KIND_WORDS[mark.kind],
            micrometres(mark.height_um, signed=True),
            micrometres(mark.surroundings_um, signed=True),
            micrometres(mark.area_mm2, digits=2),
            micrometres(mark.volume_mm3, signed=True, digits=4),
            share_words(mark.coverage),
            MARK_WORDS[mark.verdict],
        )
    return table


def areas_table(area_set: AreaSet) -> RenderableType:
    """Return the areas of a design, what could not be found and why."""
    table = Table(
        title=Text(f"Areas of {area_set.evaluation.design.name}"),
        box=box.SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
        title_justify="left",
        title_style="bold",
        pad_edge=False,
    )
    table.add_column("Area", overflow="fold")
    table.add_column("mm²", justify="right", no_wrap=True)
    table.add_column("share", justify="right", no_wrap=True)
    table.add_column("points", justify="right", no_wrap=True)
    table.add_column("from", no_wrap=True)
    table.add_column("Note", overflow="fold")
    total = float(area_set.evaluation.weights_mm2.sum())
    for area in area_set.areas.values():
        size = area_set.area_mm2(area.name)
        table.add_row(
            Text(area_words(area.name)),
            f"{size:.2f}",
            share_words(size / total),
            f"{np.count_nonzero(area.points):,}",
            area.origin,
            Text(area.note),
        )
    return Group(table, _lines(_about_areas(area_set)))


def _about_areas(area_set: AreaSet) -> list[str]:
    """Say what was found of a design beside its areas, and what is missing."""
    lines = []
    if area_set.margin_line is not None:
        shape = "closed" if area_set.margin_line.closed else "open"
        lines.append(f"Margin line: {area_set.margin_line.length_mm:.2f} mm long, {shape}.")
    if area_set.insertion is not None:
        along = ", ".join(signed_number(x, ".3f") for x in area_set.insertion)
        lines.append(f"Path of insertion, to occlusal: ({along}).")
    for name, why in area_set.missing.items():
        option = GIVEN_BY.get(why)
        lines.append(
            f"No {area_words(name)}: {why}" + (f" Give it with {option}." if option else "")
        )
    return [*lines, *area_set.warnings]


def health_table(
    mesh_file: MeshFile, repair: Repair, intersections: SelfIntersections
) -> RenderableType:
    """Return the health of a mesh file: what it is, what is wrong, what was mended."""
    table = Table(
        title=Text(f"Health of {readable(mesh_file.path.name)}"),
        box=box.SIMPLE_HEAD,
        show_edge=False,
        show_header=False,
        padding=(0, 2, 0, 0),
        title_justify="left",
        title_style="bold",
        pad_edge=False,
    )
    table.add_column("What")
    table.add_column("Value")
    for what, value in _health_rows(mesh_file, repair.health, intersections):
        table.add_row(what, value)
    problems = [*repair.health.problems, intersections.words]
    parts: list[RenderableType] = [table]
    for title, texts in (
        ("Problems", [text for text in problems if text] or ["None."]),
        ("Mended on a copy", repair.actions),
        ("Not mended", repair.warnings),
        ("Notes", mesh_file.notes),
    ):
        if texts:
            parts += [Text(title, style="bold"), _lines(texts)]
    return Group(*parts)


def _health_rows(
    mesh_file: MeshFile, health: HealthReport, intersections: SelfIntersections
) -> list[tuple[str, str]]:
    sides = " × ".join(f"{side:.2f}" for side in health.size_mm)
    volume = NO_VALUE if health.volume_mm3 is None else f"{health.volume_mm3:.2f} mm³"
    border = f", {health.border_length_mm:.2f} mm" if health.borders else ""
    return [
        ("Format", mesh_file.format),
        ("Unit", f"{mesh_file.unit} ({'guessed' if mesh_file.unit_guessed else 'given'})"),
        ("Size", f"{sides} mm"),
        ("Triangles", f"{health.triangles:,}"),
        ("Vertices", f"{health.vertices:,}"),
        ("Pieces", f"{health.pieces:,}"),
        ("Debris pieces", f"{health.debris_pieces:,}"),
        ("Closed", "yes" if health.closed else "no"),
        ("Open borders", f"{health.borders:,}{border}"),
        ("Edges with more than two faces", f"{health.non_manifold_edges:,}"),
        ("Faces without area", f"{health.degenerate_faces:,}"),
        ("Duplicate faces", f"{health.duplicate_faces:,}"),
        ("Edges between faces of opposite winding", f"{health.mixed_winding_edges:,}"),
        ("Shells turned inside out", f"{health.inward_pieces:,}"),
        ("Double layers of surface", f"{len(health.double_layers):,}"),
        ("Pairs of overlapping pieces", f"{len(health.overlapping_pieces):,}"),
        ("Pairs of triangles through each other", f"{intersections.pairs:,}"),
        ("Vertices that are not numbers", f"{mesh_file.nan_vertices:,}"),
        ("Area", f"{health.area_mm2:.2f} mm²"),
        ("Volume", volume),
    ]


def _margin_lines(result: CheckResult) -> tuple[str, ...]:
    return () if result.margin_profile is None else (margin_line(result.margin_profile.summary),)


def _surface_line(title: str, part: CheckedMesh) -> str:
    return f"{title} {surface_words(part)}"


def _verdict(verdict: str) -> Text:
    words = f"{_SIGNS.get(verdict, ' ')} {SHORT_VERDICTS.get(verdict, verdict)}"
    return Text(words.strip(), style=_STYLES.get(verdict, ""))


def _lines(texts: Iterable[str]) -> RenderableType:
    return Group(*(Padding(Text(text), (0, 0, 0, 2)) for text in texts))

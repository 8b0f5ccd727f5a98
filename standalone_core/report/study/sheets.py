"""Sheets of map pictures with their one legend, as for a paper: PNG, since pictures are."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ..drawing.deviation_colours import unmeasured_hex
from ..drawing.matplotlib_figure import INK, PNG_DPI, SOFT, plot_style
from ..drawing.pictures import Picture
from .maps import HEADS, Scale, StudyMap, StudyMaps

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CELL_IN = (2.0, 1.67)
LEGEND_IN = 0.62
HEAD_IN = 0.24


def map_sheets(maps: StudyMaps, pictures: Sequence[Picture]) -> Iterator[tuple[str, bytes]]:
    """Yield sheets as (name, PNG): one per group's mean map, one per other kind of map.

    Parameters
    ----------
    maps : StudyMaps
    pictures : sequence of Picture
        Of those maps, bare.
    """
    drawn: dict[str, list[Picture]] = {}
    for picture in pictures:
        drawn.setdefault(picture.colouring, []).append(picture)
    for found in maps.of("mean"):
        shots = drawn[found.name]
        cells = [[(p.view.title, p.png) for p in shots[k : k + 3]] for k in range(0, len(shots), 3)]
        head = f"{found.title}: mean of the group, {found.caption}"
        yield found.name, _sheet(found.name, maps.scales["mean"], [(head, cells)])
    for kind in maps.scales:
        if kind != "mean":
            parts = [(f"{m.title}, {m.caption}", _pair(m, drawn)) for m in maps.of(kind)]
            yield kind, _sheet(kind, maps.scales[kind], parts, HEADS[kind])


def _pair(found: StudyMap, drawn: dict[str, list[Picture]]) -> list[list[tuple[str, bytes]]]:
    return [[(picture.view.title, picture.png) for picture in drawn[found.name]]]


def _sheet(
    name: str,
    scale: Scale,
    parts: Sequence[tuple[str, Sequence[Sequence[tuple[str, bytes]]]]],
    title: str = "",
) -> bytes:
    from matplotlib.figure import Figure as Drawing

    columns = max(len(row) for _, rows in parts for row in rows)
    width = CELL_IN[0] * columns
    heights = [HEAD_IN * bool(title)]
    heights += [HEAD_IN + CELL_IN[1] * len(rows) for _, rows in parts]
    height = sum(heights) + LEGEND_IN
    with plot_style(name):
        drawing = Drawing(figsize=(width, height))
        top = 1.0
        if title:
            drawing.text(0.02, 1 - 0.16 / height, title, fontsize=9, weight="bold")
            top -= HEAD_IN / height
        for head, rows in parts:
            drawing.text(0.02, top - 0.16 / height, head, fontsize=7.5, color=INK)
            top -= HEAD_IN / height
            for row in rows:
                top -= CELL_IN[1] / height
                for k, (view, png) in enumerate(row):
                    box = (k / columns, top, 1 / columns, CELL_IN[1] / height)
                    _picture(drawing.add_axes(box), view, png)
        _legend(drawing.add_axes((0.16, 0.34 / height, 0.62, 0.14 / height)), scale)
        box = (0.81, 0.34 / height, 0.03, 0.14 / height)
        drawing.add_axes(box, facecolor=unmeasured_hex(), xticks=[], yticks=[])
        drawing.text(0.85, 0.37 / height, "not measured", fontsize=6.5)
        stream = io.BytesIO()
        drawing.savefig(stream, format="png", dpi=PNG_DPI, metadata={"Software": None})
    return stream.getvalue()


def _picture(axes: Axes, view: str, png: bytes) -> None:
    from matplotlib.image import imread

    axes.imshow(imread(io.BytesIO(png)), interpolation="lanczos")
    axes.set_axis_off()
    axes.text(0.04, 0.04, view, transform=axes.transAxes, fontsize=6.5, color=SOFT)


def _legend(axes: Axes, scale: Scale) -> None:
    from matplotlib.colors import to_rgb

    colours: Any = np.array([[to_rgb(bar.colour) for bar in scale.plot.bars]])
    low = -scale.limit if scale.signed else 0.0
    axes.imshow(colours, aspect="auto", extent=(low, scale.limit, 0, 1), interpolation="nearest")
    left, right = scale.plot.left, scale.plot.right
    places = [
        low + (scale.limit - low) * (tick.x - left) / (right - left) for tick in scale.plot.ticks
    ]
    axes.set_yticks([])
    axes.set_xticks(places, [tick.text for tick in scale.plot.ticks], fontsize=6.5)
    axes.set_title(
        f"{scale.low_words} – {scale.high_words}, {scale.unit}",
        fontsize=6.5,
        weight="normal",
        loc="center",
        pad=2,
    )

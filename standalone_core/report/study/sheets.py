"""Sheets of map pictures with their one legend, as for a paper: PDF and PNG, not SVG."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..drawing.deviation_colours import unmeasured_hex
from ..drawing.matplotlib_figure import (
    DOUBLE_MM,
    HEAD,
    INK,
    MM_PER_IN,
    PLAIN,
    SINGLE_MM,
    SMALL,
    SOFT,
    plot_style,
    saved,
)
from ..drawing.pictures import Picture
from .maps import HEADS, Scale, StudyMaps

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

Pixels = NDArray[np.uint8]
Cells = list[list[tuple[str, Pixels]]]

LEGEND_IN, HEAD_IN, LINE_IN = 0.62, 0.24, 0.13
_LETTER_PT = 4.25  # mean width of a letter of a head
_TICK_PT = 26.0  # least distance between numbers of the legend
_MOST_SINGLE = 2  # pictures beside each other in one column of a journal


@dataclass(frozen=True)
class Sheet:
    """One sheet.

    Attributes
    ----------
    name : str
    pdf : bytes
        Pictures as they were drawn, all words as text.
    png : bytes
        Every pixel of a picture is one of the sheet: more dots per inch would show no more.
    """

    name: str
    pdf: bytes = field(repr=False)
    png: bytes = field(repr=False)


def map_sheets(maps: StudyMaps, pictures: Sequence[Picture]) -> Iterator[Sheet]:
    """Yield sheets: one per group's mean map, one per other kind of map.

    One with up to two pictures beside each other is as wide as one column of a journal, others
    as wide as two.

    Parameters
    ----------
    maps : StudyMaps
    pictures : sequence of Picture
        Of those maps, bare.
    """
    drawn: dict[str, list[tuple[str, Pixels]]] = {}
    for picture in pictures:
        shot = picture.view.title, _pixels(picture.png)
        drawn.setdefault(picture.colouring, []).append(shot)
    for found in maps.of("mean"):
        shots = drawn[found.name]
        cells = [shots[k : k + 3] for k in range(0, len(shots), 3)]
        head = f"{found.title}: mean of the group, {found.caption}"
        yield _sheet(found.name, maps.scales["mean"], [(head, cells)])
    for kind in maps.scales:
        if kind != "mean":
            parts = [(f"{m.title}, {m.caption}", [drawn[m.name]]) for m in maps.of(kind)]
            yield _sheet(kind, maps.scales[kind], parts, HEADS[kind])


def _pixels(png: bytes) -> Pixels:
    from PIL import Image

    with Image.open(io.BytesIO(png)) as image:
        return np.asarray(image.convert("RGB"))


def _sheet(name: str, scale: Scale, parts: Sequence[tuple[str, Cells]], title: str = "") -> Sheet:
    columns = max(len(row) for _, rows in parts for row in rows)
    width = (SINGLE_MM if columns <= _MOST_SINGLE else DOUBLE_MM) / MM_PER_IN
    high, wide = parts[0][1][0][0][1].shape[:2]
    cell = width / columns, width / columns * high / wide
    with plot_style(name):
        drawing = _drawn(scale, parts, title, (width, *cell))
        pdf, png = saved(drawing, "pdf"), saved(drawing, "png", dpi=wide / cell[0])
    return Sheet(name, pdf, png)


def _drawn(
    scale: Scale,
    parts: Sequence[tuple[str, Cells]],
    title: str,
    sizes: tuple[float, float, float],
) -> Drawing:
    """Draw a sheet of this width, with pictures of this width and height, inches."""
    from matplotlib.figure import Figure as Drawing

    width, across, down = sizes
    heads = [_lines(head, width) for head, _ in parts]
    height = (
        HEAD_IN * bool(title)
        + LEGEND_IN
        + sum(
            _head_in(head) + down * len(rows) for head, (_, rows) in zip(heads, parts, strict=True)
        )
    )
    drawing = Drawing(figsize=(width, height))
    top = height
    if title:
        drawing.text(0.02, 1 - 0.06 / height, title, fontsize=HEAD, weight="bold", va="top")
        top -= HEAD_IN
    for head, (_, rows) in zip(heads, parts, strict=True):
        drawing.text(
            0.02, (top - 0.04) / height, head, fontsize=PLAIN, color=INK, va="top", linespacing=1.15
        )
        top -= _head_in(head)
        for row in rows:
            top -= down
            for k, (view, pixels) in enumerate(row):
                box = (k * across / width, top / height, across / width, down / height)
                _picture(drawing.add_axes(box), view, pixels)
    _legend(drawing, scale, height)
    return drawing


def _lines(head: str, width_in: float) -> str:
    return "\n".join(textwrap.wrap(head, int(0.94 * 72 * width_in / _LETTER_PT)))


def _head_in(head: str) -> float:
    return HEAD_IN + LINE_IN * head.count("\n")


def _picture(axes: Axes, view: str, pixels: Pixels) -> None:
    axes.imshow(pixels, interpolation="none", aspect="auto")
    axes.set_axis_off()
    axes.text(0.04, 0.04, view, transform=axes.transAxes, fontsize=SMALL, color=SOFT)


def _legend(drawing: Drawing, scale: Scale, height: float) -> None:
    """Draw the colours, their numbers, and what was not measured."""
    _bar(drawing.add_axes((0.06, 0.28 / height, 0.6, 0.13 / height)), scale)
    box = (0.72, 0.28 / height, 0.04, 0.13 / height)
    drawing.add_axes(box, facecolor=unmeasured_hex(), xticks=[], yticks=[])
    drawing.text(0.775, 0.345 / height, "not measured", fontsize=SMALL, va="center")


def _room_for(places: Sequence[float], least: float) -> list[int]:
    """Return which of ascending numbers can stand beside each other: both ends, then the middle.

    Others are taken from the middle outward where they leave ``least`` to all that are.
    """
    kept = [0, len(places) - 1]
    middle = 0.5 * (places[0] + places[-1])
    for k in sorted(range(len(places)), key=lambda k: abs(places[k] - middle)):
        if all(abs(places[k] - places[other]) >= least for other in kept):
            kept.append(k)
    return sorted(set(kept))


def _bar(axes: Axes, scale: Scale) -> None:
    from matplotlib.colors import to_rgb

    colours: Any = np.array([[to_rgb(bar.colour) for bar in scale.plot.bars]])
    low = -scale.limit if scale.signed else 0.0
    axes.imshow(colours, aspect="auto", extent=(low, scale.limit, 0, 1), interpolation="nearest")
    left, right = scale.plot.left, scale.plot.right
    places = [
        low + (scale.limit - low) * (tick.x - left) / (right - left) for tick in scale.plot.ticks
    ]
    axes.set_yticks([])
    width_pt = 72.0 * axes.bbox.width / axes.figure.dpi
    kept = _room_for(places, _TICK_PT * (scale.limit - low) / width_pt)
    words = [tick.text for tick in scale.plot.ticks]
    axes.set_xticks([places[k] for k in kept], [words[k] for k in kept], fontsize=SMALL)
    axes.set_title(
        f"{scale.low_words} – {scale.high_words}, {scale.unit}",
        fontsize=SMALL,
        weight="normal",
        loc="center",
        pad=2,
    )

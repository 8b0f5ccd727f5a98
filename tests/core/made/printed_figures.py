"""Figures as they are printed: what is drawn, and whether its words can be read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from cuspwise.standalone_core.report.drawing import matplotlib_figure
from cuspwise.standalone_core.report.drawing.label_places import (
    overlap_area,
    point_boxes,
    text_box,
)
from cuspwise.standalone_core.report.study import sheets

PT_PER_MM = 72.0 / 25.4


def long_names(analysis: Any) -> Any:
    """The same study, its groups called as long as people call them."""
    titles = tuple(f"{title}, sintered slowly in the small furnace" for title in ("A", "B", "C"))
    return replace(analysis, group_titles=titles[: len(analysis.groups)])


def kept_drawings(patch: pytest.MonkeyPatch) -> list[Any]:
    """What is drawn from now on: laid out and not written."""
    found: list[Any] = []

    def keep(drawing: Any, kind: str, **_: object) -> bytes:
        if drawing not in found:
            found.append(drawing)
        return b""

    for module in (matplotlib_figure, sheets):
        patch.setattr(module, "saved", keep)
    return found


def words_in(drawing: Any) -> list[Any]:
    """All words of a figure that are seen."""
    found = [*drawing.texts, *(t for key in drawing.legends for t in key.get_texts())]
    for axes in drawing.axes:
        if axes.get_visible():
            found += [axes._left_title, axes.xaxis.label, axes.yaxis.label, *axes.texts]
            found += [label for axis in (axes.xaxis, axes.yaxis) for label in _tick_labels(axis)]
    return [text for text in found if text.get_text().strip() and text.get_visible()]


def _tick_labels(axis: Any) -> Iterator[Any]:
    low, high = sorted(axis.get_view_interval())
    room = 1e-9 * (high - low)
    places = axis.get_majorticklocs()
    for tick, place in zip(axis.get_major_ticks(len(places)), places, strict=True):
        if low - room <= place <= high + room:
            yield tick.label1


def check_words(drawing: Any) -> None:
    """No word is cut off, covers another one or a point, or is too small or large to print."""
    drawing.draw_without_rendering()
    texts = words_in(drawing)
    boxes = np.array([text_box(text) for text in texts])
    names = [text.get_text() for text in texts]
    width, height = drawing.bbox.width, drawing.bbox.height
    for text, box in zip(texts, boxes, strict=True):
        assert 7.0 <= text.get_fontsize() <= 9.0, (text.get_text(), text.get_fontsize())
        within = box[0] >= -1 and box[1] >= -1 and box[2] <= width + 1 and box[3] <= height + 1
        assert within, ("cut off", text.get_text(), box, (width, height))
    for k, box in enumerate(boxes):
        shared = overlap_area(box, boxes)
        shared[k] = 0.0
        worst = int(shared.argmax())
        size = float(np.prod(box[2:] - box[:2]))
        assert shared[worst] <= 0.01 * size, ("words on words", names[k], names[worst])
    points = [one for axes in drawing.axes for one in point_boxes(axes) if axes.get_visible()]
    for name, box in zip(names, boxes, strict=True):
        covered = overlap_area(box, np.array(points).reshape(-1, 4))
        assert covered.sum() <= 1.0, ("words on a point", name)

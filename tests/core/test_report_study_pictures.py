"""A study's maps as pictures: the map's own colours, many hues, groups told apart."""

from __future__ import annotations

import io

import numpy as np
import pytest
from cuspwise.standalone_core.progress import run as finish
from cuspwise.standalone_core.report.drawing.pictures import draw_colourings_steps
from cuspwise.standalone_core.report.study.maps import study_maps
from made.study_examples import make_analysis, make_run
from PIL import Image

pytestmark = pytest.mark.slow


def pixels(png: bytes) -> np.ndarray:
    """Rows from the top, (height, width, 3), 0…255."""
    with Image.open(io.BytesIO(png)) as image:
        return np.asarray(image.convert("RGB")).astype(int)


def hues(rows: np.ndarray) -> np.ndarray:
    """Hue of every clearly coloured pixel, 0…6: red 0, yellow 1, green 2, cyan 3, blue 4."""
    colour = rows.reshape(-1, 3).astype(float)
    high, low = colour.max(axis=1), colour.min(axis=1)
    clear = high - low > 0.2 * np.maximum(high, 1.0)
    r, g, b = colour[clear].T
    spread = (high - low)[clear]
    top = colour[clear].argmax(axis=1)
    sector = np.choose(top, [(g - b) / spread % 6, (b - r) / spread + 2, (r - g) / spread + 4])
    return np.asarray(sector)


@pytest.fixture(scope="module")
def shots() -> dict[str, dict[str, np.ndarray]]:
    """Pictures of the maps of group means, by map and view."""
    study = make_run()
    maps = study_maps(study, make_analysis(study))
    means = [map_ for map_ in maps.colourings if map_.name.startswith("mean_")]
    drawn = finish(draw_colourings_steps(study.area_set.evaluation.mesh, means))
    assert drawn.reason == ""
    found: dict[str, dict[str, np.ndarray]] = {}
    for picture in drawn.pictures:
        found.setdefault(picture.colouring, {})[picture.view.name] = pixels(picture.png)
    return found


def test_every_map_of_a_mean_has_six_views_in_many_hues(
    shots: dict[str, dict[str, np.ndarray]],
) -> None:
    """Warm for excess and cold for missing material: each on a fair part of some group's crown."""
    assert len(shots) == 3
    assert all(len(views) == 6 for views in shots.values())
    found = np.concatenate([hues(rows) for views in shots.values() for rows in views.values()])
    warm, cold = ((found < 1.2) | (found > 5)).mean(), ((found > 2.8) & (found < 4.6)).mean()
    assert min(warm, cold) > 0.05, f"warm {warm:.1%}, cold {cold:.1%}"
    assert len(np.unique(np.floor(4 * found))) >= 4


def test_groups_that_differ_look_different(shots: dict[str, dict[str, np.ndarray]]) -> None:
    first, second, _ = (views["occlusal"] for views in shots.values())
    assert (np.abs(first - second).max(axis=2) > 30).mean() > 0.02

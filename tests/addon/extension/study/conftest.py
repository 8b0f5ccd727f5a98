"""A coarse design and crowns made in two ways, listed in a file, and studied."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from studies import CROWNS, EDGE_MM, GROUPS, SPACING_MM, opened


@pytest.fixture(scope="session", autouse=True)
def undrawn(extension: SimpleNamespace) -> Iterator[None]:
    """Figures take longer than all the rest of these studies: one test alone draws them."""
    with pytest.MonkeyPatch.context() as patch:
        output = extension.part("standalone_core.report.study.output")
        patch.setattr(output, "can_plot", lambda: False)
        yield


@pytest.fixture(scope="session")
def crowns(extension: SimpleNamespace) -> SimpleNamespace:
    """A coarse design, and three coarse crowns made in each of two ways."""
    part = extension.part
    design = part("standalone_core.demo.crown").demo_crown(EDGE_MM)
    ways = part("standalone_core.demo.study_groups")
    produce = part("standalone_core.demo.production").produce
    made = {}
    for number, (title, way) in enumerate(GROUPS):
        rng = np.random.default_rng(20 + number)
        made[title] = [
            produce(design, getattr(ways, way)(rng), edge_mm=EDGE_MM, rng=rng).mesh
            for _ in range(CROWNS)
        ]
    return SimpleNamespace(design=design.mesh, made=made, extension=extension)


def fill(crowns: SimpleNamespace, folder: Path | None = None, count: int = CROWNS) -> Any:
    """Fill a new file with design and scans in their groups; return its settings."""
    import bpy

    settings, add_object = bpy.context.scene.cuspwise, crowns.extension.add_object
    settings.design = add_object("Design", crowns.design)
    settings.spacing_mm = SPACING_MM
    for title, meshes in crowns.made.items():
        for number, mesh in enumerate(meshes[:count], 1):
            item = settings.scans.add()
            item.scan, item.group = add_object(f"{title[0]} {number}", mesh), title
    settings.study.folder = str(folder) if folder else ""
    return settings


@pytest.fixture
def listed(empty: SimpleNamespace, crowns: SimpleNamespace, tmp_path: Path) -> SimpleNamespace:
    """A file with design and two scans in each group, not studied yet."""
    settings = fill(crowns, tmp_path / "study", count=2)
    return SimpleNamespace(**vars(empty), settings=settings, folder=tmp_path / "study")


@pytest.fixture(scope="session")
def studied_file(
    extension: SimpleNamespace,
    crowns: SimpleNamespace,
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """A saved file whose study was run, into the folder beside it."""
    import bpy

    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    path = tmp_path_factory.mktemp("studied") / "Studie ü.blend"
    fill(crowns)
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    assert bpy.ops.cuspwise.run_study() == {"FINISHED"}
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture
def studied(studied_file: Path, extension: SimpleNamespace, tmp_path: Path) -> SimpleNamespace:
    """The studied crowns, opened from a copy of file and folder."""
    folder = studied_file.with_name(f"{studied_file.stem}_study")
    shutil.copytree(folder, tmp_path / folder.name)
    return opened(extension.part, Path(shutil.copy(studied_file, tmp_path)))

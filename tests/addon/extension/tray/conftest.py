"""A tray of four coarse crowns, checked or not."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest
from trays import fill, surfaces_of


@pytest.fixture(scope="session")
def tray_surfaces(extension: SimpleNamespace) -> SimpleNamespace:
    return surfaces_of(extension.part)


@pytest.fixture
def tray(
    empty: SimpleNamespace, extension: SimpleNamespace, tray_surfaces: SimpleNamespace
) -> SimpleNamespace:
    """A file with a design and four scans in two groups, nothing measured yet."""
    settings = fill(extension, tray_surfaces)
    scans = [item.scan for item in settings.scans]
    return SimpleNamespace(**vars(empty), settings=settings, design=settings.design, scans=scans)


@pytest.fixture(scope="session")
def checked_tray_file(
    extension: SimpleNamespace,
    tray_surfaces: SimpleNamespace,
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """A saved file whose scans were all checked at once."""
    import bpy

    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    fill(extension, tray_surfaces)
    assert bpy.ops.cuspwise.check_all() == {"FINISHED"}
    path = tmp_path_factory.mktemp("tray") / "tray.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture
def checked_tray(checked_tray_file: Path, extension: SimpleNamespace) -> SimpleNamespace:
    """That file, opened anew."""
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(checked_tray_file))
    settings = bpy.context.scene.cuspwise
    return SimpleNamespace(
        bpy=bpy,
        part=extension.part,
        scene=bpy.context.scene,
        settings=settings,
        design=settings.design,
        scans=[item.scan for item in settings.scans],
    )

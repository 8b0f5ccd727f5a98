"""Fixtures shared by the core's tests."""

from __future__ import annotations

from pathlib import Path

import pytest

SHARED_MESHES = Path(__file__).resolve().parents[3] / "shared" / "meshes"


@pytest.fixture(scope="session")
def shared_meshes() -> Path:
    """Folder of real meshes that lies beside the developers' checkout; skip where absent."""
    if not SHARED_MESHES.is_dir():
        pytest.skip("the folder of real meshes (../shared/meshes) is not beside this checkout")
    return SHARED_MESHES

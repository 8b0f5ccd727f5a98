"""Two workers for a whole tier, and fixtures shared by the core's tests."""

from __future__ import annotations

import gc
import os
from pathlib import Path

import pytest

WORKERS = 2
SHARED_MESHES = Path(__file__).resolve().parents[3] / "shared" / "meshes"


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config: pytest.Config) -> None:
    """Share a whole tier between two processes; files or tests that were named run in this one.

    Not an option of pyproject.toml: Blender's environments read that too and have no xdist.
    """
    option, is_worker = config.option, hasattr(config, "workerinput")
    everything = config.args_source is pytest.Config.ArgsSource.TESTPATHS
    undecided = getattr(option, "numprocesses", 0) is None and not option.usepdb
    if everything and undecided and not is_worker:
        option.numprocesses = WORKERS
        option.dist = "worksteal"  # keeps most files together, and what they built
        for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
            os.environ.setdefault(name, "1")


def pytest_collection_finish() -> None:
    """Take what the collected tests keep for good out of all later garbage collections.

    Walking through thousands of tests whenever one of them makes many objects costs more than
    half of the time of those that read or write JSON.
    """
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def shared_meshes() -> Path:
    """Folder of real meshes that lies beside the developers' checkout; skip where absent."""
    if not SHARED_MESHES.is_dir():
        pytest.skip("the folder of real meshes (../shared/meshes) is not beside this checkout")
    return SHARED_MESHES

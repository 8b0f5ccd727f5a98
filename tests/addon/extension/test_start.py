"""What enabling the extension costs each start of Blender, and what scripts find then."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

LATER = ("scipy", "matplotlib", "jinja2", "trimesh")
SCRIPT = """\
import os, sys
import bpy
bpy.ops.preferences.addon_enable(module={package!r})
assert hasattr(bpy.types.Scene, "cuspwise")
loaded = [name for name in {later!r} if name in sys.modules]
print("loaded:", *loaded, flush=True)
os._exit(0)  # disabling it would take the wheels from the process that runs this
"""


def test_enabling_loads_nothing_that_only_some_jobs_need(
    extension: SimpleNamespace, tmp_path: Path
) -> None:
    """In a process of its own; what is not loaded is loaded by the job that needs it.

    It works on a copy of the user's folder: disabling takes the wheels' files away.
    """
    own = tmp_path / "user"
    shutil.copytree(os.environ["BLENDER_USER_RESOURCES"], own)
    package = extension.part("addon").__name__.rpartition(".")[0]
    script = SCRIPT.format(package=package, later=LATER)
    ran = subprocess.run(
        [sys.executable, "-c", script],
        env={**os.environ, "BLENDER_USER_RESOURCES": str(own)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert "loaded:" in ran.stdout, ran.stderr
    assert ran.stdout.partition("loaded:")[2].strip() == ""


def test_scripts_in_blender_find_the_public_names(extension: SimpleNamespace) -> None:
    package = sys.modules[extension.part("addon").__name__.rpartition(".")[0]]
    assert package.crowns_needed(3.2, difference_um=5.0).n == 8
    assert set(package.__all__) >= {"check", "run_study", "CuspwiseError"}

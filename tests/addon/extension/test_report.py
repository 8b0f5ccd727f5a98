"""The report out of Blender: the core's own, with pictures, drawn by the zip's libraries."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call

# The same check and report where there is no Blender, with the wheels of the zip.
PLAIN = """\
import sys
import numpy as np
import cuspwise
from cuspwise.standalone_core.explain import explained_steps
from cuspwise.standalone_core.progress import run
read = np.load(sys.argv[1])
design, scan = (
    cuspwise.TriangleMesh(read[f"{name} vertices"], read[f"{name} faces"], name)
    for name in ("Design", "Scan")
)
settings = cuspwise.CheckSettings(spacing_mm=float(sys.argv[2]))
result = run(explained_steps(cuspwise.check_meshes(design, scan, settings)))
cuspwise.write_check(result, sys.argv[3], pictures="yes")
"""
TIMED = re.compile(r"<time .*?</time>|Computed in [0-9.]+ s\.")


@pytest.fixture(scope="module")
def wheels(extension: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The zip's wheels, unpacked beside the extension under the package's own name."""
    folder = tmp_path_factory.mktemp("plain")
    with zipfile.ZipFile(extension.zip) as archive:
        names = [name for name in archive.namelist() if name.endswith(".whl")]
        archive.extractall(folder, names)
    for name in names:
        with zipfile.ZipFile(folder / name) as wheel:
            wheel.extractall(folder / "site")
    own = Path(sys.modules[extension.part("addon").__name__.rpartition(".")[0]].__file__ or "")
    (folder / "site" / "cuspwise").symlink_to(own.parent, target_is_directory=True)
    return folder / "site"


def as_read(checked: SimpleNamespace, file: Path) -> None:
    """Write both meshes as the report's job reads them."""
    inputs, run = checked.part("addon.check.inputs"), checked.part("standalone_core.progress").run
    store = checked.part("addon.check.store")
    before = np.array(store.result_of(checked.scan)["made_with"]["scan_before"])
    context = checked.bpy.context
    design = run(inputs.read_design_steps(context, checked.design))
    scan = run(inputs.read_scan_steps(context, checked.scan, design.frame, before))
    arrays: dict[str, Any] = {}
    for name, mesh in (("Design", design.mesh), ("Scan", scan.mesh)):
        arrays |= {f"{name} vertices": mesh.vertices, f"{name} faces": mesh.faces}
    np.savez(file, **arrays)


def untimed(file: Path) -> Any:
    """What a file holds, but for when it was written and how long that took."""
    if file.suffix == ".html":
        return TIMED.sub("", file.read_text(encoding="utf-8"))
    if file.suffix == ".json":
        content = json.loads(file.read_text(encoding="utf-8"))
        for surface in ("design", "scan"):
            content[surface].pop("file")  # Blender's objects here, nothing there
        return {key: found for key, found in content.items() if key not in ("seconds", "written")}
    return file.read_bytes()


def test_the_report_is_the_same_as_without_blender(
    checked: SimpleNamespace, wheels: Path, tmp_path: Path
) -> None:
    """Every file, byte for byte but for the time: pictures, page, tables, surfaces."""
    assert call(checked, "export_report", directory=str(tmp_path / "here")) == {"FINISHED"}
    as_read(checked, tmp_path / "read.npz")
    arguments = [tmp_path / "read.npz", f"{checked.settings.spacing_mm:.6g}", tmp_path / "plain"]
    subprocess.run(
        [sys.executable, "-W", "error", "-c", PLAIN, *arguments],
        env={**os.environ, "PYTHONPATH": str(wheels), "MPLCONFIGDIR": str(tmp_path / "fonts")},
        check=True,
    )
    here, plain = (
        {p.relative_to(tmp_path / name).as_posix(): p for p in (tmp_path / name).rglob("*.*")}
        for name in ("here", "plain")
    )
    assert len([name for name in here if name.startswith("pictures/")]) == 6
    assert here.keys() == plain.keys()
    assert [name for name in here if untimed(here[name]) != untimed(plain[name])] == []
    page = here["check.html"].read_text(encoding="utf-8")
    assert page.count("data:image/png") >= 6
    for refused in ("matplotlib is not installed", "not drawn", "pip install"):
        assert refused not in page
    assert_own_fonts(checked)


def assert_own_fonts(checked: SimpleNamespace) -> None:
    """Its list of fonts is in the extension's folder; what was set to load it is taken back."""
    import matplotlib as mpl

    own = checked.part("addon.blender.plotting").own_folder()
    assert Path(mpl.get_configdir()) == Path(mpl.get_cachedir()) == own
    assert own.is_relative_to(os.environ["BLENDER_USER_RESOURCES"])
    (listed,) = own.glob("fontlist-*.json")
    assert "DejaVu Sans" in json.dumps(json.loads(listed.read_text(encoding="utf-8")))
    assert "MPLCONFIGDIR" not in os.environ
    assert "matplotlib.pyplot" not in sys.modules

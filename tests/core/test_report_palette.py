"""One palette runs through all that a check writes: surfaces, page, pictures, the option."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import trimesh
from click.testing import CliRunner
from cuspwise.standalone_core.check import CheckSettings, check_meshes
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.cli.settings import PALETTES as OPTIONS
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.files import write_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.report.check.output import write_check
from cuspwise.standalone_core.report.drawing.deviation_colours import (
    PALETTES,
    deviation_colours,
    hex_colour,
)
from cuspwise.standalone_core.report.drawing.legend import make_legend
from cuspwise.standalone_core.report.drawing.picture_frame import FULL, Frame
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from made.crowns import demo_crown
from PIL import Image


@pytest.fixture(scope="module")
def crowns() -> tuple[TriangleMesh, TriangleMesh]:
    """A coarse design, and the same 2 % wider to one side: up to 100 µm off."""
    design = demo_crown(0.6).mesh
    wider = design.vertices * np.where(design.vertices[:, :1] > 0.0, [1.02, 1.0, 1.0], 1.0)
    return design, TriangleMesh(wider, design.faces, "wider")


@pytest.fixture(scope="module")
def result(crowns: tuple[TriangleMesh, TriangleMesh]) -> CheckResult:
    settings = CheckSettings(
        spacing_mm=0.6, superimpose=SuperimposeSettings(start="in_place", refine=False)
    )
    return check_meshes(*crowns, settings)


@pytest.mark.parametrize("palette", PALETTES)
def test_surfaces_and_page_have_its_colours(
    result: CheckResult, tmp_path: Path, palette: str
) -> None:
    write_check(result, tmp_path, pictures="no", limit_um=50.0, palette=palette)
    loaded = trimesh.load(tmp_path / "deviation_design.ply", process=False)
    expected = deviation_colours(result.design_to_scan.deviation_mm, 0.05, palette)
    assert np.array_equal(loaded.visual.vertex_colors[:, :3], expected)
    page = (tmp_path / "check.html").read_text(encoding="utf-8")
    for end in (-1.0, 1.0):
        assert hex_colour(end, palette) in page
        assert all(hex_colour(end, other) not in page for other in PALETTES if other != palette)
    chosen = PALETTES[palette]
    assert f"µm, {chosen.missing}, over zero, {chosen.zero}, to +50 µm, {chosen.excess}" in page


def test_an_unknown_palette_writes_nothing(result: CheckResult, tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="no palette 'neon'"):
        write_check(result, tmp_path / "out", pictures="no", palette="neon")
    assert not (tmp_path / "out").exists()


def test_pictures_carry_its_legend() -> None:
    legend = make_legend([], [], limit_um=50.0, palette="grey")
    png = Frame(FULL, 50.0, legend).png(np.full((FULL.height, FULL.width, 3), 255, dtype=np.uint8))
    with Image.open(io.BytesIO(png)) as image:
        row = np.asarray(image)[FULL.height - 130]
    ends = row[round(0.15 * FULL.width) + 1], row[round(0.85 * FULL.width) - 2]
    for end, position in zip(ends, (-1.0, 1.0), strict=True):
        wanted = [int(hex_colour(position, "grey")[k : k + 2], 16) for k in (1, 3, 5)]
        assert np.abs(end.astype(int) - wanted).max() <= 2


def test_words_say_which_end_is_lighter() -> None:
    """In grey the ends differ by lightness alone, so their words must too."""
    grey = PALETTES["grey"]
    assert grey.missing_lightness < grey.zero_lightness < grey.excess_lightness
    assert (grey.missing, grey.zero, grey.excess) == ("dark grey", "grey", "nearly white")


def test_the_option_offers_every_palette(
    crowns: tuple[TriangleMesh, TriangleMesh], tmp_path: Path
) -> None:
    assert tuple(PALETTES) == OPTIONS
    files = [tmp_path / "design.stl", tmp_path / "wider.stl"]
    for file, mesh in zip(files, crowns, strict=True):
        write_mesh(file, mesh)
    arguments = ["check", *map(str, files), "--out", str(tmp_path / "out"), "--no-pictures"]
    arguments += ["--spacing", "0.6", "--start", "in-place", "--no-refine"]
    done = CliRunner().invoke(main, [*arguments, "--palette", "grey"])
    assert done.exit_code == 0, done.output
    page = (tmp_path / "out" / "check.html").read_text(encoding="utf-8")
    assert hex_colour(1.0, "grey") in page
    refused = CliRunner().invoke(main, [*arguments, "--palette", "neon"])
    assert refused.exit_code == 2
    assert "standard" in refused.output

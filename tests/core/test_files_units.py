"""The unit of a file: given, declared, or guessed from its size.

Sizes of crowns and arches: common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import trimesh
from cuspwise.standalone_core.length_units import MM_PER_UNIT
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.units import find_unit


@pytest.mark.parametrize("size_mm", [5.0, 8.0, 11.0, 12.6])
@pytest.mark.parametrize("unit", ["mm", "m", "inch", "um"])
def test_crown_is_recognised_in_every_unit(unit: str, size_mm: float) -> None:
    number = size_mm / MM_PER_UNIT[unit]
    found = find_unit(number)
    assert (found.unit, found.guessed) == (unit, True)
    assert number * found.scale_to_mm == pytest.approx(size_mm)
    assert bool(found.notes) == (unit != "mm")  # anything but the usual is announced


@pytest.mark.parametrize("unit", ["mm", "m", "um"])
def test_full_arch_is_recognised(unit: str) -> None:
    assert find_unit(65.0 / MM_PER_UNIT[unit]).unit == unit


def test_crown_in_centimetres_is_recognised() -> None:
    assert find_unit(1.1).unit == "cm"


@pytest.mark.parametrize("number", [1e-4, 0.15, 0.55, 2.5, 262.7, 1000.0, 1e6])
def test_size_that_fits_no_unit_or_two_stays_in_mm_with_a_warning(number: float) -> None:
    found = find_unit(number)
    assert (found.unit, found.guessed) == ("mm", True)
    assert "too" in found.notes[0]


def test_the_user_overrides_and_the_file_declares() -> None:
    assert find_unit(0.01, given="mm").unit == "mm"
    assert not find_unit(0.01, given="mm").guessed
    assert "too small" in find_unit(0.01, given="mm").notes[0]
    assert find_unit(11.0, declared="inch").unit == "inch"
    assert find_unit(11.0, given="mm", declared="inch").unit == "mm"
    assert find_unit(11.0, declared="cubit").unit == "mm"


@pytest.mark.parametrize("unit", ["m", "inch", "um", "cm"])
def test_file_in_another_unit_comes_in_mm(tmp_path: Path, unit: str) -> None:
    sphere = trimesh.creation.icosphere(subdivisions=1, radius=4.0)
    sphere.apply_scale(1.0 / MM_PER_UNIT[unit])
    path = tmp_path / "sphere.stl"
    path.write_bytes(sphere.export(file_type="stl"))
    file = read_mesh(path)
    assert file.unit == unit
    assert max(file.mesh.bounds[1] - file.mesh.bounds[0]) == pytest.approx(8.0, rel=1e-6)
    assert "guessed from its size" in file.notes[0]
    assert read_mesh(path, unit="mm").scale_to_mm == 1.0

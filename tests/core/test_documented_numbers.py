"""What the page about numbers says of sources, thresholds and tolerances is what the code has."""

from __future__ import annotations

import re
from pathlib import Path

from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.deviation.tolerances import DEFAULT_MEAN_ABS_UM
from cuspwise.standalone_core.report.study.references import REFERENCES
from cuspwise.standalone_core.setting import declared_in

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "numbers.md").read_text(encoding="utf-8")


def test_the_sources_are_those_of_the_methods_text() -> None:
    listed = re.findall(r"^- (.*)$", PAGE.split("## Sources")[1], re.MULTILINE)
    assert sorted(listed) == sorted(REFERENCES.values())


def test_thresholds_of_areas_are_the_defaults() -> None:
    part = PAGE.split("## Areas and thresholds")[1].split("## ")[0]
    told = {name: float(value) for name, value in re.findall(r"`(\w+)` ([\d.]+)", part)}
    declared = declared_in(AreaSettings)
    assert told == {name: declared[name].default for name in told}
    directions = {"insertion", "mesial_direction", "buccal_direction"}
    assert set(told) == set(declared) - directions


def test_default_tolerances_are_told() -> None:
    told = ", ".join(f"{area} {limit:g} µm" for area, limit in DEFAULT_MEAN_ABS_UM.items())
    assert told in " ".join(PAGE.split())

"""What the tests of causes in Blender share: what is kept, and what is said of it."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

FACTS = {"way": "printed", "build_direction": (0.0, 0.0, 1.0), "enlargement": 1.245}
DESIGN_EDGE_MM, SCAN_EDGE_MM = 0.4, 0.3
SCALE = 1.003


def say(production: Any) -> None:
    """Say what is known of the production."""
    for name, value in FACTS.items():
        setattr(production, name, value)


def causes(case: SimpleNamespace, scan: Any = None) -> dict[str, Any]:
    """What is kept of a scan's causes."""
    found: dict[str, Any] = json.loads((scan or case.scan).cuspwise.causes)
    return found


def stated(kept: dict[str, Any]) -> list[str]:
    """The causes that the data hold."""
    return [row["cause"] for row in kept["causes"] if row["stated"]]


def reason(case: SimpleNamespace, scan: Any = None) -> str:
    """Why causes are out of date, after Blender has taken note of changes."""
    case.bpy.context.view_layer.update()
    store = case.part("addon.causes.causes_store")
    return str(store.why_out_of_date(scan or case.scan, case.scene))


def attribute(case: SimpleNamespace, key: str) -> np.ndarray:
    """A map at the design's own vertices, mm."""
    name = f"cause_mm {case.scan.cuspwise.causes_id} {key}"
    values: np.ndarray = case.part("addon.blender.bridge").read_attribute(case.design.data, name)
    return values


def at_points(case: SimpleNamespace, key: str) -> np.ndarray:
    """A map at the points that were measured, mm."""
    values: np.ndarray = case.part("addon.causes.causes_store").map_of(case.scan, key)[0]
    return values


def drawn(case: SimpleNamespace) -> list[str]:
    """Everything that the sidebar says, with the neighbouring tests' stand-in for a window."""
    path = Path(__file__).with_name("test_window_parts.py")
    spec = importlib.util.spec_from_file_location("window_parts", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    notes: list[str] = module.drawn(case)
    return notes

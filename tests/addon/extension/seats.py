"""What the tests of the fit in Blender share: what is kept, what is said of it, what is seen."""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any

import numpy as np


def fit(case: SimpleNamespace, crown: Any = None) -> dict[str, Any]:
    """What is kept of a crown's fit."""
    found: dict[str, Any] = json.loads((crown or case.design).cuspwise.fit.text)
    return found


def reason(case: SimpleNamespace, crown: Any = None) -> str:
    """Why a fit is out of date, after Blender has taken note of changes."""
    case.bpy.context.view_layer.update()
    store = case.part("addon.fit.fit_store")
    return str(store.why_out_of_date(crown or case.design, case.scene))


def gap_mm(case: SimpleNamespace, crown: Any = None) -> np.ndarray:
    """The gap at the crown's own vertices."""
    obj = crown or case.design
    name = f"gap_mm {obj.cuspwise.fit.fit_id}"
    values: np.ndarray = case.part("addon.blender.bridge").read_attribute(obj.data, name)
    return values


def world(obj: Any) -> np.ndarray:
    """Where an object is seen."""
    return np.array(obj.matrix_world, dtype=np.float64)


def graft(case: SimpleNamespace, crown: Any, kept: dict[str, Any], die: Any) -> None:
    """Give a crown a fit as it is kept, as if it had been seated."""
    data = crown.cuspwise.fit
    data.fit_id, data.text = "grafted", json.dumps(kept)
    data.design, data.die = case.design, die
    case.settings.fit.die = die

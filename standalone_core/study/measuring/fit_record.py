"""A superimposition as plain numbers and words, and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import numpy as np

from ...superimpose.result import RivalPose, Superimposition, WeakDirection
from ...superimpose.settings import SuperimposeSettings


def fit_record(fit: Superimposition) -> dict[str, Any]:
    """Return everything but the settings, as JSON can hold it; no digit is lost."""
    record = _flat(fit)
    del record["settings"]
    record["weak_directions"] = [_flat(weak) for weak in fit.weak_directions]
    record["rivals"] = [_flat(rival) for rival in fit.rivals]
    return record


def fit_from(record: Mapping[str, Any], settings: SuperimposeSettings) -> Superimposition:
    """Return the superimposition that :func:`fit_record` recorded."""
    values = dict(record)
    values["T_design_scan"] = np.asarray(values["T_design_scan"])
    values["warnings"] = tuple(values["warnings"])
    values["weak_directions"] = tuple(
        WeakDirection(**{**weak, **_arrays(weak, "axis", "through_mm")})
        for weak in values["weak_directions"]
    )
    values["rivals"] = tuple(
        RivalPose(**{**rival, **_arrays(rival, "T_design_scan")}) for rival in values["rivals"]
    )
    return Superimposition(**values, settings=settings)


def _flat(value: Any) -> dict[str, Any]:
    flat = {field.name: getattr(value, field.name) for field in fields(value)}
    return {k: v.tolist() if isinstance(v, np.ndarray | np.generic) else v for k, v in flat.items()}


def _arrays(record: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {name: np.asarray(record[name]) for name in names}

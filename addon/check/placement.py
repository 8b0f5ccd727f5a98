"""Whether a measured scan still lies on its design as it lay, and is as large."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import bpy
import numpy as np

from ..blender import frames
from .object_scale import same_stretch

MOVED_UM = 0.05  # a pose that differs by more than this (and single precision) was moved


def why_misplaced(
    scan: bpy.types.Object,
    design: bpy.types.Object,
    frame: frames.Frame,
    then: Mapping[str, Any],
) -> str:
    """Return what moved or changed its size since a check; empty if nothing did.

    Parameters
    ----------
    scan, design : bpy.types.Object
    frame : frames.Frame
        The design's.
    then : mapping
        What the result was made with, as kept.
    """
    before, now = np.array(then["design_linear"]), frame.local_to_mm(design)[:3, :3]
    if np.abs(now - before).max() > frames.POSE_PRECISION * np.abs(before).max():
        return "The design's scale or unit was changed."
    place, here = np.array(then["scan_after"]), frame.local_to_mm(scan)
    if not same_stretch(here, place):
        return "The scan's scale was changed."
    slack = MOVED_UM / 1e3 + frames.POSE_PRECISION * _largest(scan, design, frame)
    if frames.displacement(scan, here, place) > slack:
        return "Scan or design was moved."
    return ""


def _largest(scan: bpy.types.Object, design: bpy.types.Object, frame: frames.Frame) -> float:
    """Return the largest coordinate that single precision is relative to, mm."""
    places = [np.abs(frames.matrix_of(obj)[:3, 3]).max() for obj in (scan, design)]
    return frame.scale_mm * float(max(places))

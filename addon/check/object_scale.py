"""Whether a scan's object is stretched otherwise than its design's. Needs no Blender.

A scale that somebody gave an object is a fact of the scene, not of the crown: one per cent of it
moves a crown's surface by more than any tolerance. Nothing can be decided by what is measured then.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SAME_SHARE = 2e-5  # 0.1 µm on 5 mm; single precision loses a tenth of it
REMEDY = (
    "If it makes up for the unit of a file, apply it (Object ▸ Apply ▸ Scale, Ctrl A); "
    "if not, clear it (Alt S)."
)


@dataclass(frozen=True)
class _Stretch:
    """How an object's own axes are stretched, and whether they were bent or one was reversed."""

    lengths: tuple[float, ...]
    mirrored: bool
    sheared: bool

    @property
    def even(self) -> bool:
        return _same(min(self.lengths), max(self.lengths))


def scale_doubt(scan: np.ndarray, design: np.ndarray) -> str:
    """Say why a scan's object cannot be compared with its design's, and what to do about it.

    Parameters
    ----------
    scan, design : (4, 4) float
        From each object's own coordinates to the world, or to one frame.

    Returns
    -------
    str
        Empty where nothing speaks against it.
    """
    reason = why_other_scale(scan, design)
    return f"{reason} {REMEDY} Then check again." if reason else ""


def why_other_scale(scan: np.ndarray, design: np.ndarray) -> str:
    """Return the reason alone, as :func:`scale_doubt` does with the remedy."""
    first, second = _stretch_of(scan), _stretch_of(design)
    for whose, stretch in (("scan", first), ("design", second)):
        bent = "is sheared" if stretch.sheared else f"is scaled unevenly ({_words(stretch)})"
        if stretch.sheared or not stretch.even:
            return f"The {whose}'s object {bent}, so that its shape is not that of its mesh."
    if first.mirrored != second.mirrored:
        whose, other = ("scan", "design") if first.mirrored else ("design", "scan")
        return f"The {whose}'s object is mirrored by a negative scale, the {other}'s is not."
    size, wanted = first.lengths[0], second.lengths[0]
    if _same(size, wanted):
        return ""
    return (
        f"The scan's object has another scale than the design's ({size:.5g} against {wanted:.5g}), "
        f"so that it was measured {_times(size / wanted)}."
    )


def same_stretch(one: np.ndarray, other: np.ndarray) -> bool:
    """Tell whether two (4, 4) differ in place and turn only."""
    first, second = (matrix[:3, :3] for matrix in (one, other))
    away = np.abs(first.T @ first - second.T @ second).max()
    turned = np.linalg.det(first) * np.linalg.det(second) > 0.0
    return bool(turned and away <= 2.0 * SAME_SHARE * np.abs(second.T @ second).max())


def _stretch_of(matrix: np.ndarray) -> _Stretch:
    linear = np.asarray(matrix, dtype=np.float64)[:3, :3]
    lengths = np.linalg.norm(linear, axis=0)
    axes = linear / lengths
    sheared = np.abs(axes.T @ axes - np.eye(3)).max() > SAME_SHARE
    return _Stretch(tuple(lengths.tolist()), bool(np.linalg.det(linear) < 0.0), bool(sheared))


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= SAME_SHARE * max(one, other)


def _words(stretch: _Stretch) -> str:
    return " × ".join(f"{length:.5g}" for length in stretch.lengths)


def _times(ratio: float) -> str:
    """Say by how much larger or smaller something is than it should be."""
    way = "large" if ratio > 1.0 else "small"
    share = abs(ratio - 1.0)
    if share < 0.5:
        return f"{100.0 * share:.3g} % too {way}"
    return f"{max(ratio, 1.0 / ratio):.4g} times too {way}"

"""Ordering places along a space-filling curve, and cutting that order into compact runs."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arrays import BoolArray, FloatArray, IntArray, ragged

CodeArray = NDArray[np.uint32]

_BITS = 10


def _spread_bits() -> CodeArray:
    """Every number below 2¹⁰ with two zero bits put between its bits."""
    numbers = np.arange(1 << _BITS, dtype=np.uint32)
    spread = np.zeros_like(numbers)
    for bit in range(_BITS):
        spread |= ((numbers >> np.uint32(bit)) & np.uint32(1)) << np.uint32(3 * bit)
    return spread


_SPREAD = _spread_bits()


def morton_codes(places: FloatArray, low: FloatArray, size: float) -> CodeArray:
    """Morton codes (n,) of places (n, 3): cell numbers in a cube of 1024³ cells, bits interleaved.

    Parameters
    ----------
    places : (n, 3) float
        Those outside the cube take the code of its nearest cell.
    low : (3,) float
        Lowest corner of the cube.
    size : float
        Its edge length, > 0.
    """
    codes = np.zeros(len(places), dtype=np.uint32)
    for axis in range(3):
        cell = (places[:, axis] - low[axis]) * ((1 << _BITS) / size)
        np.clip(cell, 0, (1 << _BITS) - 1, out=cell)
        codes |= _SPREAD.take(cell.astype(np.int64)) << np.uint32(axis)
    return codes


def curve_order(places: FloatArray) -> IntArray:
    """Order (n,) of places (n, 3) along a space-filling curve, so that neighbours stay close."""
    if not len(places):
        return np.zeros(0, dtype=np.int64)
    low = places.min(axis=0)
    size = float((places.max(axis=0) - low).max())
    return sorting_order(morton_codes(places, low, size if size > 0 else 1.0))


def sorting_order(codes: CodeArray) -> IntArray:
    """Stable order (n,) of codes: one sort of code and position packed together is quickest."""
    keys = codes.astype(np.uint64) << np.uint64(32)
    keys |= np.arange(len(codes), dtype=np.uint64)
    keys.sort()
    order: IntArray = (keys & np.uint64(0xFFFFFFFF)).astype(np.int64)
    return order


def cells_with(codes: CodeArray, occupancy: int) -> int:
    """How many bits to drop from sorted codes so that cells hold ``occupancy`` places or more."""
    for level in range(_BITS):
        cells = codes >> np.uint32(3 * level)
        if len(codes) >= occupancy * (1 + np.count_nonzero(cells[1:] != cells[:-1])):
            return 3 * level
    return 3 * _BITS


def cells_of(share: float) -> int:
    """How many bits to drop from codes for cells of about this share of the cube's edge."""
    widest = int(max(share, 2.0**-_BITS) * (1 << _BITS))
    return 3 * min(widest.bit_length() - 1, _BITS)


def runs(cells: NDArray[Any], size: int) -> tuple[IntArray, BoolArray]:
    """Cut sorted cell numbers into runs of at most ``size`` that never cross a cell's border.

    A run of the order alone may jump across the whole surface; inside one cell it cannot.

    Returns
    -------
    members : (k, size) int
        Positions in ``cells``; short runs repeat their last.
    repeated : (k, size) bool
        Which members are such repeats.
    """
    start = np.flatnonzero(np.concatenate([[True], cells[1:] != cells[:-1]]))
    length = np.diff(start, append=len(cells))
    parts = -(-length // size)
    cell, part = ragged(parts)
    first = start[cell] + part * length[cell] // parts[cell]
    count = start[cell] + (part + 1) * length[cell] // parts[cell] - first
    nth = np.arange(size)
    return first[:, None] + np.minimum(nth, count[:, None] - 1), nth >= count[:, None]

"""Landmark pairs in a CSV file."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..arrays import FloatArray
from ..errors import FileError

COLUMNS = ("design_x", "design_y", "design_z", "scan_x", "scan_y", "scan_z")


@dataclass(frozen=True, eq=False)
class LandmarkPairs:
    """Points that mark the same spots on the design and on the scan.

    Attributes
    ----------
    design_mm, scan_mm : (k, 3) ndarray
        Coordinates in mm, in each mesh's own frame.
    """

    design_mm: FloatArray
    scan_mm: FloatArray


def read_landmarks(path: str | Path) -> LandmarkPairs:
    """Read landmark pairs from a CSV file with a header line.

    Parameters
    ----------
    path : str or Path
        A file with the columns ``design_x, design_y, design_z, scan_x, scan_y, scan_z`` in mm,
        one pair a line, in any column order.

    Raises
    ------
    FileError
        The file cannot be read, a column is missing, or a value is not a finite number.
    """
    file = Path(path)
    try:
        with file.open(newline="", encoding="utf-8-sig") as stream:
            rows = list(csv.DictReader(stream))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        reason = getattr(error, "strerror", None) or "it is no CSV file in UTF-8"
        raise FileError(
            f"It cannot be read as landmark pairs: {reason}.",
            subject=file,
            remedy="Give a CSV file with one pair of points a line.",
        ) from error
    missing = [name for name in COLUMNS if not rows or name not in rows[0]]
    if missing:
        raise FileError(
            f"It has no lines, or these columns are missing: {', '.join(missing)}.",
            subject=file,
            remedy=f"Start it with the line {','.join(COLUMNS)}.",
        )
    values = np.array(
        [
            [_number(row[name], file, line) for name in COLUMNS]
            for line, row in enumerate(rows, start=2)
        ]
    )
    return LandmarkPairs(design_mm=values[:, :3], scan_mm=values[:, 3:])


def _shown(text: str | None) -> str:
    return f'"{text.strip()}"' if text and text.strip() else "nothing"


def _number(text: str | None, file: Path, line: int) -> float:
    try:
        value = float(text or "")
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise FileError(
            f"Line {line} holds {_shown(text)} where a coordinate in mm belongs.",
            subject=file,
            remedy="Write finite numbers with a decimal point.",
        )
    return value

"""``cuspwise check`` without pictures against the same job written with open3d.

Both run as whole processes on the same two binary STL files of a demo crown with a known pose and
known errors; times are the wall time of the process, imports included. The error of each pipeline
is how far its RMS is from the one that the formulae give.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

from ratios import Row, alternate

HERE = Path(__file__).parent


def run(short: bool) -> list[Row]:
    """One row per peer on two crowns of about 190k triangles; in the long form a growth series."""
    sizes = [0.085] if short else [0.085, 0.06, 0.04, 0.026]
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as folder:
        for edge_mm in sizes:
            rows += _one(Path(folder), edge_mm, rounds=2 if short else 5)
    return rows

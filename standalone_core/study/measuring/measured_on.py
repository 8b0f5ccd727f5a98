"""What the numbers of a study rest on: its design, areas and measuring points, by checksum.

Two studies can be compared area by area where these are the same; how an area came about (found,
read from a file, painted) does not matter then.
"""

from __future__ import annotations

import hashlib
from typing import Any

import numpy as np

from ...areas.area_set import AreaSet
from ..document_file import MEASURED_ON_SCHEMA


def measured_on(area_set: AreaSet) -> dict[str, Any]:
    """Return what a study is measured on, as JSON can hold it.

    Parameters
    ----------
    area_set : AreaSet

    Returns
    -------
    dict
        ``schema``; ``design_checksum`` of the repaired design's geometry in mm, whatever the
        format of its file; ``points``, their number; ``areas``: the checksum of each area's
        measuring points.
    """
    return {
        "schema": MEASURED_ON_SCHEMA,
        "design_checksum": area_set.evaluation.design.checksum,
        "points": len(area_set.evaluation.points),
        "areas": {
            name: hashlib.sha256(np.packbits(area.points).tobytes()).hexdigest()
            for name, area in area_set.areas.items()
        },
    }

"""Why a scan cannot be fitted where it lies: too little of it is near its design."""

from __future__ import annotations

from scipy.spatial import cKDTree

from ..arrays import FloatArray
from ..errors import SuperimpositionError
from ..words.text import count_words, plain_number
from .prepared import PreparedDesign
from .settings import SuperimposeSettings

LEAST_POINTS = 6
"""Six unknowns of a rigid motion ask for as many points."""
_FIRST_LOOK = 2_000
"""Points of which the nearest bounds how far the others are looked for."""


def too_few(
    name: str,
    points: FloatArray,
    near: int,
    design: PreparedDesign,
    settings: SuperimposeSettings,
) -> SuperimpositionError:
    """Return the error for a scan of which too few points can take part in the fit.

    Parameters
    ----------
    name : str
        Of the scan.
    points : (n, 3) ndarray
        Where they lie, in the design's coordinates.
    near : int
        How many of them can take part.
    design : PreparedDesign
    settings : SuperimposeSettings
    """
    within = f"within {settings.max_distance_mm:g} mm"
    if settings.start == "auto":
        return SuperimpositionError(
            f"Laid on the design as well as it goes, it has {count_words(near, 'point')} {within} "
            f"of it; a fit takes {LEAST_POINTS}.",
            subject=name,
            remedy="Check that both files show the same crown, or start from landmark pairs.",
        )
    apart_mm = nearest_mm(points, design)
    reason = f"It lies {plain_number(apart_mm, 2)} mm from the design."
    if apart_mm <= settings.max_distance_mm:
        reason = (
            f"Where it lies, it has {count_words(near, 'point')} {within} of what it is fitted "
            f"on; a fit takes {LEAST_POINTS}."
        )
    remedy = "Have its position found, and check that both show the same crown."
    return SuperimpositionError(reason, subject=name, remedy=remedy, arguments=("start",))


def nearest_mm(points: FloatArray, design: PreparedDesign) -> float:
    """Return how far the nearest of some points is from a design, mm.

    From its nearest vertex, which exceeds the distance from its surface by no more than e²/(8 d),
    with e the longest edge and d the distance. An exact search is not made for points so far off.
    """
    tree = cKDTree(design.index.mesh.vertices)
    some = points[:: max(1, len(points) // _FIRST_LOOK)]
    most_mm = float(tree.query(some)[0].min())
    return min(most_mm, float(tree.query(points, distance_upper_bound=most_mm)[0].min()))

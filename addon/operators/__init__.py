"""What the user can do, in the order of the work."""

from . import areas, colours, deviation, results, scans, superimposition

CLASSES = (
    *scans.CLASSES,
    *superimposition.CLASSES,
    *areas.CLASSES,
    *deviation.CLASSES,
    *colours.CLASSES,
    *results.CLASSES,
)

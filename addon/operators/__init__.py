"""What the user can do, in the order of the work."""

from . import (
    areas,
    colours,
    contacts,
    deviation,
    landmarks,
    reading,
    results,
    scans,
    study,
    superimposition,
)

CLASSES = (
    *scans.CLASSES,
    *landmarks.CLASSES,
    *superimposition.CLASSES,
    *areas.CLASSES,
    *contacts.CLASSES,
    *deviation.CLASSES,
    *colours.CLASSES,
    *reading.CLASSES,
    *results.CLASSES,
    *study.CLASSES,
)

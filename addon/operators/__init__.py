"""What the user can do, in the order of the work."""

from . import (
    areas,
    build_direction,
    causes,
    colours,
    contacts,
    deviation,
    landmarks,
    reading,
    results,
    scans,
    section_plane,
    study,
    superimposition,
    support_marks,
    walls,
)

CLASSES = (
    *scans.CLASSES,
    *landmarks.CLASSES,
    *superimposition.CLASSES,
    *areas.CLASSES,
    *support_marks.CLASSES,
    *deviation.CLASSES,
    *colours.CLASSES,
    *reading.CLASSES,
    *results.CLASSES,
    *build_direction.CLASSES,
    *causes.CLASSES,
    *study.CLASSES,
    *walls.CLASSES,
    *contacts.CLASSES,
    *section_plane.CLASSES,
)

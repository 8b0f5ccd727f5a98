"""What the user can do, in the order of the work."""

from . import (
    areas,
    build_direction,
    causes,
    colours,
    deviation,
    finish_line,
    fit,
    landmarks,
    reading,
    results,
    scans,
    study,
    superimposition,
    support_marks,
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
    *finish_line.CLASSES,
    *fit.CLASSES,
    *study.CLASSES,
)

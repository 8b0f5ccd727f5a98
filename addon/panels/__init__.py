"""The sidebar, from top to bottom as the work goes."""

from . import (
    areas,
    causes,
    contacts,
    crowns,
    deviation,
    fit,
    patches,
    results,
    scans,
    section_plane,
    study,
    superimpose,
    support_marks,
    values,
    walls,
)

CLASSES = (
    *scans.CLASSES,
    *superimpose.CLASSES,
    *areas.CLASSES,
    *deviation.CLASSES,
    *values.CLASSES,
    *crowns.CLASSES,
    *results.CLASSES,
    *patches.CLASSES,
    *causes.CLASSES,
    *fit.CLASSES,
    *walls.CLASSES,
    *contacts.CLASSES,
    *section_plane.CLASSES,
    *support_marks.CLASSES,
    *study.CLASSES,
)

"""The sidebar, from top to bottom as the work goes."""

from . import areas, causes, deviation, results, scans, study, superimpose, support_marks

CLASSES = (
    *scans.CLASSES,
    *superimpose.CLASSES,
    *areas.CLASSES,
    *deviation.CLASSES,
    *study.CLASSES,
    *results.CLASSES,
    *causes.CLASSES,
    *support_marks.CLASSES,
)

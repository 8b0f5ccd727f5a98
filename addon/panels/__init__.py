"""The sidebar, from top to bottom as the work goes."""

from . import areas, causes, deviation, fit, results, scans, study, superimpose, support_marks

CLASSES = (
    *scans.CLASSES,
    *superimpose.CLASSES,
    *areas.CLASSES,
    *deviation.CLASSES,
    *study.CLASSES,
    *results.CLASSES,
    *causes.CLASSES,
    *fit.CLASSES,
    *support_marks.CLASSES,
)

"""The sidebar, from top to bottom as the work goes."""

from . import sidebar, study, support_marks

CLASSES = (
    *(cls for cls in sidebar.CLASSES if cls is not sidebar.ResultsPanel),
    *study.CLASSES,
    sidebar.ResultsPanel,
    *support_marks.CLASSES,
)

"""The sidebar, from top to bottom as the work goes."""

from . import contacts, sidebar, study

CLASSES = (
    *(cls for cls in sidebar.CLASSES if cls is not sidebar.ResultsPanel),
    *study.CLASSES,
    sidebar.ResultsPanel,
    *contacts.CLASSES,
)

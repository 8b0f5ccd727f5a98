"""The sidebar, from top to bottom as the work goes."""

from . import sidebar

CLASSES = sidebar.CLASSES

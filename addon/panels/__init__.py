"""The sidebar, from top to bottom as the work goes."""

from . import contacts, sidebar

CLASSES = (*sidebar.CLASSES, *contacts.CLASSES)

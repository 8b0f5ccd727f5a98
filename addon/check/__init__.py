"""One scan against its design: read, judged, kept."""

"""``study.json``, the file that holds all numbers of a study: its name, place and version."""

from __future__ import annotations

from pathlib import Path

DOCUMENT = "study.json"

SCHEMA = 3
"""Version of the file; raised when a name changes or goes."""

MEASURED_ON_SCHEMA = 1
"""Version of its part ``measured_on``; files of before have no such part."""


def document_of(named: Path) -> Path:
    """Return the document that is named, or that of the folder of results or of a study."""
    try:
        if not named.is_dir():
            return named
    except OSError:  # too long a name: whoever reads it says so
        return named
    places = (named / DOCUMENT, named / "study_results" / DOCUMENT)
    return next((file for file in places if file.is_file()), places[0])

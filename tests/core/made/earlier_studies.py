"""Pairs of studies, an earlier one and one of now, made up of given numbers."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from cuspwise.standalone_core.report.study.tables import study_document
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.file.earlier_study import EarlierStudy, read_earlier_study
from cuspwise.standalone_core.study.measuring.results import StudyRun

CLAIMS = re.compile(
    r"\b(?:different|equivalent|meets?|precise|better|worse|improved|significant\w*)\b"
)
"""Words of conclusions, which an exploratory comparison does not draw."""


def scanned(run: StudyRun, when: str) -> StudyRun:
    """The run with a scan file of its own for every crown, told apart by ``when``."""

    def checksum(name: str) -> str:
        return hashlib.sha256(f"{when} {name}".encode()).hexdigest()

    crowns = tuple(replace(crown, sha256=checksum(crown.name)) for crown in run.crowns)
    return replace(run, crowns=crowns, versions={"cuspwise": "0.1.0"})


def document_of(run: StudyRun) -> dict[str, Any]:
    """What the run writes into its ``study.json``."""
    return study_document(run, analyse_study(run))


def write_document(document: Any, folder: Path) -> Path:
    file = folder / "study.json"
    file.write_text(json.dumps(document), encoding="utf-8")
    return file


def as_earlier(
    run: StudyRun, folder: Path, change: Callable[[dict[str, Any]], object] | None = None
) -> EarlierStudy:
    """The run as an earlier study: written, changed by ``change``, and read."""
    document = document_of(run)
    if change is not None:
        change(document)
    return read_earlier_study(write_document(document, folder))

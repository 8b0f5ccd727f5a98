"""Many crowns by one command: scans of a design, a folder of them, or a table."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..errors import SettingError
from .base import messages, say_written, screen
from .console import ProgressBar
from .settings import check_settings
from .targets import refuse_folder

if TYPE_CHECKING:
    from ..check_result import CheckResult
    from ..check_settings import CheckSettings
    from ..progress import Steps
    from ..tray.check_crowns import CrownToCheck
    from ..tray.entries import TrayEntry
    from ..tray.result import TrayResult

_TABLE = ".csv"
DEFAULT_OUT = "tray_check"
CROWNS_A_PROCESS = 3  # a process of its own loads all code and makes the design ready once more


def is_tray(design: Path, scans: Sequence[Path]) -> bool:
    """Tell whether what was given is more than one design and one scan.

    Raises
    ------
    click.UsageError
        A design without a scan.
    """
    if scans:
        return len(scans) > 1 or scans[0].is_dir()
    if design.suffix.lower() != _TABLE:
        raise click.UsageError("Missing argument 'SCAN': the scan, or several, or their folder.")
    return True


def check_all(given: Mapping[str, Any], drawing: Mapping[str, Any]) -> None:
    """Check a tray's crowns, show and write what comes out, and end with 1 if any did not pass.

    Parameters
    ----------
    given : mapping of str
        The options of ``check``.
    drawing : mapping of str
        How each crown's own files are drawn.
    """
    from ..report.tray.document import tray_document
    from ..report.tray.output import crown_folders, write_tray
    from ..report.tray.terminal import tray_view
    from ..tray.check_crowns import check_crowns_steps
    from ..tray.check_tray import crowns_of

    _refuse_landmarks(given)
    settings = check_settings(given)
    entries = _entries(given["design"], given["scans"])
    folders = crown_folders(entry.name for entry in entries)
    as_json = bool(given["as_json"])
    out = given["out"] or (None if as_json else Path(DEFAULT_OUT))
    if out is not None:
        _refuse_folders(out, folders, entries, given)
    write = None if out is None else WriteCrown(out, folders, drawing)
    documents: dict[str, Any] = {}
    if as_json:  # the whole checks are wanted here, so that they are made here
        steps = check_crowns_steps(crowns_of(entries, settings), NoteCheck(documents, write))
        result = ProgressBar(messages).run(steps)
    else:
        result = _checked(entries, settings, write, given["workers"])
    if not as_json:
        # As wide as the terminal is: the table turns into lines where it does not fit.
        screen.print(tray_view(result), width=shutil.get_terminal_size().columns)
    if out is not None:
        written = write_tray(result, out, folders=folders)
        if not as_json:
            say_written(written, out)
    if as_json:
        document = {**tray_document(result), "checks": documents}
        click.echo(json.dumps(document, indent=2, allow_nan=False))
    if not result.passed:
        sys.exit(1)


def _checked(
    entries: Sequence[TrayEntry],
    settings: CheckSettings,
    keep: WriteCrown | None,
    workers: int | None,
) -> TrayResult:
    """Check a tray's crowns, in processes beside this one where there are several."""
    from ..study.measuring.executors import executor_of
    from ..tray.check_crowns import check_crowns_steps
    from ..tray.check_tray import crowns_of
    from ..tray.in_processes import check_in_processes_steps

    with executor_of(_processes(len(entries), workers)) as executor:
        if executor is None:
            steps = check_crowns_steps(crowns_of(entries, settings), keep)
        else:
            steps = check_in_processes_steps(entries, settings, executor, keep)
        return ProgressBar(messages).run(steps)


def _entries(design: Path, scans: Sequence[Path]) -> tuple[TrayEntry, ...]:
    from ..tray.entries import read_tray, scans_of

    return scans_of(design, scans) if scans else read_tray(design)


def _refuse_landmarks(given: Mapping[str, Any]) -> None:
    if given["landmarks"] is not None:
        raise SettingError(
            "Landmarks are those of one scan.",
            subject="--landmarks",
            remedy="Check that crown by itself, or leave the landmarks out.",
        )


def _refuse_folders(
    out: Path,
    folders: Mapping[str, str],
    entries: Sequence[TrayEntry],
    given: Mapping[str, Any],
) -> None:
    """Refuse a folder whose files, or those of a crown's folder in it, would replace an input."""
    from ..report.tray.output import TRAY_FILES

    files = {file for entry in entries for file in (entry.design, entry.scan)}
    table = None if given["scans"] else given["design"]
    inputs = (*files, table, given["areas_file"])
    refuse_folder(out, inputs, TRAY_FILES)
    for folder in folders.values():
        refuse_folder(out / folder, inputs)


@dataclass(frozen=True)
class WriteCrown:
    """Writes each crown's own files; a plain object, for it goes to other processes.

    Attributes
    ----------
    out : pathlib.Path
        The tray's folder.
    folders : mapping of str to str
        The crowns' own in it, by their names.
    drawing : mapping of str
        How they are drawn.
    """

    out: Path
    folders: Mapping[str, str]
    drawing: Mapping[str, Any]

    def __call__(self, crown: CrownToCheck, result: CheckResult) -> Steps[object]:
        """Write a crown's files, step by step."""
        from ..report.check.output import write_check_steps

        return write_check_steps(result, self.out / self.folders[crown.name], **self.drawing)


@dataclass(frozen=True)
class NoteCheck:
    """Notes each crown's whole check as plain data, and writes its files if asked.

    Attributes
    ----------
    documents : dict of str
        Filled by the crowns' names.
    write : WriteCrown or None
    """

    documents: dict[str, Any]
    write: WriteCrown | None

    def __call__(self, crown: CrownToCheck, result: CheckResult) -> Steps[None]:
        """Note and write, step by step."""
        from ..report.check.document import check_document

        self.documents[crown.name] = check_document(result)
        if self.write is not None:
            yield from self.write(crown, result)


def _processes(crowns: int, workers: int | None) -> int:
    """Return how many processes check crowns: each pays only with a few crowns of its own."""
    if workers is not None:
        return workers
    return max(1, min(os.cpu_count() or 1, crowns // CROWNS_A_PROCESS))

"""Many crowns by one command: scans of a design, a folder of them, or a table."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Mapping, Sequence
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
    from ..progress import Steps
    from ..tray.check_crowns import CrownToCheck, Keep
    from ..tray.entries import TrayEntry

_TABLE = ".csv"
DEFAULT_OUT = "tray_check"


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
    documents: dict[str, Any] = {}
    keep = _keep(out, folders, drawing, documents if as_json else None)
    result = ProgressBar(messages).run(check_crowns_steps(crowns_of(entries, settings), keep))
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


def _keep(
    out: Path | None,
    folders: Mapping[str, str],
    drawing: Mapping[str, Any],
    documents: dict[str, Any] | None,
) -> Keep:
    """Return what writes each crown's own files, and notes its check as plain data if asked."""
    from ..report.check.output import check_document, write_check_steps

    def keep(crown: CrownToCheck, result: CheckResult) -> Steps[None]:
        if documents is not None:
            documents[crown.name] = check_document(result)
        if out is not None:
            yield from write_check_steps(result, out / folders[crown.name], **drawing)

    return keep

"""Where the command line may write: asked before the work, so that none is done in vain."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from ..errors import ReportError

RESULTS = (
    "check.html",
    "check.json",
    "measures.csv",
    "patches.csv",
    "causes.csv",
    "marks.csv",
    "margin_profile.csv",
    "README.csv",
    "deviation_design.ply",
    "deviation_scan.ply",
    "exceedances.csv",
    "contacts.csv",
)
"""What a check writes or, of an earlier one, removes."""

WALL_RESULTS = ("walls.html", "walls.json", "walls.csv", "README.csv", "walls.ply")
"""What the walls of a crown alone write."""
FIT_RESULTS = (
    "fit.html",
    "fit.json",
    "fit.csv",
    "README.csv",
    "seat_spots.csv",
    "gap.ply",
    "marginal_gap.csv",
    "walls.csv",
    "walls.ply",
    "proximal_contacts.csv",
    "contacts.ply",
)
"""What a fit writes."""


def refuse_folder(
    folder: Path, inputs: Iterable[Path | None], results: tuple[str, ...] = RESULTS
) -> None:
    """Refuse a folder that is a file, cannot be written to, or where results replace an input.

    Parameters
    ----------
    folder : pathlib.Path
    inputs : iterable of pathlib.Path or None
        What is read.
    results : tuple of str
        The names of what is written.

    Raises
    ------
    ReportError
        Said before anything is computed.
    """
    if folder.exists() and not folder.is_dir():
        raise ReportError(
            "It is a file, not a folder.", subject=folder, remedy="Choose another name with --out."
        )
    there = next(place for place in (folder, *folder.absolute().parents) if place.exists())
    if not os.access(there, os.W_OK | os.X_OK):
        raise ReportError(
            "It cannot be written to.", subject=there, remedy="Choose another folder with --out."
        )
    for file in inputs:
        if file is not None and file.resolve() in {(folder / name).resolve() for name in results}:
            raise ReportError(
                f"The results would replace {file.name}, which is read.",
                subject=folder,
                remedy="Choose another folder with --out.",
            )


def refuse_overwriting(target: Path, inputs: Iterable[Path]) -> None:
    """Refuse a target that is one of the inputs or a folder.

    Raises
    ------
    ReportError
        Said before anything is computed.
    """
    if target.is_dir():
        raise ReportError(
            "It is a folder, not a file.", subject=target, remedy="Name a file with --out."
        )
    for file in inputs:
        if target.resolve() == file.resolve():
            raise ReportError(
                "It is the file that is read.", subject=target, remedy="Choose another name."
            )
